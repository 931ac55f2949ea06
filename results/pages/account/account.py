"""One's account: joining, what is shown, tokens, the licence, and closing it."""

from __future__ import annotations

from typing import Any

from allauth.account.views import SignupView, password_reset
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from knox.models import AuthToken

from results.accounts.close import close_account
from results.accounts.join import agree, show
from results.accounts.own_data import archive_of
from results.accounts.rename import rename
from results.accounts.second_factor import has_second_factor
from results.pages.account.desk import desk_of
from results.pages.account.forms import ClosingForm, ShownForm, refusal_text
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.review.notices import notices_of, shown_notices
from results.review.selectors import threads_of
from rigs.licence import SHARED_DATA
from rigs.models import Contributor
from rigs.refusals import Conflict, Refused
from rigs.uniqueness import is_unique_violation

SHOWN = 20
FORM = require_http_methods(["GET", "HEAD", "POST"])


class SignUp(SignupView):
    """Joining: account and contributor are made together or not at all."""

    def get_form(self, form_class: Any = None) -> Any:
        form = super().get_form(form_class)
        form.fields["username"].label = _("Sign-in name")
        form.fields["username"].help_text = _("never shown to others")
        return form

    def form_valid(self, form: Any) -> HttpResponse:
        try:
            with transaction.atomic():
                answer: HttpResponse = super().form_valid(form)
                return answer
        except Conflict as refusal:
            form.add_error("handle", refusal_text(refusal))
        except IntegrityError as error:
            if not is_unique_violation(error):
                raise
            form.add_error("username", _("Someone else has just taken this name: choose another."))
        invalid: HttpResponse = self.form_invalid(form)
        return invalid


def forgotten(request: HttpRequest) -> HttpResponse:
    """Ask for a link that sets a new password, where the service sends mail."""
    if settings.SAMESPOOL_MAIL_FROM:
        found: HttpResponse = password_reset(request)
        return found
    return no_mail(request)


@require_safe
def no_mail(request: HttpRequest) -> HttpResponse:
    """Who sets a new password where no mail is sent."""
    return render(request, "pages/account/no_mail.html")


@FORM
@contributors_only
@never_cache
def account(request: HttpRequest) -> HttpResponse:
    """Everything of one's account on one page; a post changes what is shown."""
    contributor = contributor_behind(request)
    shown = {name: getattr(contributor, f"shows_{name}") for name in ("club", "rigs", "sets")}
    form = ShownForm(request.POST or None, initial={"handle": contributor.handle, **shown})
    form.label_suffix = ""
    if request.method == "POST" and form.is_valid():
        chosen = form.cleaned_data
        try:
            rename(contributor, chosen.pop("handle"))
        except Refused as refusal:
            form.add_error("handle", refusal_text(refusal))
        else:
            show(contributor, **chosen)
            messages.success(request, _("Your choices are saved."))
            return redirect("pages:account")
    return _account_page(request, contributor, form=form)


def _account_page(
    request: HttpRequest, contributor: Contributor, *, form: ShownForm, token: str = ""
) -> HttpResponse:
    wrong = request.method == "POST" and bool(form.errors)
    notices = list(notices_of(contributor)[:SHOWN])
    threads = list(threads_of(contributor)[:SHOWN])
    said = {each.pk: [message.text for message in each.messages.all()] for each in threads}
    return render(
        request,
        "pages/account/account.html",
        {
            "contributor": contributor,
            **desk_of(contributor.user),
            "form": form,
            "notices": shown_notices(notices, said),
            "unread": sum(notice.read_at is None for notice in notices),
            "threads": threads,
            "waiting_sessions": contributor.waiting_sessions.prefetch_related("proposals")[:SHOWN],
            "token": token,
            "tokens": AuthToken.objects.filter(user=contributor.user).order_by("-created"),
            "second_factor": has_second_factor(contributor.user),
            "licence": SHARED_DATA,
        },
        status=422 if wrong else 200,
    )


@require_POST
@contributors_only
def agree_to_licence(request: HttpRequest) -> HttpResponse:
    """Agree to the licence, for accounts from before it was asked."""
    agree(contributor_behind(request))
    return redirect("pages:account")


@require_POST
@contributors_only
@never_cache
def make_token(request: HttpRequest) -> HttpResponse:
    """A token for a program, shown this once."""
    contributor = contributor_behind(request)
    _stored, token = AuthToken.objects.create(user=contributor.user)
    shown = {name: getattr(contributor, f"shows_{name}") for name in ("club", "rigs", "sets")}
    form = ShownForm(initial={"handle": contributor.handle, **shown})
    return _account_page(request, contributor, form=form, token=token)


@require_POST
@contributors_only
def end_token(request: HttpRequest, digest: str) -> HttpResponse:
    """End one of one's tokens; it works no more."""
    get_object_or_404(AuthToken, user_id=request.user.pk, digest=digest).delete()
    messages.success(request, _("The token is revoked."))
    return redirect("pages:account")


@require_POST
@contributors_only
@never_cache
def own_data(request: HttpRequest) -> FileResponse:
    """Everything stored of one's account, as an archive."""
    archive = archive_of(contributor_behind(request))
    return FileResponse(archive, as_attachment=True, filename="samespool-own-data.zip")


@FORM
@contributors_only
@never_cache
def close(request: HttpRequest) -> HttpResponse:
    """Close the account for good, after the password once more."""
    contributor = contributor_behind(request)
    assert isinstance(request.user, User)
    form = ClosingForm(request.user, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        close_account(contributor, keep=form.cleaned_data["sessions"] == "keep")
        logout(request)
        messages.success(request, _("Your account is closed."))
        return redirect("pages:pools")
    sessions = contributor.sessions.filter(standing="current").count()
    return render(
        request,
        "pages/account/close.html",
        {"form": form, "contributor": contributor, "sessions": sessions},
        status=422 if request.method == "POST" else 200,
    )
