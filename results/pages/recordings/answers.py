"""What a recording does not say, as its sender answers it: a form without anything required."""

from __future__ import annotations

from dataclasses import replace

from django import forms
from django.utils.translation import gettext_lazy as _

from results.intake.recordings import Answers
from rigs.metrology.units import FORCE_UNITS
from rigs.refusals import Finding

MOST_COLUMN = 1000
RECOGNISED = ("", _("as recognised"))


class AnswersForm(forms.Form):
    """All that can be answered; a page shows it by GET, so that its address holds the answers."""

    unit = forms.ChoiceField(
        label=_("Unit of force"),
        choices=[RECOGNISED, *((unit, unit) for unit in FORCE_UNITS)],
        required=False,
    )
    clock = forms.ChoiceField(
        label=_("Times are in"),
        choices=[
            RECOGNISED,
            ("s", _("seconds")),
            ("ms", _("milliseconds")),
            ("us", _("microseconds")),
            ("stamps", _("times of day")),
            ("samples", _("samples, counted")),
        ],
        required=False,
    )
    sample_rate_Hz = forms.FloatField(
        label=_("Samples a second"),
        min_value=0,
        required=False,
        help_text=_("only where the file has no times"),
    )
    time_column = forms.IntegerField(
        label=_("Column of time"), min_value=1, max_value=MOST_COLUMN, required=False
    )
    force_column = forms.IntegerField(
        label=_("Column of force"), min_value=1, max_value=MOST_COLUMN, required=False
    )
    separator = forms.ChoiceField(
        label=_("Between the columns"),
        choices=[
            RECOGNISED,
            (",", _("comma")),
            (";", _("semicolon")),
            ("\t", _("tabulator")),
            (" ", _("spaces")),
        ],
        required=False,
    )
    decimal = forms.ChoiceField(
        label=_("Decimal mark"),
        choices=[RECOGNISED, (".", _("point")), (",", _("comma"))],
        required=False,
    )

    def given(self) -> Answers:
        """The answers that can be used; the form says what is wrong with the others."""
        if not self.is_bound:
            return Answers()
        self.is_valid()
        said = self.cleaned_data
        return Answers(**{name: value for name, value in said.items() if value not in ("", None)})


def asked(finding: Finding) -> Finding:
    """A finding about how a file is to be read, at the field of the form that answers it."""
    field = AnswersForm.base_fields.get(finding.field)
    return finding if field is None else replace(finding, field=str(field.label))
