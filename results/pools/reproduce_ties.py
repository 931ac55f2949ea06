"""How the sets of a snapshot were tied and how their pulls ended, from the pulls themselves."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from results.models import Pull, PullSet
from results.normalising.scales import loads_N
from results.normalising.set_figures import Shares
from results.pools.descriptives import Tie
from results.statistics.failure_modes import counted, exact_for_join

TIED = (
    "parameters",
    "main_line__diameter_m",
    "leader_line__diameter_m",
    "join_diameter_m",
    "time_to_tie_s",
    "discarded_ties",
)
Pulled = Sequence[tuple[float | None, str]]
"""Reading in newtons and failure mode of each pull, in order."""


def ties_from_pulls(
    sets: Sequence[int],
    baselines: Sequence[int],
    parts: Sequence[Sequence[int]],
    scales: NDArray[np.float64],
    straight_N: Sequence[float],
) -> list[Tie]:
    """One a set, in their order.

    ``parts`` are the baselines behind each set, ``scales`` (k, 2) offset in newtons and gain of
    its calibration, ``straight_N`` the strength of its straight line.
    """
    rows = PullSet.objects.filter(pk__in=sets).values_list("pk", *TIED)
    tied = {pk: row for pk, *row in rows}
    pulls = _pulls("pull_set_id", sets)
    straight = _pulls("baseline_id", {pk for behind in parts for pk in behind})
    return [
        _tie(
            tied[pk],
            baselines[at],
            pulls[pk],
            [pull for each in parts[at] for pull in straight[each]],
            (float(scales[at, 0]), float(scales[at, 1])),
            straight_N[at],
        )
        for at, pk in enumerate(sets)
    ]


def _tie(
    tied: Sequence[Any],
    baseline: int,
    pulls: Pulled,
    straight: Pulled,
    scale: tuple[float, float],
    straight_N: float,
) -> Tie:
    parameters, main_m, leader_m, join_m, time_s, discarded = tied
    modes = [mode for _, mode in pulls]
    kept = [mode for mode, counts in zip(modes, counted(modes), strict=True) if counts]
    shares = _shares(pulls, scale, straight_N)
    return Tie(
        parameters=parameters,
        modes=Counter(modes),
        outlasted=int((~exact_for_join(kept)).sum()),
        places=shares.places,
        straight_places=_shares(straight, scale, straight_N).places,
        main_m=main_m,
        leader_m=leader_m,
        join_m=join_m,
        time_s=time_s,
        discarded=discarded,
        counted=len(kept),
        lowest=shares.lowest,
        baseline=baseline,
    )


def _shares(pulls: Pulled, scale: tuple[float, float], straight_N: float) -> Shares:
    """As `results.normalising.set_figures.shares_of`, of plain columns."""
    counted = [(reading, mode) for reading, mode in pulls if mode != Pull.FailureMode.VOID]
    readings_N = np.array([reading for reading, _ in counted], dtype=float)
    shares = (loads_N(readings_N, *scale) / straight_N).tolist()
    return Shares(shares, [mode for _, mode in counted])


def _pulls(parent: str, owners: Collection[int]) -> dict[int, list[tuple[float | None, str]]]:
    found: dict[int, list[tuple[float | None, str]]] = defaultdict(list)
    rows = Pull.objects.filter(**{f"{parent}__in": list(owners)}).order_by(parent, "pk")
    for owner, reading_N, mode in rows.values_list(parent, "reading_N", "failure_mode"):
        found[owner].append((reading_N, mode))
    return found
