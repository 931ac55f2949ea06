"""Joins of a line pair compared within testers who tied several on the same rig and day."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import transaction
from numpy.typing import NDArray

from results.http_cache.cache_marks import next_edition
from results.models import DirectComparison, Edition, Pool, PoolVersion, StalePool
from results.pools.estimate import scores_from
from results.pools.pool_data import Members, log_ratios, members_of_each, within
from results.pools.selectors import line_pair_of, rivals
from results.statistics.contrasts import Contrasts, within_baseline_contrasts
from results.statistics.errors import StatisticsError, TooFewTesters
from results.statistics.joint_means import correlation_of_means
from results.statistics.network import LEAST_TESTERS, Difference, Network, network

Floats = NDArray[np.float64]
Ids = NDArray[np.int64]


@dataclass(frozen=True)
class _Arms:
    """Sets of all pools of a line pair as columns, (k,); ``pool`` names the join.

    ``tyer`` is who tied a set, a tester by their id or another by a number below zero.
    """

    y: Floats
    own_variance: Floats
    pool: NDArray[np.str_]
    tester: Ids
    tyer: Ids
    baseline: Ids


def comparison_is_due(pool_id: int) -> bool:
    """Whether one of the pools of this one's line pair has a version that was not compared yet.

    While one of them is stale nothing is due: refreshing the last stale one compares them all.
    """
    pool = Pool.objects.get(pk=pool_id)
    versions = _versions(pool)
    known = DirectComparison.objects.filter(**line_pair_of(pool)).values("versions").first()
    if known is not None and known["versions"] == sorted(versions.values()):
        return False
    return not StalePool.objects.filter(pool__in=versions).exists()


def compare_joins(pool_id: int) -> None:
    """Compare the joins of a pool's line pair again, and store the comparison.

    The versions are read before the sets, so that a change in between makes it due again.
    """
    pool = Pool.objects.get(pk=pool_id)
    versions = _versions(pool)
    comparison = {"versions": sorted(versions.values()), "figures": {}, "why_not": ""}
    comparison |= _compared(versions)
    with transaction.atomic():
        DirectComparison.objects.update_or_create(**line_pair_of(pool), defaults=comparison)
        # What is concluded of joins shows in the list of pools and in what is wanted.
        next_edition(Edition.Subject.POOLS)


def _versions(pool: Pool) -> dict[int, int]:
    """The current version of each pool of the same line pair, by the pool's id."""
    current = rivals(pool).order_by("pk").values_list("pk", "current_id")
    return {pk: version for pk, version in current if version is not None}


def _compared(versions: dict[int, int]) -> dict[str, Any]:
    of_each = members_of_each(versions)
    correlation, arms = _correlation(of_each), _arms(of_each)
    if arms is None:
        return {"why_not": "no join of this line pair has sets whose scatter can be told"}
    try:
        contrasts = within_baseline_contrasts(
            arms.y, arms.own_variance, arms.pool, arms.tyer, within(arms.tyer, arms.baseline)
        )
        testers = _accounts(arms, contrasts)
        found = network(contrasts, _best_known(contrasts))
    except StatisticsError as error:
        return {"why_not": str(error), "figures": correlation}
    return {"figures": _figures(versions, contrasts, found, testers) | correlation}


def _accounts(arms: _Arms, contrasts: Contrasts) -> int:
    """How many testers pulled what is compared. Raises TooFewTesters.

    One tester with two others who tie is no comparison of three.
    """
    pulled = np.isin(arms.tyer, contrasts.tester)
    testers = np.unique(arms.tester[pulled]).size
    if testers < LEAST_TESTERS:
        raise TooFewTesters(f"a comparison needs {LEAST_TESTERS} testers; there are {testers}")
    return testers


def _correlation(of_each: Mapping[int, Members]) -> dict[str, Any]:
    """How the pooled figures vary together, since testers tied several of the joins."""
    scores = {pool_id: scores_from(members) for pool_id, members in of_each.items()}
    known = {pool_id: found for pool_id, found in scores.items() if found is not None}
    if len(known) < 2:
        return {}
    matrix = correlation_of_means(list(known.values()))
    return {"correlation": {"pools": list(known), "of_means": matrix.tolist()}}


def _arms(of_each: Mapping[int, Members]) -> _Arms | None:
    """Log ratios of each pool's sets at that pool's own scatter; None if there are none."""
    columns = []
    for pool_id, members in of_each.items():
        try:
            ratios = log_ratios(members)
        except StatisticsError:
            continue
        name = np.full(len(members), str(pool_id))
        tyer = members.tyers.tyer
        columns.append(
            (ratios.y, ratios.own_variance, name, members.tester, tyer, members.baseline)
        )
    if not columns:
        return None
    return _Arms(*(np.concatenate(column) for column in zip(*columns, strict=True)))


def _best_known(contrasts: Contrasts) -> str:
    """The join that was compared most often is the reference."""
    named = Counter([*contrasts.treatment.tolist(), *contrasts.base.tolist()])
    return str(min(named, key=lambda name: (-named[name], name)))


def _figures(
    versions: dict[int, int], contrasts: Contrasts, found: Network, testers: int
) -> dict[str, Any]:
    pooled = _pooled(versions)
    inconsistent = {
        (each.first, each.second): {"gap": each.difference, "se": each.se, "p": each.p}
        for each in found.inconsistencies
    }
    together = _joins_by_baseline(contrasts)
    return {
        "contrasts": int(contrasts.y.size),
        "baselines": int(np.unique(contrasts.baseline).size),
        "testers": testers,
        "tau2": found.tau2,
        "differences": [
            {
                "first": int(each.first),
                "second": int(each.second),
                "difference": each.difference,
                "ci_low": each.ci_low,
                "ci_high": each.ci_high,
                "df": each.df,
                "p": each.p,
                "p_holm": each.p_holm,
                "together": sum({each.first, each.second} <= joins for joins in together),
                "of_pools": _of_pools(each, pooled),
                "inconsistency": inconsistent.get((each.first, each.second)),
            }
            for each in found.differences
        ],
    }


def _joins_by_baseline(contrasts: Contrasts) -> list[set[str]]:
    """The joins pulled on each baseline."""
    joins_of: dict[int, set[str]] = defaultdict(set)
    columns = (contrasts.treatment.tolist(), contrasts.base.tolist(), contrasts.baseline.tolist())
    for treatment, base, baseline in zip(*columns, strict=True):
        joins_of[baseline].update((treatment, base))
    return list(joins_of.values())


def _pooled(versions: dict[int, int]) -> dict[str, tuple[float | None, float | None]]:
    """The pooled log efficiency of each join and its standard error, CR2; nothing where none is."""
    means = PoolVersion.objects.filter(pk__in=versions.values()).values_list(
        "pool_id", "figures__mu", "figures__se_robust"
    )
    return {str(pool_id): (mu, se) for pool_id, mu, se in means}


def _of_pools(
    pair: Difference, pooled: Mapping[str, tuple[float | None, float | None]]
) -> dict[str, float] | None:
    """The difference of the two pooled efficiencies and its standard error, CR2, by itself."""
    (first, first_se), (second, second_se) = pooled[pair.first], pooled[pair.second]
    if first is None or first_se is None or second is None or second_se is None:
        return None
    return {"difference": first - second, "se": math.hypot(first_se, second_se)}
