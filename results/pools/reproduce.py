"""Recomputing: the figures of a snapshot once more, from the pulls themselves."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from fnmatch import fnmatchcase
from itertools import accumulate, pairwise
from typing import Any, TypeAlias, cast

import numpy as np
from django.db.models import QuerySet
from django.db.models.functions import Coalesce
from numpy.typing import NDArray

from results.models import PoolVersion, PullSet, Release
from results.normalising.scales import first_resolutions, loads_N
from results.normalising.traced_errors import shown_by_traces, traced_errors
from results.pools.circumstances import kept_circumstances
from results.pools.descriptives import Tie
from results.pools.differences import Unlike, unlike
from results.pools.estimate import pooled_from
from results.pools.pool_data import Members, as_members, pulled_in, who_tied
from results.pools.pulls_behind import BATCH, counted_pulls, scales_of, straight_together
from results.pools.recompute import everything_said, said_by
from results.pools.reproduce_ties import ties_from_pulls
from results.pools.snapshots import FORMULAE, MOVED, Behind, Moved, libraries, snapshot_id
from results.statistics.censored import Strength, strengths
from results.statistics.errors import StatisticsError
from results.statistics.failure_modes import MEANING
from rigs.models import Calibration

Ids: TypeAlias = tuple[int, ...]
VERSIONS = 10
"""Versions that are fetched at once."""
SETS_AT_ONCE = 1000
"""Sets from which on the versions that they are of are computed together: a query more for each
of many small pools would take longer than all else."""
OF_LIBRARIES = 1e-6
"""Relative difference up to which other libraries may be why: searches end within that."""
OF_A_SET = (
    "session__contributor_id",
    "main_line_id",
    Coalesce("leader_line_id", 0),
    who_tied(),
    "session__revision_id",
    pulled_in(),
)
UNKNOWN = (None, None)
STRAIGHT_N = [field.name for field in fields(Members)].index("baseline_mean_N")
ASSEMBLY = {mode.value: meaning.exact_for_assembly for mode, meaning in MEANING.items()}
LINE = {mode.value: meaning.exact_for_line for mode, meaning in MEANING.items()}


class UnknownSnapshot(Exception):
    """Nothing that is stored has this id."""


class Cause(StrEnum):
    """Why a recomputed figure differs from the stored one."""

    FORMULAE = "other formulae"
    LIBRARIES = "rounding of other libraries"
    DATA = "other data, or a change of the formulae that raised no number"


@dataclass(frozen=True)
class Difference:
    """A recomputed figure that differs from the stored one by more than 1e-12."""

    figure: str
    stored: Any
    recomputed: Any
    cause: Cause


@dataclass(frozen=True)
class Recomputed:
    """A version of a pool, recomputed; equal if there is no difference.

    ``members`` are its sets as their pulls say them. ``not_known`` are the figures that its time
    did not know. ``rounding`` is the largest relative difference up to 1e-12, which is none.
    """

    version: PoolVersion
    members: Members
    differences: tuple[Difference, ...]
    not_known: tuple[str, ...]
    rounding: float


def recompute(snapshot: str) -> Iterator[Recomputed]:
    """Recompute what a snapshot names, pool by pool.

    ``snapshot`` is the id of a pool version, or that of an open data release, which means
    every pool version in it. Nothing that was worked out is read, only pulls, calibrations, how
    sets were tied and which belonged together. Later corrections and withdrawals make no
    difference, since the rows they concern are kept. Raises UnknownSnapshot.
    """
    for versions in in_batches(_named(snapshot)):
        yield from recomputed_together(versions)


def recompute_all() -> Iterator[Recomputed]:
    """Every version of every pool that has a snapshot."""
    with_snapshot = _versions().exclude(snapshot="").order_by("pool_id", "number")
    for versions in in_batches(with_snapshot.iterator(VERSIONS)):
        yield from recomputed_together(versions)


def in_batches(versions: Iterable[PoolVersion]) -> Iterator[list[PoolVersion]]:
    """The same versions, as many together as have some ``SETS_AT_ONCE`` sets."""
    batch: list[PoolVersion] = []
    sets = 0
    for version in versions:
        batch.append(version)
        sets += version.sets
        if sets >= SETS_AT_ONCE:
            yield batch
            batch, sets = [], 0
    if batch:
        yield batch


def _versions() -> QuerySet[PoolVersion]:
    return PoolVersion.objects.defer("forest_light", "forest_dark")


def _named(snapshot: str) -> Iterable[PoolVersion]:
    release = Release.objects.filter(snapshot=snapshot).only("pool_versions").first()
    if snapshot and release is not None:
        return _versions().filter(pk__in=release.pool_versions).order_by("pk").iterator(VERSIONS)
    found = list(_versions().filter(snapshot=snapshot).order_by("pk")) if snapshot else []
    if not found:
        raise UnknownSnapshot(
            f"No pooled figure and no open data has the snapshot {snapshot!r}; expected the 64 "
            "digits tester_of beside a pooled figure or a release."
        )
    return found


def recomputed(version: PoolVersion) -> Recomputed:
    """Everything that one version says, from the pulls once more."""
    return recomputed_together([version])[0]


def recomputed_together(versions: Sequence[PoolVersion]) -> list[Recomputed]:
    """Everything that some versions say, from the pulls once more, which are read together.

    Raises StatisticsError where the pulls of a set have no strength any more, and LookupError where
    a row that a version names is gone.
    """
    behind = from_pulls([version.inputs for version in versions])
    return [_recomputed(version, *of) for version, of in zip(versions, behind, strict=True)]


def _recomputed(version: PoolVersion, members: Members, ties: Sequence[Tie]) -> Recomputed:
    circumstances = kept_circumstances(version.inputs)
    said = everything_said(members, pooled_from(members), ties, circumstances)
    found = list(unlike(said_by(version, said), said))
    behind = Behind(members, [tie.covariates for tie in ties])
    if _by_the_same(version.inputs):
        again = snapshot_id(version.pool_id, version.inputs, members)
        found += list(unlike(version.snapshot, again, "snapshot"))
    return Recomputed(
        version,
        members,
        tuple(
            Difference(each.path, each.stored, each.again, _cause(version.inputs, each, behind))
            for each in found
            if not each.is_rounding and not each.was_not_known
        ),
        tuple(each.path for each in found if each.was_not_known),
        max((each.relative or 0.0 for each in found if each.is_rounding), default=0.0),
    )


def _by_the_same(inputs: Mapping[str, Any]) -> bool:
    """Whether it was computed by these formulae and libraries, so that every bit is the same."""
    return inputs["formulae"] == FORMULAE and inputs.get("libraries") == libraries()


def _cause(inputs: Mapping[str, Any], each: Unlike, behind: Behind) -> Cause:
    if inputs["formulae"] > FORMULAE:
        return Cause.FORMULAE
    later = [moved for number in MOVED if number > inputs["formulae"] for moved in MOVED[number]]
    if any(moved.concerns(behind) and _moved(moved, each) for moved in later):
        return Cause.FORMULAE
    rounded = each.relative is not None and each.relative <= OF_LIBRARIES
    return Cause.LIBRARIES if rounded and inputs.get("libraries") != libraries() else Cause.DATA


def _moved(by: Moved, each: Unlike) -> bool:
    """Whether these formulae say that they moved this figure, and so far."""
    far = math.inf if each.relative is None else each.relative
    return far <= by.by and any(fnmatchcase(each.path, pattern) for pattern in by.figures)


def from_pulls(
    snapshots: Sequence[Mapping[str, Any]],
) -> Iterator[tuple[Members, list[Tie]]]:
    """The sets of some snapshots, each recomputed from its pulls and those of its baseline."""
    named = [
        (*ids, inputs)
        for inputs in snapshots
        for ids in zip(
            inputs["pull_sets"], inputs["baselines"], inputs["calibrations"], strict=True
        )
    ]
    rows: list[tuple[Any, ...]] = []
    ties: list[Tie] = []
    for start in range(0, len(named), BATCH):
        sets, baselines, calibrations, inputs = zip(*named[start : start + BATCH], strict=True)
        session, parts = straight_together(baselines)
        resolution_N = _resolutions(sets, inputs)
        zeros = _zeros(sets, calibrations, inputs)
        rows += _rows(sets, baselines, calibrations, session, parts, resolution_N, zeros)
        straight_N = [row[STRAIGHT_N] for row in rows[start:]]
        ties += ties_from_pulls(sets, baselines, parts, scales_of(calibrations), straight_N)
    ends = [0, *accumulate(len(inputs["pull_sets"]) for inputs in snapshots)]
    for first, end in pairwise(ends):
        yield as_members(rows[first:end]), ties[first:end]


def _rows(
    sets: Ids,
    baselines: Ids,
    calibrations: Ids,
    session: Sequence[int],
    parts: Sequence[Sequence[int]],
    resolution_N: Sequence[float],
    zeros: Sequence[tuple[float | None, ...]],
) -> Iterator[tuple[Any, ...]]:
    of_set = PullSet.objects.filter(pk__in=sets).values_list("pk", *OF_A_SET)
    known = {pk: row for pk, *row in of_set}
    tester = [known[pk][0] for pk in sets]
    scales = scales_of(calibrations)
    of_sets = shown_by_traces("pull_set", sets)
    of_lines = shown_by_traces("baseline", {pk for of_set in parts for pk in of_set})
    joins = _strengths("pull_set_id", [[pk] for pk in sets], scales, resolution_N, ASSEMBLY)
    lines = _strengths("baseline_id", parts, scales, resolution_N, LINE)
    for ids, join, line, zero, straight, scale in zip(
        zip(sets, tester, session, baselines, calibrations, strict=True),
        joins,
        lines,
        zeros,
        parts,
        scales.tolist(),
        strict=True,
    ):
        of_line = [shown for pk in straight for shown in of_lines.get(pk, [])]
        traced = traced_errors(of_sets.get(ids[0], []), of_line, (join.n, line.n), *scale)
        yield (
            *ids,
            join.n,
            *known[ids[0]][1:],
            *(join.mean_N, join.cv, join.n_effective, join.degrees_of_freedom),
            *(line.mean_N, line.cv, line.n_effective, line.degrees_of_freedom),
            np.nan,
            *zero,
            *(traced.in_log_ratio(join.mean_N, line.mean_N) if traced else (0.0, 0.0)),
        )


def _resolutions(sets: Ids, inputs: Sequence[Mapping[str, Any]]) -> list[float]:
    """The resolution used for each set: as first entered, unless its snapshot kept another."""
    revision = PullSet.objects.filter(pk__in=sets).values_list("pk", "session__revision_id")
    of_set = dict(revision)
    first = first_resolutions(of_set.values())
    return [
        kept.get("resolutions_N", {}).get(str(pk), first[of_set[pk]])
        for pk, kept in zip(sets, inputs, strict=True)
    ]


def _zeros(
    sets: Ids, calibrations: Ids, inputs: Sequence[Mapping[str, Any]]
) -> list[tuple[float | None, ...]]:
    """What is known of the zero of each set's scale, as the last columns of the members.

    Of a scale without calibration as it was then, and for a version that kept nothing of it, since
    it had no part in its figures, as it is now.
    """
    of_calibration = {
        pk: (*row, *UNKNOWN)
        for pk, *row in Calibration.objects.filter(pk__in=set(calibrations)).values_list(
            "pk", "u_offset_N", "gain"
        )
    }
    of_now = PullSet.objects.filter(pk__in=sets).values_list(
        "pk", "session__revision__resolution_N", "session__revision__capacity_N"
    )
    keeps_none = any("uncalibrated_N" not in kept for kept in inputs)
    now = {str(pk): row for pk, *row in of_now} if keeps_none else {}
    return [
        of_calibration.get(
            calibration, (*UNKNOWN, *kept.get("uncalibrated_N", now).get(str(pk), UNKNOWN))
        )
        for pk, calibration, kept in zip(sets, calibrations, inputs, strict=True)
    ]


def _strengths(
    parent: str,
    owners: Sequence[Sequence[int]],
    scales: NDArray[np.float64],
    resolution_N: Sequence[float],
    exact: Mapping[str, bool],
) -> list[Strength]:
    """The strength of each set, from the counted pulls of its owners."""
    owner, readings_N, modes = counted_pulls(parent, {pk for of_set in owners for pk in of_set})
    starts, failed = _spans(owner), np.array([exact[mode] for mode in modes], dtype=bool)
    spans = [starts.get(pk, (0, 0)) for of_set in owners for pk in of_set]
    place = np.repeat(np.arange(len(owners)), [len(of_set) for of_set in owners])
    first, sizes = np.array(spans, dtype=np.intp).reshape(-1, 2).T
    rows = np.repeat(first - np.cumsum(sizes) + sizes, sizes) + np.arange(sizes.sum())
    offset_N, gain = np.repeat(scales[place], sizes, axis=0).T
    found = strengths(
        loads_N(readings_N[rows], offset_N, gain),
        ~failed[rows],
        np.bincount(place, sizes, minlength=len(owners)).astype(np.intp),
        np.array(resolution_N),
    )
    for one in found:
        if isinstance(one, StatisticsError):
            raise one
    return cast("list[Strength]", found)


def _spans(owner: NDArray[np.int64]) -> dict[int, tuple[int, int]]:
    """Where each owner's pulls begin, and how many they are."""
    codes, first, sizes = np.unique(owner, return_index=True, return_counts=True)
    spans = zip(first.tolist(), sizes.tolist(), strict=True)
    return dict(zip(codes.tolist(), spans, strict=True))
