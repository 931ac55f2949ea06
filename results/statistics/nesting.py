"""Who shares what: sets within baselines within sessions within testers."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array

from results.statistics.errors import NotNested, ShapeMismatch

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
Summation: TypeAlias = csr_array | Floats

SMALL = 2**12
"""Entries of a matrix of zeros and ones up to which it is quicker to multiply whole."""


@dataclass(frozen=True)
class Nesting:
    """k sets of J baselines of S sessions of T testers, numbered from 0 in order of their codes.

    `baseline_of_set` (k,), `session_of_baseline` (J,), `tester_of_session` (S,) lead upwards;
    `to_baseline` (J, k), `to_session` (S, J), `to_tester` (T, S) sum over the members of a group.
    `of_set` (T, k), `of_baseline` (T, J), `of_session` (T, S) sum by tester.
    `testers` (T,) holds the testers' own codes.
    """

    testers: NDArray[np.int64]
    baseline_of_set: Codes
    session_of_baseline: Codes
    tester_of_session: Codes
    to_baseline: Summation
    to_session: Summation
    to_tester: Summation

    @property
    def of_session(self) -> Summation:
        return self.to_tester

    @cached_property
    def of_baseline(self) -> Summation:
        return _summation(self.tester_of_baseline, self.testers.size)

    @cached_property
    def of_set(self) -> Summation:
        return _summation(self.tester_of_set, self.testers.size)

    @property
    def session_of_set(self) -> Codes:
        return self.session_of_baseline[self.baseline_of_set]

    @property
    def tester_of_baseline(self) -> Codes:
        return self.tester_of_session[self.session_of_baseline]

    @property
    def tester_of_set(self) -> Codes:
        return self.tester_of_session[self.session_of_set]


def nest(tester: ArrayLike, session: ArrayLike, baseline: ArrayLike) -> Nesting:
    """Read three code arrays, each (k,), as a tree.

    Raises NotNested where a baseline lies in two sessions or a session in two testers, and
    ShapeMismatch where the arrays differ in length.
    """
    codes = [np.asarray(level, dtype=np.int64) for level in (tester, session, baseline)]
    if any(level.ndim != 1 or level.size != codes[0].size for level in codes):
        raise ShapeMismatch("tester, session and baseline must be three lists of one length")
    (testers, of_tester), (sessions, of_session), (baselines, of_baseline) = (
        np.unique(level, return_inverse=True) for level in codes
    )
    session_of_baseline = _parent(of_baseline, of_session, baselines, "baseline", "session")
    tester_of_session = _parent(of_session, of_tester, sessions, "session", "tester")
    return Nesting(
        testers,
        of_baseline,
        session_of_baseline,
        tester_of_session,
        _summation(of_baseline, baselines.size),
        _summation(session_of_baseline, sessions.size),
        _summation(tester_of_session, testers.size),
    )


def identifiable(nesting: Nesting) -> NDArray[np.bool_]:
    """Which scatter the data can tell apart, (3,): of testers, of sessions, of sets.

    Sessions where a tester has several, sets where a session has several.
    """
    testers, sessions = nesting.testers.size, nesting.tester_of_session.size
    return np.array([True, sessions > testers, nesting.baseline_of_set.size > sessions])


def rows_by_size(cluster: Codes) -> Iterator[Codes]:
    """Row numbers (c, n) of the c clusters of n rows, one stack for each n."""
    order = np.argsort(cluster, kind="stable")
    sizes = np.bincount(cluster)
    starts = np.cumsum(sizes) - sizes
    for size in np.unique(sizes):
        yield order[starts[sizes == size][:, None] + np.arange(size)]


def _parent(
    child: Codes, parent: Codes, labels: NDArray[np.int64], child_name: str, parent_name: str
) -> Codes:
    found = np.empty(labels.size, dtype=np.intp)
    found[child] = parent
    astray = np.flatnonzero(found[child] != parent)
    if astray.size:
        label = labels[child[astray[0]]]
        raise NotNested(f"{child_name} {label} lies in more than one {parent_name}")
    return found


def _summation(group: Codes, groups: int) -> Summation:
    members = np.argsort(group, kind="stable")
    starts = np.concatenate(([0], np.cumsum(np.bincount(group, minlength=groups))))
    found = csr_array((np.ones(group.size), members, starts), shape=(groups, group.size))
    return np.asarray(found.toarray()) if groups * group.size <= SMALL else found
