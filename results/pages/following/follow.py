"""Following something, what one follows, and ending its mail without signing in."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass

from allauth.account.models import EmailAddress
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.models import User
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from results.accounts.following import choose_mail, end_mail, follow, stop_following
from results.accounts.sign_in import TO_FOLLOW
from results.catalogue.connections import connections_visible_to
from results.models import Follow, Mailing
from results.pages.figures import conditions, line_pair, whole_name
from results.pages.pools.line_pair import query_of
from results.pages.showing import render
from results.pages.signed_in import contributor_behind, contributors_only
from results.pools import selectors
from results.pools.news import line_pair_number
from results.public.readers import reader_of
from results.public.seeing import seen
from results.rounds.selectors import is_insider, rounds
from rigs import permissions
from rigs.models import Contributor
from rigs.selectors import profiles

Subject = Follow.Subject
EVERY = (
    (Mailing.Every.NEVER, gettext_lazy("no mail")),
    (Mailing.Every.DAY, gettext_lazy("as soon as something changes, once a day at most")),
    (Mailing.Every.WEEK, gettext_lazy("once a week")),
)


@dataclass(frozen=True)
class Followed:
    """What can be followed: its number, what it is called, its page and its feed."""

    subject: str
    number: int
    name: str
    page: str
    feed: str

    @property
    def kind(self) -> str:
        """The subject as addresses have it."""
        return self.subject.replace(" ", "-")


class MailForm(forms.Form):
    """How often one is mailed."""

    every = forms.ChoiceField(
        label=gettext_lazy("Mail me what is new"), choices=EVERY, widget=forms.RadioSelect
    )


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def one(request: HttpRequest, subject: str, number: int) -> HttpResponseBase:
    """Follow something by feed or by mail, or no more."""
    found = _found(request, subject, number)
    if request.method == "POST":
        return _change(request, found)
    followed = (
        request.user.is_authenticated
        and Follow.objects.filter(
            contributor__user=request.user.pk, subject=found.subject, number=found.number
        ).exists()
    )
    confirmed = not request.user.is_authenticated or _has_confirmed(request.user)
    if not confirmed:
        request.session[TO_FOLLOW] = request.path
    context = {
        "found": found,
        "followed": followed,
        "mail": _mail_goes_out(),
        "confirmed": confirmed,
    }
    return render(request, "pages/following/one.html", context)


@contributors_only
def _change(request: HttpRequest, found: Followed) -> HttpResponse:
    contributor = contributor_behind(request)
    if request.POST.get("stop"):
        stop_following(contributor, Subject(found.subject), found.number)
        messages.success(request, _("You follow %(name)s no more.") % {"name": found.name})
    else:
        follow(contributor, Subject(found.subject), found.number)
        messages.success(request, _("You follow %(name)s.") % {"name": found.name})
        if _mail_goes_out() and not _is_mailed(contributor):
            messages.info(request, _("You get no mail of it yet: choose below how often."))
            return redirect(f"{reverse('pages:following')}#mail")
    return redirect("pages:following")


@require_http_methods(["GET", "HEAD", "POST"])
@contributors_only
@never_cache
def following(request: HttpRequest) -> HttpResponse:
    """What one follows, and how often one is mailed what is new of it."""
    contributor = contributor_behind(request)
    mailing = Mailing.objects.filter(contributor=contributor).first()
    every = mailing.every if mailing else Mailing.Every.NEVER
    form = MailForm(request.POST or None, initial={"every": every})
    form.label_suffix = ""
    if request.method == "POST" and form.is_valid():
        choose_mail(contributor, Mailing.Every(form.cleaned_data["every"]))
        messages.success(request, _("Your choice is saved."))
        return redirect("pages:following")
    follows = [(each, _still(request, each)) for each in contributor.follows.all()]
    context = {
        "follows": [(each, found) for each, found in follows if found],
        "form": form,
        "mail": _mail_goes_out(),
        "confirmed": _has_confirmed(contributor.user),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "pages/following/following.html", context, status=status)


@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def end(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """End one's mail by the link in it: a program posts (RFC 8058), a person presses the button.

    Opening the link ends nothing, since programs that look at mail open links.
    """
    if not Mailing.objects.filter(key=key).exists():
        raise Http404
    ended = request.method == "POST" and end_mail(key)
    return render(request, "pages/following/end.html", {"ended": ended})


def _has_confirmed(user: User) -> bool:
    confirmed = EmailAddress.objects.filter(user=user, email=user.email, verified=True)
    return bool(confirmed.exists())


def _is_mailed(contributor: Contributor) -> bool:
    chosen = Mailing.objects.filter(contributor=contributor)
    return chosen.exclude(every=Mailing.Every.NEVER).exists()


def _mail_goes_out() -> bool:
    return bool(settings.SAMESPOOL_MAIL_FROM and settings.SAMESPOOL_ADDRESS)


def _still(request: HttpRequest, each: Follow) -> Followed | None:
    """What is followed, unless it is no longer to be seen."""
    try:
        return _found(request, each.subject, each.number)
    except Http404:
        return None


def _found(request: HttpRequest, subject: str, number: int) -> Followed:
    """What has this number. Raises Http404 where there is no such thing to be seen."""
    try:
        kind = Subject(subject.replace("-", " "))
    except ValueError:
        raise Http404 from None
    name, page, feed, number = FOUND[kind](request, number)
    return Followed(kind, number, name, page, feed)


Found = tuple[str, str, str, int]


def _everything(_request: HttpRequest, number: int) -> Found:
    if number:
        raise Http404
    return _("everything"), reverse("pages:pools"), reverse("pages:feed"), 0


def _pool(_request: HttpRequest, number: int) -> Found:
    pool = get_object_or_404(selectors.pools(), pk=number)
    page, feed = (reverse(f"pages:{name}", args=(number,)) for name in ("pool", "feed-pool"))
    return whole_name(pool), page, feed, number


def _join(request: HttpRequest, number: int) -> Found:
    join = get_object_or_404(connections_visible_to(request.user), pk=number)
    page, feed = (reverse(f"pages:{name}", args=(number,)) for name in ("connection", "feed-join"))
    return join.name, page, feed, number


def _line_pair(_request: HttpRequest, number: int) -> Found:
    """Of the line pair that this pool is on, by whichever of its pools it is named."""
    pool = get_object_or_404(selectors.pools(), pk=number)
    query = f"?{query_of(pool)}"
    return (
        f"{line_pair(pool)}, {conditions(pool)}",
        reverse("pages:line-pair") + query,
        reverse("pages:feed-line-pair") + query,
        line_pair_number(pool),
    )


def _tester(_request: HttpRequest, number: int) -> Found:
    tester = get_object_or_404(profiles(), pk=number, shows_sets=True)
    page = reverse("pages:contributor", args=(tester.handle,))
    return tester.handle, page, reverse("pages:feed-tester", args=(number,)), number


def _round(request: HttpRequest, number: int) -> Found:
    of = get_object_or_404(rounds(), pk=number)
    contributor = permissions.contributor_behind(request.user)
    title = of.title if is_insider(of, contributor) else seen(of, reader_of(request)).title
    page, feed = (reverse(f"pages:{name}", args=(number,)) for name in ("round", "feed-round"))
    return title, page, feed, number


FOUND: dict[Subject, Callable[[HttpRequest, int], Found]] = {
    Subject.EVERYTHING: _everything,
    Subject.POOL: _pool,
    Subject.JOIN: _join,
    Subject.LINE_PAIR: _line_pair,
    Subject.TESTER: _tester,
    Subject.ROUND: _round,
}
