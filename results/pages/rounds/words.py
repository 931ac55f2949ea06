"""Rounds in words: their samples, and what a report says of one participant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from results.models import RoundLot, RoundSample
from results.pages.figures import decimal
from results.pages.vocabulary import WORDS


@dataclass(frozen=True)
class ShownSample:
    """A sample as those read of it who may know what it is."""

    number: int
    join: str
    ends: str
    specification: str
    tied: str
    ties: int
    codes: int
    level: int


def shown_sample(sample: RoundSample, *, spools: bool) -> ShownSample:
    """``spools`` is whether the reader may know the names of the spools."""
    name = sample.connection.name
    ends = {"main": _end(sample.main_lot, spools), "other": sample.terminal}
    if sample.leader_lot is not None:
        ends["other"] = _end(sample.leader_lot, spools)
    tied = [f"{name.replace('_', ' ')} {value}" for name, value in sample.parameters.items()]
    return ShownSample(
        number=sample.number,
        join=_("%(join)s, doubled") % {"join": name} if sample.doubled else name,
        ends=_("%(main)s to %(other)s") % ends,
        specification="; ".join(filter(None, [", ".join(tied), sample.specification])),
        tied=str(WORDS.get(sample.tied, sample.tied)),
        ties=sample.ties,
        codes=sample.codes,
        level=sample.level,
    )


def _end(lot: RoundLot, spools: bool) -> str:
    if not spools:
        return lot.line.name
    return _("%(line)s (spool %(spool)s)") % {"line": lot.line.name, "spool": lot.spool}


Effect = Mapping[str, Any]


@dataclass(frozen=True)
class Sentences:
    """What is said of an effect of one kind: where it is not set apart, below and above."""

    alike: Promise
    low: Promise
    high: Promise


OF_A_RIG = Sentences(
    gettext_lazy("Your rig reads like the others': the round can't tell it from them."),
    gettext_lazy("Your rig reads %(by)s percent low."),
    gettext_lazy("Your rig reads %(by)s percent high."),
)
OF_HANDS = Sentences(
    gettext_lazy("Your tying is like the others': the round can't tell it from them."),
    gettext_lazy("Joins that you tie hold %(by)s percent less than the others'."),
    gettext_lazy("Joins that you tie hold %(by)s percent more than the others'."),
)


def effect_in_words(of: Sentences, effect: Effect | None, why: str) -> str:
    """How a participant's rig reads, or how they tie, beside the others: a sentence or two."""
    if effect is None:
        return why
    said = str(of.alike if not effect["clear"] else of.low if effect["percent"] < 0 else of.high)
    between = _("The difference lies between %(low)s and %(high)s percent.") % _ends(effect)
    by = decimal(abs(effect["percent"]), 1)
    return f"{said % {'by': by}} {between}"


def _ends(effect: Effect) -> dict[str, str]:
    """The 95 percent interval, each end with its sign."""
    return {end: decimal(effect[f"{end}_percent"], 1, "+") for end in ("low", "high")}


TESTS = {
    "cochran": gettext_lazy("Cochran's test"),
    "grubbs": gettext_lazy("Grubbs' test"),
    "double grubbs": gettext_lazy("Grubbs' test of two"),
}


def flag_in_words(flag: Mapping[str, Any], handles: Mapping[int, str]) -> str:
    """Which test sets which participant apart; no one is removed for it."""
    return _("%(test)s sets %(who)s apart (beyond its %(percent)s percent point).") % {
        "test": TESTS[flag["test"]],
        "who": ", ".join(handles[number] for number in flag["participants"]),
        "percent": flag["percent"],
    }


CHANGES = {
    "withdrawn": gettext_lazy("A session was withdrawn: its results are left out."),
    "corrected": gettext_lazy(
        "A session was corrected after the close: the correction counts, and is marked."
    ),
    "added": gettext_lazy("Results came to count that did not before."),
    "recalculated": gettext_lazy(
        "Readings became other loads: a rig's calibration or description was corrected."
    ),
    "pulled again": gettext_lazy("A spool was pulled again after the round."),
}


def change_in_words(change: Mapping[str, Any], handles: Mapping[int, str]) -> str:
    """One reason why there is a new version; the tester only where ``handles`` may be read."""
    who = handles.get(change.get("participant", 0), "")
    said = str(CHANGES[change["what"]])
    return f"{who}: {said}" if who else said


REMARKS = {
    "late": gettext_lazy("sent late"),
    "entered_late": gettext_lazy("entered late"),
    "not_blind": gettext_lazy("not blind"),
    "corrected": gettext_lazy("corrected after the close"),
    "withdrawn": gettext_lazy("withdrew results after the close"),
    "stopped": gettext_lazy("results could not be stored"),
}


def remarks_in_words(found: Mapping[str, Any]) -> str:
    """What is to be known of a participant's results."""
    return ", ".join(str(said) for name, said in REMARKS.items() if found.get(name))
