"""The sets that count in a pool, as columns, and their log ratios at the pool's own scatter."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from django.db.models import Case, CharField, F, Q, Value, When
from django.db.models.functions import Cast, Coalesce, Concat
from numpy.typing import NDArray

from results.models import NormalisedSet
from results.models.lifecycle import COUNTING
from results.normalising.scales import uncalibrated_zero_N
from results.public.quantities import to_two_figures
from results.statistics.ratio import (
    corrected_log_ratio,
    pooled_coefficient_of_variation,
    relative_variance,
)

Floats = NDArray[np.float64]
Ids = NDArray[np.int64]

FOR_EVERYBODY = "\x01"
"""Before the number of who tied for everybody of a round; no name begins so, nor may hold it."""


def who_tied(of: str = "") -> Case:
    """Who tied a set, of which ``of`` is the path with its ending: a name as its tester wrote it,
    or for what was tied centrally in a round the mark and the number of who did."""
    number = Cast(F(f"{of}in_round__tied_by"), CharField())
    central = When(
        **{f"{of}in_round__tied_by__isnull": False}, then=Concat(Value(FOR_EVERYBODY), number)
    )
    return Case(central, default=F(f"{of}tyer"), output_field=CharField())


def pulled_in(of: str = "") -> Coalesce:
    """The round that a set was pulled in, ``of`` its path with its ending; 0 if none."""
    return Coalesce(F(f"{of}in_round__specimen__sample__round_id"), 0)


COLUMNS = (
    "pull_set_id",
    "pull_set__session__contributor_id",
    "baseline__session_id",
    "baseline_id",
    Coalesce("calibration_id", 0),
    "counted",
    "pull_set__main_line_id",
    Coalesce("pull_set__leader_line_id", 0),
    who_tied("pull_set__"),
    "pull_set__session__revision_id",
    pulled_in("pull_set__"),
    "mean_N",
    "cv",
    "n_effective",
    "degrees_of_freedom",
    "baseline_mean_N",
    "baseline_cv",
    "baseline_n_effective",
    "baseline_degrees_of_freedom",
    "resolution_N",
    "calibration__u_offset_N",
    "calibration__gain",
    "pull_set__session__revision__resolution_N",
    "pull_set__session__revision__capacity_N",
    Coalesce("zero_of_pulls_log", 0.0),
    Coalesce("missed_peak_log", 0.0),
)


@dataclass(frozen=True)
class Tyers:
    """Who tied each set (k,): testers by their ids, others below zero.

    Sessions, baselines and scales are divided by tyer, so that each lies in one. What two tyers
    share of a baseline's or a zero's error is then left out of the model.
    """

    tyer: Ids
    session: Ids
    baseline: Ids
    scale: Ids


@dataclass(frozen=True)
class Members:
    """One row a set, ordered by set: ids, and strengths in newtons, all of shape (k,).

    ``session`` is that of the baseline: a session that borrowed one shares its error with the
    session that lent it, and the two make one block of the covariance. ``calibration`` is 0 where
    the scale was not calibrated, ``hand`` where testers tied themselves and else a number of who
    did, another for each name that a tester wrote; ``leader_line`` is 0 where a join ends at a
    terminal; ``club_round`` is the round that a set was pulled in, 0 if none: its participants pull
    from the same spools. ``resolution_N`` is not a number where it is as first entered. The next
    four say how sure the zero of the scale is: ``u_offset_N`` and ``gain`` of the calibration, and
    what is known of a scale without one; not a number where there is none. The last two are what
    traces show of the log ratio's error, 0 without traces.
    """

    pull_set: Ids
    tester: Ids
    session: Ids
    baseline: Ids
    calibration: Ids
    pulls: Ids
    main_line: Ids
    leader_line: Ids
    hand: Ids
    revision: Ids
    club_round: Ids
    mean_N: Floats
    cv: Floats
    n_effective: Floats
    degrees_of_freedom: Floats
    baseline_mean_N: Floats
    baseline_cv: Floats
    baseline_n_effective: Floats
    baseline_degrees_of_freedom: Floats
    resolution_N: Floats
    u_offset_N: Floats
    gain: Floats
    scale_resolution_N: Floats
    capacity_N: Floats
    zero_of_pulls: Floats
    missed_peak: Floats

    def __len__(self) -> int:
        return len(self.pull_set)

    @property
    def line_product(self) -> Ids:
        """The two lines of each set as one number, from 0 in order of their ids."""
        pairs = np.stack((self.main_line, self.leader_line))
        return np.asarray(np.unique(pairs, axis=1, return_inverse=True)[1]).ravel()

    @property
    def level_of_round(self) -> Ids:
        """The round of each set as a level of a factor, -1 where it has none."""
        return np.where(self.club_round > 0, self.club_round, -1)

    def without_tester(self, tester: int) -> Members:
        """The same sets but those of one tester."""
        return self.where(self.tester != tester)

    def of_tester(self, tester: int) -> Members:
        """The sets of one tester alone, no matter who tied them."""
        return self.where(self.tester == tester)

    def tied_by(self, tester: int) -> Members:
        """The sets that one tester tied and pulled."""
        return self.where((self.tester == tester) & (self.hand == 0))

    @property
    def tyers(self) -> Tyers:
        """Who tied, as the groups that sets are pooled by."""
        if not self.hand.any():
            scale = within(self.tester, self.scale)
            return Tyers(self.tester, self.session, self.baseline, scale)
        tyer = np.where(self.hand == 0, self.tester, -self.hand)
        divided = (within(tyer, each) for each in (self.session, self.baseline, self.scale))
        return Tyers(tyer, *divided)

    @property
    def scale(self) -> Ids:
        """Whose zero error a set has: that of its calibration, or without one of its revision."""
        return np.where(self.calibration != 0, self.calibration, -self.revision)

    @property
    def zero_N(self) -> Floats:
        """Standard uncertainty of the scale's zero, in newtons of load.

        A calibration's is taken to two figures, as it is published: the same figures follow from
        the open data, and no figure gives away more digits.
        """
        rows = zip(
            self.u_offset_N.tolist(),
            self.gain.tolist(),
            self.scale_resolution_N.tolist(),
            self.capacity_N.tolist(),
            self.baseline_mean_N.tolist(),
            strict=True,
        )
        return np.array([_zero_N(*row) for row in rows])

    @property
    def zero(self) -> Floats:
        """What one standard error of the zero moves each log ratio by, with its sign.

        A zero error of all loads makes a join that parts below its line look better or worse, and
        one that parts above it the other way.
        """
        with np.errstate(over="ignore"):
            return self.zero_N * (1 / self.mean_N - 1 / self.baseline_mean_N)

    @property
    def errors(self) -> Floats:
        """What each error that the sets of a scale share moves the log ratios by, (k, 3).

        The zero of the scale, the zeros that its pulls were read from, and the peaks that fell
        between two samples. Each is one error of the scale, with the sign it has in each set.
        """
        return np.column_stack((self.zero, self.zero_of_pulls, self.missed_peak))

    def without_set(self, pull_set: int) -> Members:
        """The same sets but one."""
        return self.where(self.pull_set != pull_set)

    def where(self, rows: NDArray[np.bool_]) -> Members:
        """Those of the sets, (k,) of them, in a true row."""
        return Members(**{name: column[rows] for name, column in vars(self).items()})


HAND, TESTER = (
    [field.name for field in fields(Members)].index(name) for name in ("hand", "tester")
)


@dataclass(frozen=True)
class LogRatios:
    """Log ratios (k,) with own and shared variance, and the pooled scatter behind them."""

    y: Floats
    own_variance: Floats
    shared_variance: Floats
    cv_join: float
    cv_baseline: float


def members_of(pool_id: int, *, also: Iterable[int] = ()) -> Members:
    """The sets that count in a pool now, and those of ``also``, ids of sets."""
    counting = Q(pull_set__state__in=COUNTING) | Q(pull_set__in=list(also))
    sets = NormalisedSet.objects.filter(counting, pool_id=pool_id).order_by("pull_set_id")
    return as_members(list(sets.values_list(*COLUMNS)))


def members_of_each(pool_ids: Iterable[int], *, also: Iterable[int] = ()) -> dict[int, Members]:
    """The same of each of these pools, in one query; who tied has one number in all of them."""
    counting = Q(pull_set__state__in=COUNTING) | Q(pull_set__in=list(also))
    sets = NormalisedSet.objects.filter(counting, pool__in=pool_ids)
    rows: dict[int, list[tuple[Any, ...]]] = {pool_id: [] for pool_id in pool_ids}
    others = Others()
    for pool_id, *row in sets.order_by("pull_set_id").values_list("pool_id", *COLUMNS):
        rows[pool_id].append(tuple(row))
    return {pool_id: as_members(found, others) for pool_id, found in rows.items()}


class Others(dict[tuple[int, str], int]):
    """Numbers of those who tied for a tester, by tester and name, from 1 as they are met.

    Who tied for everybody of a round is one person for all testers: their tester is 0.
    """

    def __missing__(self, who: tuple[int, str]) -> int:
        self[who] = len(self) + 1
        return self[who]


def as_members(rows: Sequence[tuple[Any, ...]], others: Others | None = None) -> Members:
    """Rows of ``COLUMNS`` as columns, other tyers numbered by ``others`` if given."""
    columns: list[tuple[Any, ...]] = [*zip(*rows, strict=True)] if rows else [()] * len(COLUMNS)
    columns[HAND] = _hands(columns[TESTER], columns[HAND], Others() if others is None else others)
    types = [np.int64] * 11 + [np.float64] * 15
    arrays: dict[str, Any] = {
        field.name: np.array(column, dtype=type_)
        for field, column, type_ in zip(fields(Members), columns, types, strict=True)
    }
    return Members(**arrays)


def _hands(tester: Sequence[int], tyer: Sequence[str], others: Others) -> tuple[int, ...]:
    """0 for a set tied by its tester, else the number of the other who tied."""
    named = zip(tester, (text.strip().casefold() for text in tyer), strict=True)
    return tuple(
        others[(0, name) if name.startswith(FOR_EVERYBODY) else (who, name)] if name else 0
        for who, name in named
    )


def _zero_N(
    u_offset_N: float, gain: float, resolution_N: float, capacity_N: float, straight_N: float
) -> float:
    published = to_two_figures(None if math.isnan(u_offset_N) else u_offset_N)
    if published is not None:
        return published / gain
    known = None if math.isnan(capacity_N) else capacity_N
    return uncalibrated_zero_N(resolution_N, known, straight_N)


def within(tyer: Ids, group: Ids) -> Ids:
    """Numbers of the parts that tyers divide groups into."""
    pairs = np.stack((tyer, group))
    return np.asarray(np.unique(pairs, axis=1, return_inverse=True)[1], dtype=np.int64).ravel()


def log_ratios(members: Members) -> LogRatios:
    """Corrected log ratios at CVs pooled over all sets, and over all baselines once each.

    A CV from five pulls makes weights of noise (Doncaster & Spake 2018; Nakagawa et al. 2023).
    Raises StatisticsError where there is no set, or none with scatter.
    """
    _, once = np.unique(members.baseline, return_index=True)
    cv_join = pooled_coefficient_of_variation(members.cv, members.degrees_of_freedom)
    cv_baseline = pooled_coefficient_of_variation(
        members.baseline_cv[once], members.baseline_degrees_of_freedom[once]
    )
    ratios = corrected_log_ratio(
        members.mean_N,
        members.baseline_mean_N,
        relative_variance(cv_join, members.n_effective),
        relative_variance(cv_baseline, members.baseline_n_effective),
    )
    return LogRatios(ratios.y, ratios.own_variance, ratios.shared_variance, cv_join, cv_baseline)
