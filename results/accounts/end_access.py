"""After a backup has leaked: nothing that it holds opens an account any more."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import transaction
from knox.models import AuthToken


def end_access() -> dict[str, int]:
    """End every session of a browser, token, second factor and password; how many of each.

    One transaction. Everyone sets a new password by mail; who gave no address gets one from an
    administrator.
    """
    with transaction.atomic():
        ended = {
            "signed-in browsers": Session.objects.all().delete()[0],
            "tokens": AuthToken.objects.all().delete()[0],
            "second factors": Authenticator.objects.all().delete()[0],
        }
        users = list(User.objects.select_for_update().order_by("pk"))
        for user in users:
            user.set_unusable_password()
        User.objects.bulk_update(users, ["password"], batch_size=500)
        return ended | {"passwords": len(users)}
