"""Signing in and up: how wrong passwords are counted, where one lands, whether anybody may join."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.models import EmailAddress
from django.conf import settings
from django.http import HttpRequest
from django.shortcuts import resolve_url
from django.utils.translation import gettext

from results.models import Follow
from rigs.models import Contributor

TO_FOLLOW = "to_follow"
"""What a session keeps the page by from which somebody went to confirm an address."""
OF_A_LINK = "account/messages/email_confirmation_sent.txt"


class Adapter(DefaultAccountAdapter):
    """allauth's own, but that an account is one however the service is called."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002
        return bool(settings.SAMESPOOL_SIGN_UP == "open")

    def get_login_redirect_url(self, request: HttpRequest) -> str:
        """One's bench; the administration for those who measure nothing themselves."""
        user = request.user
        if user.is_staff and not Contributor.objects.filter(user_id=user.pk).exists():
            return resolve_url("admin:index")
        bench: str = super().get_login_redirect_url(request)
        return bench

    def get_email_verification_redirect_url(self, email_address: EmailAddress) -> str:
        """Back to what one wanted to follow and had no confirmed address for; else as allauth."""
        asked: str = self.request.session.pop(TO_FOLLOW, "")
        if asked:
            return asked
        if Follow.objects.filter(contributor__user_id=email_address.user_id).exists():
            return resolve_url("pages:following")
        usual: str = super().get_email_verification_redirect_url(email_address)
        return usual

    def add_message(self, *args: Any, **more: Any) -> None:
        """As allauth says it, but nothing of a link that is not sent."""
        template = args[2] if len(args) > 2 else more.get("message_template")
        if template == OF_A_LINK and not settings.SAMESPOOL_MAIL_FROM:
            more["message"] = gettext("This service sends no mail: the address stays unconfirmed.")
        super().add_message(*args, **more)

    def _get_login_attempts_cache_key(self, request: HttpRequest, **credentials: Any) -> str:  # noqa: ARG002
        """What attempts are counted by.

        allauth counts by account and Host header, whose port anybody may choose: each port would
        give five attempts more.
        """
        return str(credentials.get("email", credentials.get("username", ""))).lower()
