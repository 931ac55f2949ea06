"""Figures against pulls: each current version once more, and the sets that count in it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from deploy.verifying.faults import Fault
from results.models import NormalisedSet, PoolVersion
from results.pools.reproduce import Cause, from_pulls, recomputed

BATCH = 1000
TOLERANCE = 1e-9
COLUMNS = ("mean_N", "cv", "baseline_mean_N", "baseline_cv")


def wrong_figures() -> Iterator[Fault]:
    """Pools whose figures don't follow from their pulls; those due to be computed are left out."""
    current = (
        PoolVersion.objects.defer("forest_light", "forest_dark")
        .filter(pk__in=_current_ids())
        .exclude(snapshot="")
        .order_by("pk")
    )
    for version in current.iterator(1):
        where = f"pool {version.pool_id}, version {version.number}"
        for each in recomputed(version).differences:
            if each.cause == Cause.DATA:
                yield Fault(where, f"{each.figure} does not follow from its pulls")
        yield from _wrong_sets(version)


def _current_ids() -> list[int]:
    fresh = PoolVersion.objects.filter(pool__stale_marks=None, pool__current__isnull=False)
    return [pk for pk, now in fresh.values_list("pk", "pool__current_id").iterator() if pk == now]


def _wrong_sets(version: PoolVersion) -> Iterator[Fault]:
    members, _ = from_pulls(version.inputs)
    ids = members.pull_set.tolist()
    again = {name: getattr(members, name).tolist() for name in COLUMNS}
    for start in range(0, len(ids), BATCH):
        stored = {
            pk: figures
            for pk, *figures in NormalisedSet.objects.filter(
                pk__in=ids[start : start + BATCH]
            ).values_list("pk", *COLUMNS)
        }
        for at, pk in enumerate(ids[start : start + BATCH], start=start):
            for name, figure in zip(COLUMNS, stored.get(pk, ()), strict=False):
                if not math.isclose(figure, again[name][at], rel_tol=TOLERANCE, abs_tol=1e-12):
                    yield Fault(f"pull set {pk}", f"{name} does not follow from its pulls")
