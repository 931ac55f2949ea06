"""Naming a recording: the session it is of, what was pulled, and which pull is of what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from results.intake import cells
from results.intake.findings import shown
from results.models import Baseline, Session
from results.pages.figures import MODES
from results.pages.rigs.forms import day_picker, in_words
from rigs.models import Rig

if TYPE_CHECKING:
    from django.utils.datastructures import MultiValueDict
    from django_stubs_ext import StrOrPromise

LONGEST_NAME, LONGEST_SHORT, LONGEST_PARAMETERS = 120, 60, 1000
ROWS, MOST_ROWS = 2, 20
"""Straight lines and joins that the form has room for at first, and at most."""
LEFT_OUT = "out"
ENDS: list[tuple[str, StrOrPromise]] = [
    ("", _("choose")),
    ("join", MODES["join"]),
    ("slip", MODES["slip"]),
    ("line", MODES["line"]),
    ("line:main", _("in the main line")),
    ("line:leader", _("in the leader")),
    ("terminal", MODES["terminal"]),
    ("grip", MODES["grip"]),
    ("none", MODES["none"]),
    ("void", MODES["void"]),
]
"""How a pull can end: a mode, and of a join the line that parted."""


def _text(label: StrOrPromise, most: int, *, listed: str = "", help_text: StrOrPromise = "") -> Any:
    attrs = {"autocomplete": "off"} | ({"list": listed} if listed else {})
    return forms.CharField(
        label=label,
        max_length=most,
        required=False,
        help_text=help_text,
        widget=forms.TextInput(attrs=attrs),
    )


class SessionForm(forms.Form):
    """One day at one rig."""

    rig = forms.ChoiceField(label=_("Rig"))
    pulled_on = forms.DateField(label=_("Day"), widget=day_picker())
    state = forms.ChoiceField(label=_("Line is"), choices=in_words(Session.State))
    loading = forms.ChoiceField(label=_("Loading"), choices=in_words(Session.Loading))

    def __init__(self, sent: Any, rigs: Sequence[Rig], **kwargs: Any) -> None:
        super().__init__(sent, label_suffix="", **kwargs)
        rig = self.fields["rig"]
        assert isinstance(rig, forms.ChoiceField)
        rig.choices = [("", _("choose")), *((str(each.pk), each.name) for each in rigs)]


class StraightForm(forms.Form):
    """A straight line that was pulled; a row without a line is none."""

    line = _text(_("Line"), LONGEST_NAME, listed="lines")
    spool = _text(_("Spool"), LONGEST_SHORT)
    position = forms.ChoiceField(label=_("Position"), choices=in_words(Baseline.Position)[1:])


class JoinForm(forms.Form):
    """A join that was pulled; a row without a join is none."""

    connection = _text(_("Join"), LONGEST_NAME, listed="joins")
    main = _text(_("Main line"), LONGEST_NAME, listed="lines")
    main_spool = _text(_("its spool"), LONGEST_SHORT)
    leader = _text(_("Leader"), LONGEST_NAME, listed="lines")
    leader_spool = _text(_("its spool"), LONGEST_SHORT)
    terminal = _text(_("or terminal"), LONGEST_SHORT, help_text=_("hook, ring, swivel"))
    parameters = _text(
        _("How it was tied"),
        LONGEST_PARAMETERS,
        help_text=_("for example: turns_main=6; glued=no"),
    )
    discarded_ties = forms.IntegerField(
        label=_("Ties discarded before pulling"),
        min_value=0,
        max_value=1000,
        initial=0,
        required=False,
    )
    doubled = forms.BooleanField(label=_("main line doubled"), required=False)

    def clean_discarded_ties(self) -> int:
        """None where the field was left empty."""
        return self.cleaned_data["discarded_ties"] or 0

    def clean_parameters(self) -> dict[str, Any]:
        """Tie parameters by name, as a sheet has them."""
        found, wrong = cells.parameters(self.cleaned_data["parameters"])
        if wrong:
            raise forms.ValidationError(
                gettext("Found %(found)s, expected %(expected)s.")
                % {"found": shown(wrong[0]), "expected": cells.as_parameters_are_written()}
            )
        return found


class PullForm(forms.Form):
    """Whose pull it is, and how it ended."""

    of = forms.ChoiceField(label=_("It is a pull of"), required=False)
    end = forms.ChoiceField(label=_("It ended"), choices=ENDS, required=False)
    slipped_first = forms.BooleanField(
        label=_("slipped first, held again, and then ended so"), required=False
    )

    def clean(self) -> dict[str, Any]:
        """A pull that counts has an end."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if cleaned.get("of") != LEFT_OUT and not cleaned.get("end"):
            self.add_error("end", gettext("Choose how it ended, or leave the pull out."))
        return cleaned


@dataclass(frozen=True)
class Seen:
    """What a recording shows of one pull: too low to be one; a deep fall before its peak."""

    is_low: bool
    slipped: bool


@dataclass(frozen=True)
class Named:
    """All forms of the page together; ``rows`` are those of straight lines and of joins."""

    session: SessionForm
    straight: Sequence[StraightForm]
    joins: Sequence[JoinForm]
    pulls: Sequence[PullForm]

    def is_valid(self) -> bool:
        """Every form checked, so that all mistakes show at once."""
        every = (self.session, *self.straight, *self.joins, *self.pulls)
        wrong = [form for form in every if not form.is_valid()]
        return self._are_named() and not wrong

    def owners(self) -> list[str]:
        """Of each pull the row it belongs to: ``s1``, ``j2``, or `LEFT_OUT`."""
        owners: list[str] = []
        before = ""
        for pull in self.pulls:
            owner = pull.cleaned_data.get("of") or before
            owners.append(owner)
            before = owner if owner != LEFT_OUT else before
        return owners

    def _are_named(self) -> bool:
        """Whether what pulls are said to be of was filled in."""
        filled = {
            f"s{number}"
            for number, row in enumerate(self.straight, 1)
            if row.cleaned_data.get("line")
        } | {
            f"j{number}"
            for number, row in enumerate(self.joins, 1)
            if row.cleaned_data.get("connection") and row.cleaned_data.get("main")
        }
        for pull, owner in zip(self.pulls, self.owners(), strict=True):
            if not owner:
                pull.add_error("of", gettext("Choose what the first pull is of."))
            elif owner not in filled | {LEFT_OUT}:
                pull.add_error("of", gettext("Fill that in above first: line, or join and lines."))
        return not any(pull.errors for pull in self.pulls)


def named(
    sent: MultiValueDict[str, Any] | None,
    rigs: Sequence[Rig],
    seen: Sequence[Seen],
    rows: int,
) -> Named:
    """The forms of a recording, empty or as sent; ``seen`` of each pull."""
    owners = [
        ("", _("as the one before")),
        *((f"s{at}", _("straight line %(number)d") % {"number": at}) for at in range(1, rows + 1)),
        *((f"j{at}", _("join %(number)d") % {"number": at}) for at in range(1, rows + 1)),
        (LEFT_OUT, _("leave it out")),
    ]
    pulls = [
        PullForm(
            sent,
            prefix=f"p{number}",
            initial={"of": LEFT_OUT if pull.is_low else "", "slipped_first": pull.slipped},
            label_suffix="",
        )
        for number, pull in enumerate(seen, 1)
    ]
    for pull in pulls:
        of = pull.fields["of"]
        assert isinstance(of, forms.ChoiceField)
        of.choices = owners
    first = {"rig": str(rigs[0].pk)} if len(rigs) == 1 else {}
    return Named(
        SessionForm(sent, rigs, initial={"loading": "static", **first}),
        [
            StraightForm(_row(sent, f"s{number}-line"), prefix=f"s{number}", label_suffix="")
            for number in range(1, rows + 1)
        ],
        [
            JoinForm(_row(sent, f"j{number}-connection"), prefix=f"j{number}", label_suffix="")
            for number in range(1, rows + 1)
        ],
        pulls,
    )


def _row(sent: MultiValueDict[str, Any] | None, name: str) -> MultiValueDict[str, Any] | None:
    """What was sent; None for a row that has only just been asked for, and so has no mistakes."""
    return None if sent is not None and "more" in sent and name not in sent else sent
