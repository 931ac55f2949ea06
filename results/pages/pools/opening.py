"""What a pool's page opens with: three plain sentences, and the loads of a reader's own line."""

from __future__ import annotations

import math

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from results.models import PoolVersion
from results.pages.figures import between, decimal, percent
from results.pages.rigs.forms import QuantityField, newtons
from results.statistics.planning import narrowing_by_a_tester
from rigs.metrology import bounds, units

PROVISIONAL_BELOW = 5
"""Number of testers below which a figure is called provisional: with four the t interval's factor
is still 3.2, from five on each further tester narrows it slowly."""
WELL_KNOWN, FAIRLY_KNOWN = 0.02, 0.05
"""Half-widths of the interval, of the figure, that pages call well and fairly well known."""


class OwnLine(forms.Form):
    """The strength of a reader's own line, sent by GET."""

    strength = QuantityField(
        newtons,
        bounds.READING_N,
        " N",
        label=gettext_lazy("Your line holds"),
        required=False,
        widget=forms.TextInput({"placeholder": gettext_lazy("40 lbf, 18 kg, 180 N")}),
    )

    @property
    def force(self) -> units.Force | None:
        """What was written, as a load in its own unit; None where nothing fit was."""
        written = self.cleaned_data["strength"][1] if self.is_valid() else ""
        return units.parse_force(written) if written else None


def load(force: units.Force, *ratios: float | None) -> str:
    """The load at one or two ratios of a line's strength, in the unit it was written in.

    Three figures, as a tester's scale gives them; empty where a ratio is missing.
    """
    shown = [_three_figures(force.value * ratio) for ratio in ratios if ratio is not None]
    if len(shown) < len(ratios):
        return ""
    return f"{_(' to ').join(shown)} {force.unit}"


def _three_figures(value: float) -> str:
    places = max(0, 2 - math.floor(math.log10(value))) if value > 0 else 0
    return decimal(value, min(places, 4))


def opening(version: PoolVersion) -> list[str]:
    """Three sentences: what a join keeps, what to expect of one's own, and how sure that is.

    Empty where the version has no figure.
    """
    if version.efficiency is None:
        return []
    return [_kept(version), _expected(version), _how_sure(version)]


def _kept(version: PoolVersion) -> str:
    return _(
        "Averaged over its testers, a line with this join holds %(efficiency)s of what the same"
        " line holds without one."
    ) % {"efficiency": percent(version.efficiency)}


def _expected(version: PoolVersion) -> str:
    if version.prediction_low is None and version.prediction_high is None:
        return _("What to expect of your own ties can't be said from these testers yet.")
    expected = between(version.prediction_low, version.prediction_high)
    if version.held_by_nine is None:
        return _("If you tie it, expect a set of yours to average %(expected)s.") % {
            "expected": expected
        }
    return _(
        "If you tie it, expect a set of yours to average %(expected)s, and nine in ten of your"
        " ties to hold at least %(least)s."
    ) % {"expected": expected, "least": percent(version.held_by_nine)}


def _how_sure(version: PoolVersion) -> str:
    low, high = version.interval_low, version.interval_high
    if low is None or high is None:
        return _("How sure the average is can't be said from these testers; more testers will.")
    half_width = (high - low) / 2 / float(version.efficiency or math.inf)
    if half_width <= WELL_KNOWN:
        known = _("The average is well known")
    elif half_width <= FAIRLY_KNOWN:
        known = _("The average is fairly well known")
    else:
        known = _("The average is not well known yet")
    return _(
        "%(known)s: 95%% confidence puts it between %(interval)s, and one more tester would narrow"
        " that by about %(by)s."
    ) % {
        "known": known,
        "interval": _ends(low, high),
        "by": percent(narrowing_by_a_tester(version.testers), 0),
    }


def _ends(low: float, high: float) -> str:
    return _("%(low)s and %(high)s") % {"low": percent(low), "high": percent(high)}
