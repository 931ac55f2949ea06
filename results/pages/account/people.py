"""An administrator's page that makes a contributor, a moderator or both in one form."""

from __future__ import annotations

from django import forms
from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from results.accounts.people import Made, Person, make_person
from results.pages.account.forms import handle_field, refusal_text
from results.pages.showing import render
from rigs.models import Club
from rigs.permissions import MODERATORS
from rigs.refusals import Refused

MODERATORS_SHOWN = 100


class PersonForm(forms.Form):
    """Who it is, and what they do here."""

    name = forms.CharField(
        label=_("Sign-in name"),
        max_length=150,
        help_text=_("never shown to others; an existing account gets what it lacks"),
    )
    email = forms.EmailField(
        label=_("Email address"),
        required=False,
        help_text=_("for notices and a forgotten password; may stay empty"),
    )
    contributor = forms.BooleanField(
        label=_("Contributor: has a bench, registers rigs, sends sessions"), required=False
    )
    handle = handle_field(
        _("of a contributor: shown beside every set; empty, it is the sign-in name"),
        required=False,
    )
    club = forms.CharField(
        label=_("Club"),
        max_length=120,
        required=False,
        widget=forms.TextInput({"list": "clubs", "autocomplete": "off"}),
        help_text=_(
            "of a contributor, by its name: members set up its rounds. A name that is new makes the"
            " club; given with the sign-in name of an existing account, it is entered there."
        ),
    )
    moderator = forms.BooleanField(
        label=_("Moderator: decides on held sets, names and reports"), required=False
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
@never_cache
def people(request: HttpRequest) -> HttpResponse:
    """The form, and after it what was made, with the password of a new account this once."""
    assert isinstance(request.user, User)
    if not (request.user.is_active and request.user.is_superuser):
        raise PermissionDenied
    sent = request.POST if request.method == "POST" else None
    form = PersonForm(sent, label_suffix="")
    made: Made | None = None
    asks_first = (
        sent is not None
        and form.is_valid()
        and form.cleaned_data["moderator"]
        and "sure" not in sent
    )
    if sent is not None and not asks_first and form.is_valid():
        try:
            made = make_person(request.user, Person(**form.cleaned_data))
        except Refused as refusal:
            fields = {finding.field for finding in refusal.findings} & set(form.fields)
            form.add_error(next(iter(fields), None), refusal_text(refusal))
        else:
            form = PersonForm(label_suffix="")
    moderators = User.objects.filter(groups__name=MODERATORS, is_active=True)
    return render(
        request,
        "pages/account/people.html",
        {
            "form": form,
            "made": made,
            "asks_first": asks_first,
            "is_new": asks_first
            and not User.objects.filter(username=form.cleaned_data["name"]).exists(),
            "clubs": list(Club.objects.values_list("name", flat=True)),
            # Pages never show a sign-in name by themselves: here an administrator needs it.
            "name": made.user.username if made else "",
            "moderators": list(
                moderators.order_by("username").values_list("username", "contributor__handle")[
                    :MODERATORS_SHOWN
                ]
            ),
        },
        status=422 if form.errors else 200,
    )
