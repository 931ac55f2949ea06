"""Faults of a recording in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from results.pages.figures import decimal
from rigs.metrology.traces.faults import Fault, FaultCode

SENTENCES = {
    FaultCode.CLOCK_RUNS_BACK: _("The clock runs back by %(by_s)s s here."),
    FaultCode.GAP: _("No sample for %(seconds)s s; one comes every %(usual_s)s s elsewhere."),
    FaultCode.PEAK_IN_GAP: _(
        "No sample for %(seconds)s s beside the highest, %(force)s: the peak may lie there, and "
        "the line held at least this. Leave the pull out, or name it as held to the end of travel."
    ),
    FaultCode.SATURATED: _(
        "The top is flat for %(seconds)s s at %(force)s: the load cell was at its limit, and the "
        "line held at least this. Leave the pull out, or name it as held to the end of travel."
    ),
    FaultCode.TOO_FEW_SAMPLES: _(
        "Too few samples on the way up, %(samples)s, where %(wanted)s would do: the peak may be "
        "well above the highest of them."
    ),
    FaultCode.NO_RETURN_TO_ZERO: _(
        "Force stays %(force)s above zero here, %(percent)s%% of the peak: was the line still "
        "loaded, or has the zero moved?"
    ),
    FaultCode.SPIKE: _(
        "One sample reads %(force)s where those beside it read %(beside)s: a spike, and no force "
        "of the line. If it is the peak, the reading is wrong: leave the pull out."
    ),
    FaultCode.RESTS_OFF_ZERO: _(
        "Without load the load cell shows %(force)s, which is in every reading too: set its zero "
        "before you pull."
    ),
    FaultCode.ZERO_MOVED: _(
        "The load cell shows %(force)s before and after this pull, and %(others)s at the others: "
        "its zero has moved, and the reading is off by as much. Leave the pull out."
    ),
    FaultCode.TWO_PEAKS_ALIKE: _(
        "Two peaks alike, %(force)s and %(other)s, with %(valley)s between: one pull that slipped, "
        "or two?"
    ),
}


def in_words(fault: Fault, force: Callable[[float], str]) -> str:
    """A fault in one sentence; ``force`` writes newtons in the unit of the recording."""
    return str(SENTENCES[fault.code]) % _written(fault.numbers, force)


def _written(numbers: Mapping[str, float], force: Callable[[float], str]) -> dict[str, str]:
    """Numbers of a fault by name: forces without the ending of their unit."""
    return {
        name.removesuffix("_N"): force(value) if name.endswith("_N") else _short(value)
        for name, value in numbers.items()
    }


def _short(value: float) -> str:
    """Three digits that count: ``0.0125``, ``3.2``, ``118``."""
    if value >= 99.5 or value == int(value):
        return gettext("%(number)d") % {"number": round(value)}
    places = 1 if value >= 10 else 2 if value >= 1 else 4
    return decimal(value, places).rstrip("0").rstrip(".,")
