"""Forms of a rig: registration, revision, and calibration."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ClassVar, cast

from django import forms
from django.db import models
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from results.pages.vocabulary import WORDS
from rigs.metrology import bounds, units
from rigs.metrology.check_weight import tolerance_uncertainty
from rigs.models import CalibrationReading, RigRevision
from rigs.models.rigs import DESCRIBED_BY, WHERE_IT_STANDS
from rigs.refusals import Refused

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

LONGEST_WRITTEN = 40
ROWS, MOST_ROWS = 8, 60

CHOICES: dict[str, type[models.TextChoices]] = {
    "load_generation": RigRevision.LoadGeneration,
    "indicator": RigRevision.Indicator,
    "peak_capture": RigRevision.PeakCapture,
    "first_grip": RigRevision.Grip,
    "second_grip": RigRevision.Grip,
}


QUANTITIES = {"resolution": "N", "capacity": "N", "free_length": "m"}
"""Fields of number and unit as written, and the unit of the column that each is kept in."""


def out_of(limits: bounds.Bounds, unit: str = "") -> str:
    """What is expected of a number out of its bounds."""
    return _("Expected %(limits)s.") % {"limits": f"{limits}{unit}"}


class QuantityField(forms.CharField):
    """Number and unit as written; cleaned to the pair of the value and what was written."""

    def __init__(
        self,
        read: Callable[[str], float],
        limits: bounds.Bounds | None = None,
        unit: str = "",
        **kwargs: Any,
    ) -> None:
        super().__init__(max_length=LONGEST_WRITTEN, **kwargs)
        self.read, self.limits, self.unit = read, limits, unit

    def clean(self, value: Any) -> tuple[float | None, str]:
        written = super().clean(value)
        if not written:
            return None, ""
        try:
            value = self.read(written)
        except units.UnitError as error:
            raise forms.ValidationError(
                _("Found %(found)s, expected %(expected)s.")
                % {"found": written, "expected": error.expected}
            ) from None
        if self.limits is not None and not self.limits.holds(value):
            raise forms.ValidationError(out_of(self.limits, self.unit))
        return value, written


def day_picker() -> forms.DateInput:
    """A day as a browser picks it; browsers take no other form than this."""
    first = bounds.EARLIEST_DAY.isoformat()
    return forms.DateInput(format="%Y-%m-%d", attrs={"type": "date", "min": first})


def in_words(choices: type[models.TextChoices]) -> list[tuple[str, StrOrPromise]]:
    """Choices by what is stored, which is what the API and sheets say as well.

    Before them stands that none is chosen yet: a first choice that stands by itself would be sent
    unread, and then be wrong.
    """
    return [("", _("choose")), *((value, WORDS[value]) for value in choices.values)]


def newtons(written: str) -> float:
    return units.parse_force(written).newtons


def metres(written: str) -> float:
    return units.parse_length(written).metres


def kilograms(written: str) -> float:
    return units.parse_mass(written).kilograms


class Refusable(forms.BaseForm):
    """A form that shows what a verb refused beside the fields it is about."""

    renamed: ClassVar[dict[str, str]] = {}

    def refuse(self, refusal: Refused) -> None:
        """Take over the findings of a refusal; what belongs to no field stands on top."""
        if not refusal.findings:
            self.add_error(None, refusal.detail)
        for finding in refusal.findings:
            field = self.renamed.get(finding.field, finding.field)
            message = _("Found %(found)s, expected %(expected)s.") % {
                "found": finding.found,
                "expected": finding.expected,
            }
            self.add_error(field if field in self.fields else None, message)


class RevisionForm(Refusable, forms.ModelForm[RigRevision]):
    """One state of a rig."""

    resolution = QuantityField(
        newtons,
        label=_("Resolution"),
        help_text=_("the smallest step of the scale, for example 0.1 lbf"),
    )
    capacity = QuantityField(
        newtons,
        label=_("Capacity"),
        help_text=_("the most the scale can show, for example 110 lbf"),
        required=False,
    )
    free_length = QuantityField(
        metres,
        help_text=_("of line between the grips, for example 60 cm"),
        label=_("Free length"),
        required=False,
    )

    class Meta:
        model = RigRevision
        fields = ["made_on", *DESCRIBED_BY, *WHERE_IT_STANDS]
        labels = {
            "made_on": _("Since"),
            "place": _("Place"),
            "load_generation": _("How the load is applied"),
            "load_path": _("Load path"),
            "pulleys_between": _("Pulleys between line and scale"),
            "lever_ratio": _("Lever ratio"),
            "indicator": _("Instrument"),
            "peak_capture": _("How the peak is caught"),
            "sample_rate_Hz": _("Samples per second"),
            "first_grip": _("One end is held by"),
            "second_grip": _("The other end is held by"),
            "grip_cover": _("Cover of the grips"),
            "time_to_break_s": _("Seconds to break"),
            "latitude_deg": _("Latitude, degrees"),
            "height_m": _("Height above the sea, m"),
        }
        help_texts = {
            "made_on": _("the day from which this describes the rig"),
            "load_path": _("from anchor to load, for example: bollard, line, bollard, scale"),
            "lever_ratio": _("1 if there is no lever"),
            "grip_cover": _("for example cork tape, rubber, bare steel"),
            "time_to_break_s": _("of a usual pull"),
            "place": _("only you and moderators see this, the latitude and the height"),
            "latitude_deg": _("for local gravity; north is positive"),
        }
        widgets = {"made_on": day_picker()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, choices in CHOICES.items():
            cast(forms.ChoiceField, self.fields[name]).choices = in_words(choices)

    def columns(self) -> dict[str, Any]:
        """The columns of the revision by name."""
        columns = dict(self.cleaned_data)
        for name, symbol in QUANTITIES.items():
            columns[f"{name}_{symbol}"], columns[f"{name}_written"] = columns.pop(name)
        return columns

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        columns = {f"{name}_{unit}": (name, f" {unit}") for name, unit in QUANTITIES.items()}
        for column, limits in bounds.OF_REVISION.items():
            name, unit = columns.get(column, (column, ""))
            value = cleaned.get(name)
            number = value[0] if isinstance(value, tuple) else value
            if number is not None and not limits.holds(number):
                self.add_error(name, out_of(limits, unit))
        return cleaned


class RigForm(RevisionForm):
    """A rig with its first revision."""

    name = forms.CharField(
        label=_("Name"), max_length=120, help_text=_("the name you will use in your sheets")
    )
    field_order = ["name", *RevisionForm.Meta.fields]


class ChangeForm(RevisionForm):
    """What changed of a rig and why; the rest stands as it was."""

    what_changed = forms.CharField(
        max_length=1000,
        label=_("What changed"),
        help_text=_("for example: rubber tape instead of cork on both bollards"),
    )
    why = forms.CharField(
        max_length=1000, label=_("Why"), help_text=_("for example: braid slid on the cork")
    )
    field_order = ["made_on", "what_changed", "why"]


class CalibrationForm(Refusable, forms.Form):
    """The day of a calibration."""

    made_on = forms.DateField(label=_("Day"), widget=day_picker())
    note = forms.CharField(max_length=1000, required=False, label=_("Note"))


class CheckWeightForm(Refusable, forms.Form):
    """One check weight and what the rig read under it; a row left empty is no row."""

    mass = forms.CharField(
        max_length=LONGEST_WRITTEN, label=_("Check weight"), help_text=_("5 kg, or 5 l of water")
    )
    tolerance = QuantityField(
        kilograms,
        bounds.TOLERANCE_kg,
        " kg",
        help_text=_("20 g"),
        label=_("Tolerance, ±"),
        required=False,
    )
    how_known = forms.ChoiceField(
        label=_("How known"), choices=in_words(CalibrationReading.HowKnown)
    )
    temperature_C = forms.FloatField(
        label=_("Water, °C"),
        min_value=bounds.WATER_TEMPERATURE_C.lowest,
        max_value=bounds.WATER_TEMPERATURE_C.highest,
        required=False,
    )
    direction = forms.ChoiceField(
        label=_("Direction"),
        choices=[("rising", _("loading")), ("falling", _("unloading"))],
    )
    reading = QuantityField(
        newtons,
        bounds.CALIBRATION_READING_N,
        " N",
        help_text=_("11.2 lbf"),
        label=_("Reading"),
    )

    def has_changed(self) -> bool:
        """Whether anything was written; a choice that stands by itself is nothing."""
        return any(self[name].value() for name in ("mass", "tolerance", "reading"))

    def clean_mass(self) -> tuple[str, float | None, float | None]:
        """What was written, and its kilograms or else its cubic metres of water."""
        written = self.cleaned_data["mass"]
        try:
            volume = units.parse_volume(written).cubic_metres
        except units.UnitError:
            pass
        else:
            if not bounds.WATER_m3.holds(volume):
                raise forms.ValidationError(out_of(bounds.WATER_m3.times(1000), " l"))
            return written, None, volume
        try:
            kilograms = units.parse_mass(written).kilograms
        except units.UnitError as error:
            raise forms.ValidationError(
                _("Found %(found)s, expected %(expected)s.")
                % {"found": written, "expected": error.expected}
            ) from None
        if not bounds.MASS_kg.holds(kilograms):
            raise forms.ValidationError(out_of(bounds.MASS_kg, " kg"))
        return written, kilograms, None

    def row(self) -> CalibrationReading:
        """The reading, not stored."""
        cleaned = self.cleaned_data
        mass_written, kilograms, volume = cleaned["mass"]
        tolerance, tolerance_written = cleaned["tolerance"]
        newtons, reading_written = cleaned["reading"]
        return CalibrationReading(
            mass_written=mass_written,
            mass_kg=kilograms,
            volume_m3=volume,
            temperature_C=cleaned["temperature_C"],
            tolerance_written=tolerance_written,
            u_mass_kg=None if tolerance is None else tolerance_uncertainty(tolerance),
            how_known=cleaned["how_known"],
            direction=cleaned["direction"],
            reading_N=newtons,
            reading_written=reading_written,
        )


def check_weights(rows: int) -> type[forms.BaseFormSet[CheckWeightForm]]:
    """The set of forms with so many rows."""
    return forms.formset_factory(
        CheckWeightForm, extra=rows, max_num=MOST_ROWS, absolute_max=MOST_ROWS
    )


def rows_asked_for(request: HttpRequest) -> int:
    """The requested number of rows of check weights, within bounds."""
    asked = request.GET.get("rows", "")
    return min(max(int(asked), ROWS), MOST_ROWS) if asked.isdecimal() and len(asked) < 4 else ROWS
