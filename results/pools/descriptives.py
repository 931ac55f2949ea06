"""A pool's findings: worst pulls, failure modes, scatter of pulls, meta-regression.

Worked out with each new version, so that no page has to.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import F, QuerySet, TextField
from django.db.models.functions import Cast

from results.models import NormalisedSet
from results.models.lifecycle import COUNTING
from results.normalising.scales import Scale, first_resolutions
from results.normalising.set_figures import shares_of
from results.normalising.traced_errors import COLUMNS as OF_TRACES
from results.normalising.traced_errors import shown_by_traces, traced_columns, traced_errors
from results.pools.circumstances import Circumstances
from results.pools.club_rounds import club_rounds
from results.pools.covariates import meta_regression
from results.pools.estimate import Outcome
from results.pools.line_products import line_products
from results.pools.pool_data import Members
from results.pools.sensitivity import sensitivity
from results.pools.two_estimands import by_one_model
from results.statistics.failure_modes import EXACT
from results.statistics.pull_classes import Places, distribution

LEADER_OVER_MAIN, MAIN_MM = OF_EVERY_SET = ("leader over main diameter", "main diameter, mm")
"""Covariates computed from the lines; no parameter of a connection has these names."""

LEAST_FOR_WORST = 10
"""'Worst of ten' is said only where ten were pulled."""

KEPT = (
    *("pull_places", "straight_places", "lowest_share", "resolution_N"), *OF_TRACES, "placed_at",
)  # fmt: skip
"""Columns of a normalised set that are recomputed if older code wrote it last."""
AT_ONCE = 500
NO_MODEL: Mapping[str, Any] = {"one_stage": None, "own_strengths": None}

AS_JSON = (
    "pull_set__parameters",
    "failure_modes",
    "join_itself__outlasted",
    "pull_places",
    "straight_places",
)
PLAIN = (
    "pull_set__main_line__diameter_m",
    "pull_set__leader_line__diameter_m",
    "pull_set__join_diameter_m",
    "pull_set__time_to_tie_s",
    "pull_set__discarded_ties",
    "counted",
    "lowest_share",
    "baseline",
)


@dataclass(frozen=True)
class Tie:
    """How one set was tied and how its pulls ended, with its straight-line pulls."""

    parameters: Mapping[str, Any]
    modes: Mapping[str, int]
    outlasted: int | None
    places: Places | None
    straight_places: Places | None
    main_m: float | None
    leader_m: float | None
    join_m: float | None
    time_s: float | None
    discarded: int
    counted: int
    lowest: float | None
    baseline: int

    @property
    def bulk(self) -> float | None:
        """Diameter of the join over that of the thicker line; None if one isn't recorded."""
        lines = [self.main_m, self.leader_m] if self.leader_m else [self.main_m]
        if self.join_m is None or None in lines:
            return None
        return self.join_m / max(each for each in lines if each)

    @property
    def covariates(self) -> dict[str, float]:
        """Covariates of the efficiency, as numbers; yes is 1 and no is 0."""
        covariates = {
            name.replace("_", " "): float(value)
            for name, value in self.parameters.items()
            if isinstance(value, bool | int | float)
        }
        if self.main_m and self.leader_m:
            covariates[LEADER_OVER_MAIN] = self.leader_m / self.main_m
        if self.main_m:
            covariates[MAIN_MM] = 1000 * self.main_m
        return covariates


def describe(
    members: Members,
    outcome: Outcome,
    ties: Sequence[Tie],
    circumstances: Circumstances | None,
) -> dict[str, Any]:
    """Columns of a version that stand beside its figure, from its ties and its members' pulls."""
    times = [tie.time_s for tie in ties if tie.time_s]
    bulks = [tie.bulk for tie in ties if tie.bulk]
    return {
        "time_to_tie_s": float(np.median(times)) if times else None,
        "bulk": float(np.median(bulks)) if bulks else None,
        "findings": {
            "endings": _endings(ties),
            "told": {"time_to_tie": len(times), "bulk": len(bulks)},
            **_pulls(ties),
            **(by_one_model(members) if outcome.pooled else NO_MODEL),
            "line_products": line_products(members, outcome),
            "club_rounds": club_rounds(members, outcome),
            **sensitivity(members, outcome, circumstances),
            "moderators": meta_regression(
                members, outcome, [tie.covariates for tie in ties], circumstances
            ),
        },
    }


def renew_kept(pool_id: int) -> None:
    """Recompute what a set keeps, if code without these columns wrote it last.

    Before the members of the pool are read.
    """
    counting = NormalisedSet.objects.filter(pool=pool_id, pull_set__state__in=COUNTING)
    ids = list(counting.exclude(placed_at=F("computed_at")).values_list("pk", flat=True))
    for start in range(0, len(ids), AT_ONCE):
        _place(NormalisedSet.objects.filter(pk__in=ids[start : start + AT_ONCE]))


def ties_of(pool_id: int, members: Members) -> list[Tie]:
    """One a set, in the order of the members, from what normalising keeps of each."""
    ties = _ties_by_set(NormalisedSet.objects.filter(pool=pool_id))
    return [ties[pull_set] for pull_set in members.pull_set.tolist()]


def _ties_by_set(sets: QuerySet[NormalisedSet]) -> dict[int, Tie]:
    """By pull set. JSON is read a column at once: value by value takes several times as long."""
    as_text = [Cast(name, TextField()) for name in AS_JSON]
    rows = sets.values_list("pull_set_id", *as_text, *PLAIN)
    pull_sets, *columns = list(zip(*rows, strict=True)) or [()] * (1 + len(AS_JSON) + len(PLAIN))
    for place in range(len(AS_JSON)):
        columns[place] = json.loads(f"[{','.join(text or 'null' for text in columns[place])}]")
    return {pk: Tie(*values) for pk, *values in zip(pull_sets, *columns, strict=True)}


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


def _pulls(ties: Sequence[Tie]) -> dict[str, Any]:
    """Single pulls of the sets, straight ones behind them with each baseline once, and the worst.

    Added up from what is kept with each set, so that no pull of an older set is read again.
    """
    joined = [tie.places or {} for tie in ties]
    straight = {tie.baseline: tie.straight_places or {} for tie in ties}
    lowest = [tie.lowest for tie in ties if tie.lowest is not None]
    exact = sum(len(places.get(mode, ())) for places in joined for mode in EXACT)
    return {
        "pulls": distribution(joined),
        "straight": distribution(straight.values()),
        "worst": (
            {"efficiency": min(lowest), "pulls": exact} if exact >= LEAST_FOR_WORST else None
        ),
    }


def _place(unplaced: QuerySet[NormalisedSet]) -> None:
    """Keep the classes of sets that were last written by code that does not keep them."""
    behind = ("pull_set__pulls", "baseline__session__baselines__pulls")
    rows = ("calibration", "baseline", "pull_set__session__revision")
    sets = list(unplaced.select_related(*rows).prefetch_related(*behind))
    first_N = first_resolutions(found.pull_set.session.revision_id for found in sets)
    lines = {each.pk for found in sets for each in found.baseline.session.baselines.all()}
    of_sets = shown_by_traces("pull_set", [found.pk for found in sets])
    of_lines = shown_by_traces("baseline", lines)
    for found in sets:
        revision = found.pull_set.session.revision
        corrected = revision.resolution_N != first_N[revision.pk]
        found.resolution_N = revision.resolution_N if corrected else None
        scale, lent = Scale(found.calibration, resolution_N=0.0), found.baseline
        parts = [
            each
            for each in lent.session.baselines.all()
            if (each.line_id, each.spool) == (lent.line_id, lent.spool)
        ]
        straight = [pull for each in parts for pull in each.pulls.all()]
        shares = shares_of(scale, list(found.pull_set.pulls.all()), found.baseline_mean_N)
        found.pull_places, found.lowest_share = shares.places, shares.lowest
        found.straight_places = shares_of(scale, straight, found.baseline_mean_N).places
        traced = traced_errors(
            of_sets.get(found.pk, []),
            [shown for each in parts for shown in of_lines.get(each.pk, [])],
            (found.counted, found.baseline_counted),
            *scale.line,
        )
        columns = traced_columns(traced, found.mean_N, found.baseline_mean_N)
        found.zero_of_pulls_log, found.missed_peak_log = (columns[name] for name in OF_TRACES)
        found.placed_at = found.computed_at
    NormalisedSet.objects.bulk_update(sets, KEPT)
