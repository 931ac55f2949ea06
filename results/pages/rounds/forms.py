"""The form that sets up a round: its spools and samples, a row each."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from results.intake.cells import parameters
from results.models import Connection, Round, RoundSample, Session
from results.pages.rigs.forms import day_picker, in_words
from results.pages.rounds.folded import Folded, folded
from results.rounds import drafts
from results.rounds.drafts import LotDraft, RoundDraft, SampleDraft
from rigs.models import Contributor, Line
from rigs.refusals import Refused

LOTS, SAMPLES = drafts.MOST_LOTS, 6
"""Rows of an empty form: every spool that can be chosen has its row."""
LOTS_AT_ONCE = SAMPLES_AT_ONCE = 2
"""Rows that stand open, as a small club fills them in; the others are folded away."""
LASTS = timedelta(days=28)
"""From today to the last day for results, where the organiser chooses no other."""
SPOOL_NUMBERS = [(number, str(number)) for number in range(1, drafts.MOST_LOTS + 1)]
NO_LOT = 0
"""In place of a row of spools that was left empty; no lot has this number."""
_COUNTED = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*([^\W\d][\w ]*)|([^\W\d][\w ]*?)\s*:?\s*(\d+(?:[.,]\d+)?)"
)
_BETWEEN = re.compile(r"\s*(?:[;\n]|,\s)\s*")
_NAMES = {"lots": _("Spools"), "samples": _("Samples")}
"""What parts of a plan are called on the page that are no field of it."""
_FIELDS = {"sigma_relative": "sigma_percent", "main": "main_lot", "leader": "leader_lot"}
_PLACE = re.compile(r"(lots|samples)\[(\d+)\]")


class PercentField(forms.DecimalField):
    """A share in percent, as people write one: 6.5, 6,5 or 6.5 %."""

    widget = forms.TextInput({"inputmode": "decimal"})

    def to_python(self, value: Any) -> Any:
        written = str(value or "").strip().removesuffix("%").strip()
        return super().to_python(written.replace(",", "."))


class PlanForm(forms.Form):
    """The round as a whole."""

    FIRST = ("title", "starts_on", "results_by")

    title = forms.CharField(label=_("Title"), max_length=drafts.LONGEST_TITLE)
    starts_on = forms.DateField(label=_("Starts on"), widget=day_picker())
    results_by = forms.DateField(
        label=_("Results by"), widget=day_picker(), help_text=_("what comes later is marked late")
    )
    line_state = forms.ChoiceField(
        label=_("Line is"), choices=in_words(Session.State), initial=Session.State.DRY
    )
    packer = forms.CharField(
        label=_("Who packs and labels"),
        required=False,
        help_text=_(
            "their handle; empty if you do. The person who packs knows which sample is which,"
            " and is marked as not blind."
        ),
    )

    tyer = forms.CharField(
        label=_("Who ties for everybody"),
        required=False,
        help_text=_(
            "the samples that are tied centrally: their handle; empty if you do. Pools take these"
            " ties together as one person's, and not as the hands of who pulls them."
        ),
    )
    sigma_percent = PercentField(
        label=_("Standard deviation for assessment, in percent of the value"),
        required=False,
        min_value=Decimal("0.1"),
        max_value=100,
        max_digits=6,
        decimal_places=3,
        help_text=_(
            "what a good bench should keep to, declared before anyone pulls (ISO 13528); empty to"
            " score by how far results scatter. The spools are judged by it too."
        ),
    )

    def clean_packer(self) -> Contributor | None:
        return self._tester("packer")

    def clean_tyer(self) -> Contributor | None:
        return self._tester("tyer")

    def _tester(self, role: str) -> Contributor | None:
        handle = self.cleaned_data[role].strip()
        if not handle:
            return None
        found = Contributor.objects.filter(handle__iexact=handle, closed_at=None).first()
        if found is None:
            raise forms.ValidationError(_("No one here has this handle."))
        return found


class DeadlineForm(forms.Form):
    """What can be changed of a round once it is open."""

    results_by = forms.DateField(
        label=_("Results by"),
        widget=day_picker(),
        help_text=_("a later day; everyone who takes part gets a notice"),
    )


class LotForm(forms.Form):
    """A spool; a row without a line is no row."""

    line = forms.ModelChoiceField(
        label=_("Line"), queryset=Line.objects.filter(accepted=True).order_by("name")
    )
    spool = forms.CharField(label=_("Spool"), max_length=60, help_text=_("as it is labelled"))

    def has_changed(self) -> bool:
        return any(self[name].value() for name in ("line", "spool"))


class SampleForm(forms.Form):
    """A sample; a row without a join is no row."""

    FIRST = ("connection", "tied", "main_lot", "leader_lot")

    connection = forms.ModelChoiceField(
        label=_("Join"), queryset=Connection.objects.filter(accepted=True).order_by("name")
    )
    main_lot = forms.TypedChoiceField(
        label=_("Main line: spool"), coerce=int, choices=SPOOL_NUMBERS
    )
    leader_lot = forms.TypedChoiceField(
        label=_("Leader: spool"),
        coerce=int,
        required=False,
        empty_value=None,
        choices=[("", _("none")), *SPOOL_NUMBERS],
    )
    terminal = forms.CharField(label=_("or terminal"), max_length=60, required=False)
    tied = forms.ChoiceField(label=_("Tied"), choices=in_words(RoundSample.TiedBy))
    ties = forms.IntegerField(
        label=_("Joins under a code"), min_value=2, max_value=drafts.MOST_TIES, initial=5
    )
    codes = forms.IntegerField(
        label=_("Codes for each tester"),
        min_value=1,
        max_value=drafts.MOST_CODES,
        initial=1,
        help_text=_("2 hides a duplicate"),
    )
    level = forms.IntegerField(
        label=_("Level"),
        min_value=1,
        max_value=drafts.MOST_SAMPLES,
        initial=1,
        help_text=_(
            "samples that should hold the same, but for who tied them, share a number; leave 1 if"
            " all of them should"
        ),
    )
    doubled = forms.BooleanField(label=_("main line doubled"), required=False)
    parameters = forms.CharField(
        label=_("How it is tied"),
        required=False,
        max_length=500,
        help_text=_(
            "for example: 6 turns; 2 wraps. With semicolons between; what can be"
            " said of each join is listed below, and 6 turns is on each side where it has several"
        ),
    )
    specification = forms.CharField(
        label=_("and in words"),
        required=False,
        max_length=drafts.LONGEST_SPECIFICATION,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def has_changed(self) -> bool:
        return any(self[name].value() for name in ("connection", "terminal", "specification"))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        connection = cleaned.get("connection")
        names = [] if connection is None else [one.name for one in connection.parameters.all()]
        written = str(cleaned.get("parameters", ""))
        found, wrong = parameters(
            "; ".join(_named(each, names) for each in _BETWEEN.split(written))
        )
        if wrong:
            self.add_error(
                "parameters",
                _("Found %(found)s, expected a name, = and a value. %(join)s has: %(names)s.")
                % {
                    "found": "; ".join(wrong),
                    "join": connection or _("The join"),
                    "names": ", ".join(names) or _("nothing to be said of it"),
                },
            )
        return cleaned | {"parameters": found}


def _named(written: str, names: Sequence[str]) -> str:
    """A number and a word, as in "6 turns", by the names of the parameters that begin so.

    Of a join whose two sides have their own turns it is those of each. As it was written, where
    none begins so.
    """
    said = _COUNTED.fullmatch(written.strip())
    if said is None:
        return written
    number, word = said[1] or said[4], (said[2] or said[3]).casefold().replace(" ", "_")
    meant = [name for name in names if name == word] or [
        name for name in names if name.startswith(f"{word}_")
    ]
    return "; ".join(f"{name}={number}" for name in meant) or written


def _share(percent: Decimal | None) -> float | None:
    return None if percent is None else float(percent / 100)


LotRows = forms.formset_factory(
    LotForm, extra=0, max_num=drafts.MOST_LOTS, absolute_max=drafts.MOST_LOTS
)
SampleRows = forms.formset_factory(
    SampleForm, extra=0, max_num=drafts.MOST_SAMPLES, absolute_max=drafts.MOST_SAMPLES
)


class SetUp:
    """The three parts of the form together, filled from a round that is changed."""

    def __init__(self, sent: Any, of: Round | None = None) -> None:
        lots, samples = _lots(of), _samples(of)
        self.plan = PlanForm(sent, initial=_plan(of), label_suffix="")
        options = {"label_suffix": "", "empty_permitted": True, "use_required_attribute": False}
        self.lots = LotRows(sent, prefix="lots", initial=_filled(lots, LOTS), form_kwargs=options)
        self.samples = SampleRows(
            sent, prefix="samples", initial=_filled(samples, SAMPLES), form_kwargs=options
        )

    def is_valid(self) -> bool:
        """Asks every part, so that each says what is wrong with it."""
        valid = [self.plan.is_valid(), self.lots.is_valid(), self.samples.is_valid()]
        return all(valid)

    lots_at_once, samples_at_once = LOTS_AT_ONCE, SAMPLES_AT_ONCE

    @property
    def round(self) -> Folded:
        """The round as a whole."""
        return folded(self.plan, PlanForm.FIRST)

    @property
    def sample_rows(self) -> list[Folded]:
        """The samples, row by row."""
        return [folded(row, SampleForm.FIRST) for row in self.samples]

    @property
    def has_more_lots(self) -> bool:
        """Whether something stands in the spools that are folded away."""
        return _any_changed(list(self.lots)[LOTS_AT_ONCE:])

    @property
    def has_more_samples(self) -> bool:
        """Whether something stands in the samples that are folded away."""
        return _any_changed(list(self.samples)[SAMPLES_AT_ONCE:])

    @property
    def wrong_rows(self) -> Any:
        """The spools, or the samples, where something is wrong with a row of them."""
        return self.lots if self.lots.total_error_count() else self.samples

    @property
    def _filled(self) -> dict[str, list[Any]]:
        """The rows in which something stands."""
        return {
            "lots": [row for row in self.lots if row.has_changed()],
            "samples": [row for row in self.samples if row.has_changed()],
        }

    def draft(self) -> RoundDraft:
        """What was planned; rows left empty are none, and spools go by their row in the form."""
        plan, filled = self.plan.cleaned_data, self._filled
        rows = {form: number for number, form in enumerate(self.lots, start=1)}
        places = {rows[form]: place for place, form in enumerate(filled["lots"], start=1)}
        samples = [row.cleaned_data for row in filled["samples"]]
        return RoundDraft(
            title=plan["title"],
            starts_on=plan["starts_on"],
            results_by=plan["results_by"],
            line_state=plan["line_state"],
            packer=plan["packer"],
            tyer=plan["tyer"],
            sigma_relative=_share(plan["sigma_percent"]),
            lots=[LotDraft(**row.cleaned_data) for row in filled["lots"]],
            samples=[
                SampleDraft(
                    **sample
                    | {
                        "main_lot": places.get(sample["main_lot"], NO_LOT),
                        "leader_lot": sample["leader_lot"]
                        and places.get(sample["leader_lot"], NO_LOT),
                    }
                )
                for sample in samples
            ],
        )

    def _spools_named(self) -> str:
        """The rows of spools that a sample can name."""
        rows = [number for number, form in enumerate(self.lots, start=1) if form.has_changed()]
        return _("a spool that is named above: %(rows)s") % {
            "rows": ", ".join(map(str, rows)) or _("none yet")
        }

    def refuse(self, refusal: Refused) -> None:
        """Put each finding beside the row and field it is about."""
        said_once = _("The round can't be set up so.") if refusal.findings else refusal.detail
        self.plan.add_error(None, said_once)
        for finding in refusal.findings:
            place = _PLACE.match(finding.row)
            form = self._filled[place[1]][int(place[2])] if place else self.plan
            said = _("Found %(found)s, expected %(expected)s.")
            values = {"found": finding.found, "expected": finding.expected}
            field = _FIELDS.get(finding.field, finding.field)
            if finding.field in ("main_lot", "leader_lot"):
                values = {"found": form[field].value(), "expected": self._spools_named()}
            if field in form.fields:
                form.add_error(field, said % values)
            else:
                name = _NAMES.get(field, field.replace("_", " ").capitalize())
                form.add_error(None, f"{name}: {said % values}")


def _any_changed(rows: Iterable[LotForm] | Iterable[SampleForm]) -> bool:
    return any(row.has_changed() for row in rows)


def _filled(rows: list[dict[str, Any]], least: int) -> list[dict[str, Any]]:
    return [*rows, *([{}] * max(least - len(rows), 1 if rows else 0))]


def _plan(of: Round | None) -> dict[str, Any]:
    if of is None:
        today = timezone.now().date()
        return {"starts_on": today, "results_by": today + LASTS}
    names = ("title", "starts_on", "results_by", "line_state")
    sigma = of.sigma_relative
    return {name: getattr(of, name) for name in names} | {
        "packer": "" if of.packer_id == of.organiser_id else of.packer.handle,
        "tyer": of.tyer.handle if of.tyer else "",
        "sigma_percent": None if sigma is None else Decimal(f"{100 * sigma:.6g}"),
    }


def _lots(of: Round | None) -> list[dict[str, Any]]:
    return [] if of is None else [{"line": lot.line, "spool": lot.spool} for lot in of.lots.all()]


def _samples(of: Round | None) -> list[dict[str, Any]]:
    if of is None:
        return [{"tied": tied, "main_lot": 1, "leader_lot": 2} for tied in RoundSample.TiedBy]
    stored = list(of.samples.all())
    names = ("connection", "terminal", "tied", "ties", "codes", "level", "doubled", "specification")
    return [
        {name: getattr(sample, name) for name in names}
        | {
            "main_lot": sample.main_lot.number,
            "leader_lot": sample.leader_lot.number if sample.leader_lot else "",
            "parameters": "; ".join(f"{name}={value}" for name, value in sample.parameters.items()),
        }
        for sample in stored
    ]
