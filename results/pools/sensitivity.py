"""How far a pool's figure hangs on testers who share something, on outliers and on time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from results.pools.circumstances import Circumstances
from results.pools.estimate import CLUB_ROUND, LINE_PRODUCT, Outcome, efficiency_of
from results.pools.pool_data import Ids, Members
from results.statistics.errors import StatisticsError
from results.statistics.group_influence import without_groups
from results.statistics.heavy_tails import mean_by_heavy_tails
from results.statistics.meta_regression import fit_meta_regression
from results.statistics.pool_fit import LEAST_TESTERS, PoolFit
from results.statistics.pooling import Pooled
from results.statistics.robust import median_interval
from results.statistics.tester_means import means_by_tester

MOST_GROUPS = 10
"""Groups that are shown, those that move the figure most; and of each kind the largest are tried,
so that the cost stays in proportion to the sets."""
TRIED = 20
YEAR = "year"
LEAST_YEARS = 0.1
"""Sets that lie closer together say nothing of a year."""


@dataclass(frozen=True)
class Group:
    """Sets of several testers who share something, and the kinds of what they share."""

    kinds: tuple[str, ...]
    rows: NDArray[np.bool_]


def sensitivity(
    members: Members, outcome: Outcome, circumstances: Circumstances | None
) -> dict[str, Any]:
    """Four findings; each empty or None where nothing is pooled or it can't be computed."""
    nothing: dict[str, Any] = {
        "groups_left_out": [],
        "median_of_testers": None,
        "heavy_tails": None,
        "trend": None,
    }
    if outcome.pooled is None or outcome.fit is None or outcome.ratios is None:
        return nothing
    return nothing | {
        "groups_left_out": _without_groups(members, outcome, circumstances),
        "median_of_testers": _median(members, outcome),
        "heavy_tails": _heavy_tails(outcome.fit, outcome.pooled),
        "trend": _trend(members, outcome, circumstances),
    }


def _without_groups(
    members: Members, outcome: Outcome, circumstances: Circumstances | None
) -> list[dict[str, Any]]:
    """The pool without each group of at least two testers, those that move it most first."""
    groups = _groups(members, circumstances)
    if outcome.fit is None or not groups:
        return []
    left = without_groups(outcome.fit, np.stack([group.rows for group in groups]))[0]
    whole = outcome.fit.centre + float(outcome.fit.best.likelihood.beta[0])
    found: list[dict[str, Any]] = [
        {
            "share": list(group.kinds),
            "testers": sorted(set(members.tester[group.rows].tolist())),
            "sets": int(group.rows.sum()),
            "efficiency": efficiency_of(float(mu)),
            "change": math.expm1(float(mu) - whole),
        }
        for group, mu in zip(groups, left, strict=True)
        if math.isfinite(mu)
    ]
    found.sort(key=lambda each: (-abs(each["change"]), each["share"], each["testers"]))
    return found[:MOST_GROUPS]


def _groups(members: Members, circumstances: Circumstances | None) -> list[Group]:
    """What several testers share, without which three testers are left."""
    kinds: dict[bytes, Group] = {}
    for kind, code in _codes(members, circumstances).items():
        codes, sizes = np.unique(code[code >= 0], return_counts=True)
        for one in codes[np.argsort(-sizes, kind="stable")[:TRIED]].tolist():
            rows = code == one
            within, left = (np.unique(members.tester[some]).size for some in (rows, ~rows))
            if within >= 2 and left >= LEAST_TESTERS:
                before = kinds.get(rows.tobytes())
                kinds[rows.tobytes()] = Group((*(before.kinds if before else ()), kind), rows)
    return [*kinds.values()]


def _codes(members: Members, circumstances: Circumstances | None) -> dict[str, Ids]:
    found = {LINE_PRODUCT: members.line_product, CLUB_ROUND: members.level_of_round}
    if circumstances is not None:
        club, day = np.array(circumstances.club), np.array(circumstances.day)
        pairs = np.unique(np.stack((club, day)), axis=1, return_inverse=True)[1].ravel()
        found |= {
            "club": club,
            "club_day": np.where(club >= 0, pairs, -1),
            "rig_name": np.array(circumstances.rig),
            "spool": np.array(circumstances.spool),
        }
    return found


def _median(members: Members, outcome: Outcome) -> dict[str, Any] | None:
    """The median of the testers' own means; no ends below six testers."""
    ratios, pooled, tyers = outcome.ratios, outcome.pooled, members.tyers
    if ratios is None or pooled is None:
        return None
    try:
        means = means_by_tester(
            ratios.y,
            ratios.own_variance,
            ratios.shared_variance,
            tyers.tyer,
            tyers.session,
            tyers.baseline,
            tau2_session=pooled.tau2_session,
            tau2_set=pooled.tau2_set,
            zero=members.errors,
            scale=tyers.scale,
        )
        median, low, high = median_interval(means.mean, 0.95)
    except StatisticsError:
        return None
    ends = (efficiency_of(end) if math.isfinite(end) else None for end in (low, high))
    return {
        "testers": int(means.mean.size),
        "efficiency": efficiency_of(median),
        **dict(zip(("interval_low", "interval_high"), ends, strict=True)),
    }


def _heavy_tails(fit: PoolFit, pooled: Pooled) -> dict[str, Any] | None:
    """The mean by testers' effects from t, and whether it is more than half an interval away.

    The narrower of the two intervals: a tester who stands apart widens the other.
    """
    try:
        found = mean_by_heavy_tails(fit)
    except StatisticsError:
        return None
    widths = found.high - found.low, pooled.ci_high - pooled.ci_low
    return {
        "efficiency": efficiency_of(found.mu),
        "interval_low": efficiency_of(found.low),
        "interval_high": efficiency_of(found.high),
        "differs": abs(found.mu - pooled.mu) > min(filter(math.isfinite, widths)) / 2,
        "apart": found.apart[found.apart > 0].tolist(),
    }


def _trend(
    members: Members, outcome: Outcome, circumstances: Circumstances | None
) -> dict[str, Any] | None:
    """Change of the efficiency in a year, as a ratio less one."""
    ratios, tyers = outcome.ratios, members.tyers
    if circumstances is None or ratios is None:
        return None
    years = circumstances.years
    if max(years) - min(years) < LEAST_YEARS:
        return None
    try:
        found = fit_meta_regression(
            ratios.y,
            ratios.own_variance,
            ratios.shared_variance,
            tyers.tyer,
            tyers.session,
            tyers.baseline,
            {YEAR: years},
            zero=members.errors,
            scale=tyers.scale,
        )
    except StatisticsError:
        return None
    if not found.covariates:
        return None
    (slope,) = found.covariates
    change, low, high = (
        efficiency_of(end) for end in (slope.coefficient, slope.ci_low, slope.ci_high)
    )
    if change is None or low is None or high is None:
        return None
    return {
        "change_per_year": change - 1,
        "interval_low": low - 1,
        "interval_high": high - 1,
        "p": slope.p,
        "degrees_of_freedom": slope.df,
        "years": max(years) - min(years),
    }
