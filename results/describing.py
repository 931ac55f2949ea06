"""What a pool says beside its figures: worst pulls, endings, scatter of pulls, what ties differ in.

Worked out with each new version, so that no page has to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from django.db.models import Count, F, FloatField, Min, QuerySet
from django.db.models.expressions import Combinable
from django.db.models.functions import Cast, Coalesce, Floor, Greatest, Least

from results.members import Members
from results.models import NormalisedSet, Pull
from results.outcomes import Outcome
from results.states import COUNTING
from results.statistics.errors import Collinear, StatisticsError
from results.statistics.moderators import SETS_A_MODERATOR, Moderated, moderate

BIN = 0.025
"""Width of a class of single pulls, as a share of the mean straight line."""
WIDEST = 2.0
LEAST_FOR_WORST = 10
"""'Worst of ten' is said only where ten were pulled."""
EXACT = ("join", "slip", "line", "terminal")


@dataclass(frozen=True)
class Tie:
    """How one set was tied and how its pulls ended."""

    parameters: Mapping[str, Any]
    main_m: float | None
    leader_m: float | None
    join_m: float | None
    time_s: float | None
    discarded: int
    modes: Mapping[str, int]
    counted: int
    outlasted: int | None

    @property
    def bulk(self) -> float | None:
        """Diameter of the join over that of the thicker line; None where one isn't told."""
        lines = [self.main_m, self.leader_m] if self.leader_m else [self.main_m]
        if self.join_m is None or None in lines:
            return None
        return self.join_m / max(each for each in lines if each)

    @property
    def properties(self) -> dict[str, float]:
        """What may moderate the efficiency, as numbers; yes is 1 and no is 0."""
        told = {
            name.replace("_", " "): float(value)
            for name, value in self.parameters.items()
            if isinstance(value, bool | int | float)
        }
        if self.main_m and self.leader_m:
            told["leader over main diameter"] = self.leader_m / self.main_m
        if self.main_m:
            told["main diameter, mm"] = 1000 * self.main_m
        return told


def describe(pool_id: int, members: Members, outcome: Outcome) -> dict[str, Any]:
    """Columns of a version that stand beside its figure."""
    ties = _ties(pool_id, members)
    sets = NormalisedSet.objects.filter(pool=pool_id, pull_set__state__in=COUNTING)
    times = [tie.time_s for tie in ties if tie.time_s]
    bulks = [tie.bulk for tie in ties if tie.bulk]
    return {
        "time_to_tie_s": float(np.median(times)) if times else None,
        "bulk": float(np.median(bulks)) if bulks else None,
        "findings": {
            "endings": _endings(ties),
            "told": {"time_to_tie": len(times), "bulk": len(bulks)},
            "pulls": _distribution(_joined(sets)),
            "straight": _distribution(_straight(sets)),
            "worst": _worst(sets),
            "moderators": _moderators(members, outcome, ties),
        },
    }


def _ties(pool_id: int, members: Members) -> list[Tie]:
    """One a set, in the order of the members."""
    rows = NormalisedSet.objects.filter(pool=pool_id).values_list(
        "pull_set_id",
        "pull_set__parameters",
        "pull_set__main_line__diameter_m",
        "pull_set__leader_line__diameter_m",
        "pull_set__join_diameter_m",
        "pull_set__time_to_tie_s",
        "pull_set__discarded_ties",
        "failure_modes",
        "counted",
        "join_itself__outlasted",
    )
    of_set = {row[0]: Tie(*row[1:]) for row in rows}
    return [of_set[pull_set] for pull_set in members.pull_set.tolist()]


def _endings(ties: Sequence[Tie]) -> dict[str, Any]:
    modes: Counter[str] = Counter()
    for tie in ties:
        modes.update(tie.modes)
    return {
        "modes": dict(modes),
        "outlasted": sum(tie.outlasted or 0 for tie in ties),
        "counted": sum(tie.counted for tie in ties),
        "discarded": sum(tie.discarded for tie in ties),
    }


def _joined(sets: QuerySet[NormalisedSet]) -> QuerySet[Pull]:
    """Pulls of the sets, each with its load over the mean of its own straight line."""
    return Pull.objects.filter(pull_set__normalised__in=sets).annotate(
        ratio=_load("pull_set__normalised") / F("pull_set__normalised__baseline_mean_N")
    )


def _straight(sets: QuerySet[NormalisedSet]) -> QuerySet[Pull]:
    """Straight-line pulls behind the sets, each baseline once."""
    once = sets.order_by().values("baseline").annotate(first=Min("pull_set")).values("first")
    return Pull.objects.filter(baseline__normalised_sets__in=once).annotate(
        ratio=_load("baseline__normalised_sets") / F("baseline__normalised_sets__baseline_mean_N")
    )


def _load(normalised: str) -> Combinable:
    """The load behind a reading in newtons, by the calibration that normalised its set."""
    calibration = f"{normalised}__calibration"
    offset = Coalesce(F(f"{calibration}__offset_N"), 0.0)
    gain = Coalesce(F(f"{calibration}__gain"), 1.0)
    return Cast((F("reading_N") - offset) / gain, FloatField())


def _distribution(pulls: QuerySet[Pull]) -> list[tuple[float, str, int]]:
    """Lower edge of a class, failure mode, number of pulls; counted where they are stored."""
    inside = Least(Greatest(F("ratio"), 0.0), WIDEST)
    rows = (
        pulls.exclude(failure_mode=Pull.FailureMode.VOID)
        .order_by()
        .annotate(grade=Floor(inside / BIN))
        .values("grade", "failure_mode")
        .annotate(number=Count("pk"))
        .values_list("grade", "failure_mode", "number")
    )
    return sorted((round(grade * BIN, 3), mode, number) for grade, mode, number in rows)


def _worst(sets: QuerySet[NormalisedSet]) -> dict[str, Any] | None:
    """The lowest pull that is a strength, and of how many; None where fewer than ten are."""
    exact = _joined(sets).filter(failure_mode__in=EXACT)
    told = exact.aggregate(lowest=Min("ratio"), number=Count("pk"))
    if told["number"] < LEAST_FOR_WORST:
        return None
    return {"efficiency": told["lowest"], "pulls": told["number"]}


def _moderators(members: Members, outcome: Outcome, ties: Sequence[Tie]) -> dict[str, Any]:
    """All properties that can be tried, fitted at once, and why the others were left out."""
    if outcome.pooled is None or outcome.ratios is None:
        return {"tried": [], "left_out": {}}
    tried, left_out = _candidates([tie.properties for tie in ties])
    ratios = outcome.ratios
    while tried:
        try:
            found = moderate(
                ratios.y,
                ratios.own_variance,
                ratios.shared_variance,
                members.tester,
                members.session,
                members.baseline,
                tried,
            )
        except Collinear as error:
            left_out[tried.popitem()[0]] = str(error)
        except StatisticsError as error:
            return {"tried": [], "left_out": left_out | dict.fromkeys(tried, str(error))}
        else:
            return {"tried": _told(found), "left_out": left_out}
    return {"tried": [], "left_out": left_out}


def _candidates(
    of_sets: Sequence[Mapping[str, float]],
) -> tuple[dict[str, list[float]], dict[str, str]]:
    """Properties told of every set that differ between sets, as many as the sets carry."""
    told = Counter(name for properties in of_sets for name in properties)
    tried: dict[str, list[float]] = {}
    left_out = {}
    for name in sorted(told, key=lambda name: (-told[name], name)):
        values = [properties[name] for properties in of_sets if name in properties]
        if told[name] < len(of_sets):
            left_out[name] = f"told of {told[name]} of {len(of_sets)} sets"
        elif len(set(values)) == 1:
            left_out[name] = "the same in all sets"
        elif (len(tried) + 1) * SETS_A_MODERATOR > len(of_sets):
            left_out[name] = f"{len(of_sets)} sets carry {len(of_sets) // SETS_A_MODERATOR}"
        else:
            tried[name] = values
    return tried, left_out


def _told(found: Moderated) -> list[dict[str, Any]]:
    return [asdict(each) | {"mean": found.centre[each.name]} for each in found.moderators]
