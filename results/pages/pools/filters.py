"""What the list of joins is asked: for which lines, what matters, and filters; all optional."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.db.models import Q
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from results.pages.vocabulary import QUICK_MEANS, SLIM_MEANS, WORDS
from results.pools import selectors
from rigs.metrology import units
from rigs.models import Material

MOST_TESTERS = 100_000
LONGEST_TIE_S = 3600
MOST_BULK = 50
LONGEST_WRITTEN = 40
MATTERS = ("slim", "quick", "tools")
FURTHER = (
    "wet", "connection", "main_size", "leader_size", "least_testers", "most_bulk", "most_seconds",
)  # fmt: skip
SLIM, QUICK_S = 2.0, 60.0
"""Times the thicker line and seconds up to which a join counts as slim and quick: common practice,
no source. Where no set measured it, the catalogue says."""
STRONG, SAFE = "", "worst"
"""Orders: by what a join keeps on average, and by what nine in ten ties hold."""


class SizeField(forms.CharField):
    """A diameter as people write it, in millimetres where they give no unit; None if empty."""

    def __init__(self, label: Any) -> None:
        super().__init__(label=label, required=False, max_length=LONGEST_WRITTEN)
        self.widget.attrs["placeholder"] = _("0.35 mm")

    def clean(self, value: Any) -> Any:
        written = super().clean(value)
        if not written:
            return None
        try:
            return units.parse_length(written, "mm").metres
        except units.UnitError as error:
            raise forms.ValidationError(
                _("Found %(found)s, expected %(expected)s.")
                % {"found": written, "expected": error.expected}
            ) from None


class Filters(forms.Form):
    """Conditions on pools, sent by GET."""

    main = forms.ChoiceField(label=_("Main line"), required=False)
    to = forms.ChoiceField(label=_("Leader or terminal"), required=False)
    rank = forms.ChoiceField(
        label=_("What matters most"),
        required=False,
        choices=[(STRONG, _("strong on average")), (SAFE, _("safest worst case"))],
    )
    slim = forms.BooleanField(label=_("slim"), required=False)
    quick = forms.BooleanField(label=_("quick"), required=False)
    tools = forms.BooleanField(
        label=_("no tools"), required=False, widget=forms.CheckboxInput({"value": "none"})
    )
    main_size = SizeField(_("Main diameter"))
    leader_size = SizeField(_("Leader diameter"))
    wet = forms.ChoiceField(
        label=_("Wet or dry"),
        required=False,
        choices=[("", _("either")), ("false", _("dry")), ("true", _("wet"))],
    )
    connection = forms.ChoiceField(label=_("Join"), required=False)
    least_testers = forms.IntegerField(
        label=_("At least this many testers"), required=False, min_value=1, max_value=MOST_TESTERS
    )
    most_bulk = forms.FloatField(
        label=_("Maximum thickness (x line)"),
        required=False,
        min_value=1,
        max_value=MOST_BULK,
    )
    most_seconds = forms.IntegerField(
        label=_("Maximum time to tie, s"), required=False, min_value=1, max_value=LONGEST_TIE_S
    )

    def __init__(self, asked: QueryDict) -> None:
        super().__init__(asked, label_suffix="")
        names, terminals = selectors.pooled_names(), selectors.pooled_terminals()
        self._offer("main", _("any material"), [*Material.values])
        self._offer("to", _("anything"), [*Material.values, *terminals])
        self._offer("connection", _("any join"), names)

    def _offer(self, name: str, anything: Any, values: list[str]) -> None:
        field = cast(forms.ChoiceField, self.fields[name])
        named = {**WORDS, Material.OTHER: _("other, such as wire that can't be knotted")}
        field.choices = [("", anything), *((value, named.get(value, value)) for value in values)]

    @property
    def in_words(self) -> str:
        """What slim and quick mean, as measured or else by common practice."""
        return _(
            "Slim: %(slim)s. Quick: %(quick)s. By sets that measured it, else by the catalogue."
        ) % {
            "slim": SLIM_MEANS,
            "quick": QUICK_MEANS,
        }

    @property
    def first(self) -> list[forms.BoundField]:
        """The two lines, and by what their joins are ordered."""
        return [self[name] for name in self.fields if name not in (*MATTERS, *FURTHER)]

    @property
    def matters(self) -> list[forms.BoundField]:
        """What else may matter, each to be ticked."""
        return [self[name] for name in MATTERS]

    @property
    def further(self) -> list[forms.BoundField]:
        """Fields that some do."""
        return [self[name] for name in FURTHER]

    @property
    def asked_further(self) -> bool:
        """Whether any of these was filled in."""
        return any(field.value() for field in self.further)

    @property
    def asked(self) -> dict[str, Any]:
        """The chosen filters; empty if the form is not valid."""
        return self.cleaned_data if self.is_valid() else {}

    def condition(self) -> Q:
        """The condition on pools. Unknown properties of a join don't rule it out."""
        asked = self.asked
        condition = Q()
        if main := asked.get("main"):
            condition &= Q(main_material=main)
        if to := asked.get("to"):
            condition &= Q(leader_material=to) | Q(leader_material="", terminal=to)
        if wet := asked.get("wet"):
            condition &= Q(wet=wet == "true")
        if connection := asked.get("connection"):
            condition &= Q(connection__name=connection)
        if least := asked.get("least_testers"):
            condition &= Q(current__testers__gte=least)
        if bulk := asked.get("most_bulk"):
            condition &= Q(current__bulk__lte=bulk) | Q(current__bulk=None)
        if seconds := asked.get("most_seconds"):
            within = Q(current__time_to_tie_s__lte=seconds)
            condition &= within | Q(current__time_to_tie_s=None)
        if asked.get("tools"):
            condition &= Q(connection__tools__iexact="none") | Q(connection__tools="")
        if asked.get("slim"):
            condition &= _at_most("bulk", SLIM, "slim")
        if asked.get("quick"):
            condition &= _at_most("time_to_tie_s", QUICK_S, "quick")
        return condition


def _at_most(measured: str, most: float, said: str) -> Q:
    """As measured, else as the catalogue says, else also what is not known."""
    unmeasured = Q(**{f"current__{measured}": None}) & ~Q(**{f"connection__{said}": False})
    return Q(**{f"current__{measured}__lte": most}) | unmeasured
