"""Forms of an account: joining, what is shown of oneself, closing it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.models import User
from django.http import HttpRequest, QueryDict
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from results.accounts.join import LONGEST_HANDLE, checked_handle, handle_taken, join
from rigs.licence import SHARED_DATA
from rigs.models import Contributor
from rigs.refusals import Refused


def handle_field(help_text: Any = "", **options: Any) -> forms.CharField:
    return forms.CharField(
        label=_("Handle"), max_length=LONGEST_HANDLE, help_text=help_text, **options
    )


def refusal_text(refusal: Refused) -> str:
    """A refusal of one field in a sentence."""
    expected = "; ".join(finding.expected for finding in refusal.findings)
    return f"{refusal.detail} " + str(_("Expected: %(expected)s.")) % {"expected": expected}


class JoiningForm(forms.Form):
    """What signing up asks for beside name, mail address and password."""

    field_order = ["handle", "username", "email", "password1", "password2", "agreed"]
    handle = handle_field(
        _("shown publicly beside every set you send; it need not be your real name")
    )
    agreed = forms.BooleanField(
        label=_("I share what I pull under this licence"),
        error_messages={
            "required": _("Your pulls are shared publicly, so your agreement is needed.")
        },
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.fields["agreed"].help_text = format_html(
            '<a href="{}" rel="license">{} ({})</a>: {}',
            SHARED_DATA.address,
            SHARED_DATA.name,
            SHARED_DATA.identifier,
            _("anyone may use it, as long as they credit the source."),
        )

    def clean_handle(self) -> str:
        try:
            handle = checked_handle(self.cleaned_data["handle"])
            if Contributor.objects.filter(handle__iexact=handle).exists():
                raise handle_taken(handle)
        except Refused as refusal:
            raise forms.ValidationError(refusal_text(refusal)) from None
        return handle

    def signup(self, request: HttpRequest, user: User) -> None:  # noqa: ARG002
        """What allauth calls once the account is there."""
        join(user, self.cleaned_data["handle"], agreed=self.cleaned_data["agreed"])


class ShownForm(forms.Form):
    """The handle, and what one's own page lists."""

    handle = handle_field()
    club = forms.BooleanField(label=_("My page names my club"), required=False)
    rigs = forms.BooleanField(label=_("My page lists my rigs"), required=False)
    sets = forms.BooleanField(label=_("My page lists my sets"), required=False)


class ClosingForm(forms.Form):
    """What becomes of the data, and the password once more."""

    sessions = forms.ChoiceField(
        label=_("My sessions"),
        widget=forms.RadioSelect,
        choices=[
            ("keep", _("stay and continue to count, under 'former contributor' and a number")),
            ("withdraw", _("are withdrawn from every figure")),
        ],
    )
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, user: User, sent: QueryDict | None) -> None:
        super().__init__(sent, label_suffix="")
        self.user = user

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        if not self.user.check_password(password):
            raise forms.ValidationError(_("This is not your password."))
        return password
