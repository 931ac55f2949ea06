"""Rounds in words: their samples, and what a report says of one participant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

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


def rig_in_words(effect: Effect | None, why: str) -> str:
    """How a participant's rig reads beside the round's, in a sentence or two."""
    if effect is None:
        return why
    ends = _ends(effect)
    by = decimal(abs(effect["percent"]), 1)
    if not effect["clear"]:
        return (
            _(
                "Your rig reads like the others': the round can't tell it from them. Its difference"
                " lies between %(low)s and %(high)s percent."
            )
            % ends
        )
    if effect["percent"] < 0:
        said = _("Your rig reads %(by)s percent low.") % {"by": by}
    else:
        said = _("Your rig reads %(by)s percent high.") % {"by": by}
    between = _("The difference lies between %(low)s and %(high)s percent.") % ends
    return f"{said} {between}"


def hand_in_words(effect: Effect | None, why: str) -> str:
    """How a participant ties beside the others, the rig apart."""
    if effect is None:
        return why
    ends = _ends(effect)
    by = decimal(abs(effect["percent"]), 1)
    if not effect["clear"]:
        return (
            _(
                "Your tying is like the others': the round can't tell it from them. Its difference"
                " lies between %(low)s and %(high)s percent."
            )
            % ends
        )
    if effect["percent"] < 0:
        said = _("Joins that you tie hold %(by)s percent less than the others'.") % {"by": by}
    else:
        said = _("Joins that you tie hold %(by)s percent more than the others'.") % {"by": by}
    between = _("The difference lies between %(low)s and %(high)s percent.") % ends
    return f"{said} {between}"


def _ends(effect: Effect) -> dict[str, str]:
    """The 95 percent interval, each end with its sign."""
    return {end: decimal(effect[f"{end}_percent"], 1, "+") for end in ("low", "high")}


TESTS = {
    "cochran": gettext_lazy("Cochran's test"),
    "grubbs": gettext_lazy("Grubbs' test"),
    "double grubbs": gettext_lazy("Grubbs' test of two"),
}


def flag_in_words(flag: Mapping[str, Any]) -> str:
    """Which test sets which participant apart; no one is removed for it."""
    return _("%(test)s sets participant %(who)s apart (beyond its %(percent)s percent point).") % {
        "test": TESTS[flag["test"]],
        "who": ", ".join(str(number) for number in flag["participants"]),
        "percent": flag["percent"],
    }
