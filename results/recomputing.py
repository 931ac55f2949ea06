"""Recomputing: the figures of a snapshot once more, from the pulls themselves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from results.members import Members, as_members
from results.models import Baseline, PoolVersion, Pull, PullSet, Release
from results.outcomes import pooled_from
from results.pooling import columns_of
from results.scales import Scale
from results.snapshots import snapshot_id
from results.statistics.censored import Strength, strength
from results.statistics.failure_modes import counted, exact_for_assembly, exact_for_line
from rigs.models import Calibration

ExactFor: TypeAlias = Callable[[Iterable[str]], NDArray[np.bool_]]
BATCH = 500
"""Sets whose pulls are in memory at once."""


class UnknownSnapshot(Exception):
    """Nothing that is stored has this id."""


@dataclass(frozen=True)
class Difference:
    """A figure that did not come out as it was stored."""

    figure: str
    stored: Any
    recomputed: Any


@dataclass(frozen=True)
class Recomputed:
    """A version of a pool, computed again; equal to the digit where there is no difference."""

    version: PoolVersion
    differences: tuple[Difference, ...]


def recompute(snapshot: str) -> Iterator[Recomputed]:
    """Compute what a snapshot names again, one pool after another.

    ``snapshot`` is the id of a pool version, or that of an open data release, which stands for
    every pool version in it. Nothing that was worked out is read, only pulls, calibrations and
    which belonged together. Later corrections and withdrawals make no difference, since the rows
    they concern are kept. What a version says beside its figures isn't computed again. Raises
    UnknownSnapshot.
    """
    for version in _named(snapshot):
        yield Recomputed(version, tuple(_differences(version)))


def _named(snapshot: str) -> Iterable[PoolVersion]:
    versions = PoolVersion.objects.defer("forest_light", "forest_dark", "findings")
    release = Release.objects.filter(snapshot=snapshot).only("pool_versions").first()
    if snapshot and release is not None:
        return versions.filter(pk__in=release.pool_versions).order_by("pk").iterator(BATCH)
    found = list(versions.filter(snapshot=snapshot).order_by("pk")) if snapshot else []
    if not found:
        raise UnknownSnapshot(
            f"No pooled figure and no open data has the snapshot {snapshot!r}; expected the 64 "
            "digits told beside a pooled figure or a release."
        )
    return found


def _differences(version: PoolVersion) -> Iterator[Difference]:
    members = members_from_pulls(version.inputs)
    again = columns_of(pooled_from(members)) | {
        "sets": len(members),
        "pulls": int(members.pulls.sum()),
        "snapshot": snapshot_id(version.pool_id, version.inputs, members),
    }
    stored = {name: getattr(version, name) for name in again}
    yield from _unlike("", stored, again)


def _unlike(name: str, stored: Any, again: Any) -> Iterator[Difference]:
    """Each figure in which two trees of figures differ, by its path."""
    if isinstance(stored, dict) and isinstance(again, dict):
        for key in sorted(stored.keys() | again.keys()):
            path = f"{name}.{key}" if name else key
            yield from _unlike(path, stored.get(key), again.get(key))
    elif isinstance(stored, list) and isinstance(again, list) and len(stored) == len(again):
        for number, pair in enumerate(zip(stored, again, strict=True)):
            yield from _unlike(f"{name}[{number}]", *pair)
    elif stored != again:
        yield Difference(name, stored, again)


def members_from_pulls(inputs: Mapping[str, Any]) -> Members:
    """The sets of a snapshot, each worked out anew from its pulls and those of its baseline."""
    named = list(zip(inputs["pull_sets"], inputs["baselines"], inputs["calibrations"], strict=True))
    rows: list[tuple[Any, ...]] = []
    for start in range(0, len(named), BATCH):
        rows += _rows(named[start : start + BATCH])
    return as_members(rows)


def _rows(named: Sequence[tuple[int, int, int]]) -> Iterator[tuple[Any, ...]]:
    sets = PullSet.objects.select_related("session__revision").in_bulk([row[0] for row in named])
    calibrations = Calibration.objects.in_bulk({row[2] for row in named if row[2]})
    joined = _pulls_by("pull_set_id", sets)
    baselines = Baseline.objects.in_bulk({row[1] for row in named})
    straight = _straight(baselines)
    for set_id, baseline_id, calibration_id in named:
        session = sets[set_id].session
        scale = Scale(calibrations.get(calibration_id), session.revision.resolution_N)
        join = _strength(joined[set_id], scale, exact_for_assembly)
        line = _strength(straight[baseline_id], scale, exact_for_line)
        yield (
            set_id,
            session.contributor_id,
            baselines[baseline_id].session_id,
            baseline_id,
            calibration_id,
            join.n,
            *(join.mean_N, join.cv, join.n_effective, join.degrees_of_freedom),
            *(line.mean_N, line.cv, line.n_effective, line.degrees_of_freedom),
        )


def _straight(baselines: Mapping[int, Baseline]) -> dict[int, list[Pull]]:
    """Straight-line pulls behind each baseline: all of its session, line and spool together."""
    together: dict[tuple[int, int, str], list[int]] = defaultdict(list)
    sessions = {baseline.session_id for baseline in baselines.values()}
    for each in Baseline.objects.filter(session__in=sessions).order_by("pk"):
        together[each.session_id, each.line_id, each.spool].append(each.pk)
    parts = {
        pk: together[each.session_id, each.line_id, each.spool] for pk, each in baselines.items()
    }
    pulls = _pulls_by("baseline_id", {part for found in parts.values() for part in found})
    return {pk: [pull for part in found for pull in pulls[part]] for pk, found in parts.items()}


def _pulls_by(column: str, ids: Iterable[int]) -> dict[int, list[Pull]]:
    found: dict[int, list[Pull]] = defaultdict(list)
    for pull in Pull.objects.filter(**{f"{column}__in": list(ids)}).order_by("pk"):
        found[getattr(pull, column)].append(pull)
    return found


def _strength(pulls: Sequence[Pull], scale: Scale, exact_for: ExactFor) -> Strength:
    counts = counted([pull.failure_mode for pull in pulls])
    kept = [pull for pull, counts_too in zip(pulls, counts, strict=True) if counts_too]
    exact = exact_for([pull.failure_mode for pull in kept])
    return strength(scale.loads_N(kept), ~exact, scale.resolution_N)
