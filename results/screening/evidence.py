"""What the checks look at: a session's pulls, its rig's past, and what other testers found.

Read-only. Pools exclude the tester under screening, so that no one is
compared with themselves.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property
from statistics import geometric_mean

import numpy as np
from django.db.models import Count, F, OuterRef, Q, Subquery, Sum
from numpy.typing import NDArray

from results.models import Baseline, NormalisedSet, Pull, PullSet, Session
from results.models.lifecycle import COUNTING, State
from results.normalising.scales import Scale, scale_of
from results.pools.estimate import Fit, fit_from
from results.pools.pool_data import Members, members_of_each
from results.statistics.failure_modes import exact_for_assembly, exact_for_line
from results.statistics.screening.repeats import LEAST_RUN

Floats = NDArray[np.float64]
MOST_ALIKE = 50
"""Sets with readings in common that are compared run by run; common practice, no source."""

MOST_OTHERS = 400
"""Baselines of other testers, the newest, that estimate a line's straight strength: their mean is
sure to a twentieth of their spread, and however often a line is pulled, looking costs no more."""


@dataclass(frozen=True)
class StraightEvidence:
    """Straight pulls of one specimen; ``mean_N`` is None where no set is measured against it.

    ``others_N`` has one mean for each other tester, ``earlier_N`` one for each earlier session on
    this revision, oldest first.
    """

    baseline: Baseline
    pulls: list[Pull]
    mean_N: float | None
    others_N: Floats
    earlier_N: Floats

    @property
    def exact(self) -> list[Pull]:
        """Pulls that parted in the free length."""
        return _where(self.pulls, exact_for_line([pull.failure_mode for pull in self.pulls]))


@dataclass(frozen=True)
class PoolOfOthers:
    """A pool without the tester under screening; ``fit`` is None below three other testers.

    ``cv_join`` and ``cv_baseline`` are the scatter of other testers' sets and of their straight
    line: in this pool, or below three testers wherever they tied the same join. None where
    none did.
    """

    members: Members
    fit: Fit | None
    cv_join: float | None
    cv_baseline: float | None

    def prediction_sd(self, fit: Fit, normalised: NormalisedSet) -> float:
        """Of a new tester's next set like this one, on the log scale."""
        sampling = (
            fit.ratios.cv_join**2 / normalised.n_effective
            + fit.ratios.cv_baseline**2 / normalised.baseline_n_effective
        )
        return float(np.sqrt(fit.between + fit.se**2 + sampling))


@dataclass(frozen=True)
class JoinedEvidence:
    """Pulls of one set; ``normalised`` and ``others`` are None where it has no efficiency.

    ``alike`` are the readings of other sessions' sets that share some with it, by name, out of
    ``compared`` sets.
    """

    pull_set: PullSet
    pulls: list[Pull]
    normalised: NormalisedSet | None
    others: PoolOfOthers | None
    alike: list[tuple[str, list[float]]]
    compared: int

    @property
    def exact(self) -> list[Pull]:
        """Pulls whose load is a strength, those that slipped left out."""
        exact = exact_for_assembly([pull.failure_mode for pull in self.pulls])
        return [
            pull for pull in _where(self.pulls, exact) if pull.failure_mode != Pull.FailureMode.SLIP
        ]


@dataclass(frozen=True)
class Evidence:
    """One session as the checks see it."""

    session: Session
    scale: Scale
    straight: list[StraightEvidence]
    joined: list[JoinedEvidence]
    pulls_that_day: int
    seconds_that_day: float

    @cached_property
    def series(self) -> list[list[Pull]]:
        """Every baseline and every set, without pulls that have no reading."""
        parts: list[StraightEvidence | JoinedEvidence] = [*self.straight, *self.joined]
        return [[pull for pull in part.pulls if pull.reading_N is not None] for part in parts]

    def steps(self, pulls: list[Pull]) -> Floats:
        """Readings in steps of the scale."""
        return np.array([pull.reading_N for pull in pulls]) / self.scale.resolution_N


def evidence_of(session: Session) -> Evidence:
    """Everything the checks look at for one session."""
    normalised = {
        found.pull_set_id: found
        for found in NormalisedSet.objects.filter(pull_set__session=session).select_related(
            "baseline__line", "pool"
        )
    }
    pulls = _pulls_of(session)
    members = members_of_each({found.pool_id for found in normalised.values()})
    pools = {pool_id: _pool_of_others(pool_id, of, session) for pool_id, of in members.items()}
    pulls_that_day, seconds_that_day = _that_day(session)
    return Evidence(
        session=session,
        scale=scale_of(session),
        straight=_straight(session, pulls, normalised),
        joined=_joined(session, pulls, normalised, pools),
        pulls_that_day=pulls_that_day,
        seconds_that_day=seconds_that_day,
    )


def _pulls_of(session: Session) -> dict[tuple[int | None, int | None], list[Pull]]:
    """Two queries, since PostgreSQL reads every pull there is for one that says 'or'."""
    found: dict[tuple[int | None, int | None], list[Pull]] = defaultdict(list)
    for owner in ("baseline", "pull_set"):
        for pull in Pull.objects.filter(**{f"{owner}__session": session}).order_by("pk"):
            found[pull.baseline_id, pull.pull_set_id].append(pull)
    return found


def _that_day(session: Session) -> tuple[int, float]:
    """Pulls of the tester's current sessions of the same day, and the seconds they took."""
    sessions = Session.objects.filter(
        contributor=session.contributor_id,
        pulled_on=session.pulled_on,
        standing=Session.Standing.CURRENT,
    )
    pulls, seconds = 0, 0.0
    for owner in ("baseline", "pull_set"):
        totals = Pull.objects.filter(**{f"{owner}__session__in": sessions}).aggregate(
            pulls=Count("pk"), seconds=Sum("time_to_break_s")
        )
        pulls, seconds = pulls + totals["pulls"], seconds + (totals["seconds"] or 0.0)
    return pulls, seconds


def _straight(
    session: Session,
    pulls: dict[tuple[int | None, int | None], list[Pull]],
    normalised: dict[int, NormalisedSet],
) -> list[StraightEvidence]:
    """One entry a specimen: its baselines before, between and after count together."""
    by_specimen: dict[tuple[int, str], list[Baseline]] = defaultdict(list)
    for baseline in session.baselines.select_related("line").order_by("pk"):
        by_specimen[baseline.line_id, baseline.spool].append(baseline)
    means = {found.baseline_id: found.baseline_mean_N for found in normalised.values()}
    lines = {line_id for line_id, _ in by_specimen}
    others, earlier = _others_means(session, lines), _earlier_means(session, lines)
    return [
        StraightEvidence(
            baseline=baselines[0],
            pulls=[pull for one in baselines for pull in pulls[one.pk, None]],
            mean_N=means.get(baselines[0].pk),
            others_N=others[line_id],
            earlier_N=earlier[line_id],
        )
        for (line_id, _), baselines in by_specimen.items()
    ]


def _others_means(session: Session, lines: set[int]) -> dict[int, Floats]:
    """One mean for each other tester of each line, wet or dry alike."""
    return defaultdict(
        lambda: np.empty(0), {line_id: _means_of_testers(session, line_id) for line_id in lines}
    )


def _means_of_testers(session: Session, line_id: int) -> Floats:
    counting = NormalisedSet.objects.filter(baseline=OuterRef("pk"), pull_set__state__in=COUNTING)
    by_baseline = (
        Baseline.objects.filter(_alike(session, "session__state"), line=line_id)
        .exclude(session__contributor=session.contributor_id)
        .annotate(mean_N=Subquery(counting.order_by().values("baseline_mean_N")[:1]))
        .filter(mean_N__isnull=False)
        .order_by("-pk")
        .values_list("session__contributor_id", "mean_N")[:MOST_OTHERS]
    )
    means: dict[int, list[float]] = defaultdict(list)
    for contributor_id, mean_N in by_baseline:
        means[contributor_id].append(mean_N)
    return np.array([geometric_mean(of_tester) for of_tester in means.values()])


def _alike(session: Session, state: str) -> Q:
    """Condition that ``state``, a look-up path, is wet or dry, like the session's."""
    dry = Q(**{state: Session.State.DRY})
    return dry if session.state == Session.State.DRY else ~dry


def _earlier_means(session: Session, lines: set[int]) -> dict[int, Floats]:
    rows = (
        NormalisedSet.objects.filter(
            _alike(session, "pull_set__session__state"),
            baseline__line__in=lines,
            pull_set__state__in=COUNTING,
            pull_set__session__revision=session.revision_id,
            pull_set__session__pulled_on__lt=session.pulled_on,
        )
        .values_list(
            "pull_set__session__pulled_on", "baseline_id", "baseline__line_id", "baseline_mean_N"
        )
        .order_by("pull_set__session__pulled_on", "baseline_id")
        .distinct()
    )
    means: dict[int, list[float]] = defaultdict(list)
    for _, _, line_id, mean_N in rows:
        means[line_id].append(mean_N)
    return defaultdict(lambda: np.empty(0), {key: np.array(of) for key, of in means.items()})


def _pool_of_others(pool_id: int, members: Members, session: Session) -> PoolOfOthers:
    others = members.without_tester(session.contributor_id)
    fit = fit_from(others)
    if fit is not None:
        return PoolOfOthers(others, fit, fit.ratios.cv_join, fit.ratios.cv_baseline)
    return PoolOfOthers(others, None, *_scatter_anywhere(pool_id, session))


def _scatter_anywhere(pool_id: int, session: Session) -> tuple[float | None, float | None]:
    """CV of joined and of straight pulls where other testers tied the join of this pool."""
    freedom, straight_freedom = F("degrees_of_freedom"), F("baseline_degrees_of_freedom")
    sums = (
        NormalisedSet.objects.filter(pool__connection__pools=pool_id, pull_set__state__in=COUNTING)
        .exclude(pull_set__session__contributor=session.contributor_id)
        .aggregate(
            joined=Sum(F("cv") * F("cv") * freedom) / Sum(freedom),
            straight=Sum(F("baseline_cv") * F("baseline_cv") * straight_freedom)
            / Sum(straight_freedom),
        )
    )
    return _root(sums["joined"]), _root(sums["straight"])


def _root(mean_square: float | None) -> float | None:
    return math.sqrt(mean_square) if mean_square else None


def _joined(
    session: Session,
    pulls: dict[tuple[int | None, int | None], list[Pull]],
    normalised: dict[int, NormalisedSet],
    pools: dict[int, PoolOfOthers],
) -> list[JoinedEvidence]:
    """Each set beside every current set of its pool, those of its own session left out."""
    sets = list(session.pull_sets.exclude(state=State.WITHDRAWN).order_by("pk"))
    compared = _compared(session, pools)
    sharing = {
        pull_set.pk: _sharing(session, normalised[pull_set.pk].pool_id, pulls[None, pull_set.pk])
        for pull_set in sets
        if pull_set.pk in normalised
    }
    named = _named({pk for found in sharing.values() for pk in found})
    joined = []
    for pull_set in sets:
        found = normalised.get(pull_set.pk)
        joined.append(
            JoinedEvidence(
                pull_set=pull_set,
                pulls=pulls[None, pull_set.pk],
                normalised=found,
                others=pools[found.pool_id] if found else None,
                alike=[named[pk] for pk in sharing.get(pull_set.pk, ())],
                compared=compared.get(found.pool_id, 0) if found else 0,
            )
        )
    return joined


def _compared(session: Session, pools: Iterable[int]) -> dict[int, int]:
    """How many current sets of other sessions each pool has."""
    others = NormalisedSet.objects.filter(pool__in=pools).exclude(pull_set__session=session)
    current = others.exclude(pull_set__state=State.WITHDRAWN).order_by()
    return dict(current.values_list("pool").annotate(Count("pk")))


def _sharing(session: Session, pool_id: int, pulls: list[Pull]) -> list[int]:
    """Ids of current sets that have a run's worth of readings in common with these, most first.

    Counted from the pulls alone: grouped by sets, every column of a set would be sorted by.
    """
    readings = {pull.reading_N for pull in pulls if pull.reading_N is not None}
    shared = (
        Pull.objects.filter(pull_set__normalised__pool=pool_id, reading_N__in=readings)
        .exclude(pull_set__session=session)
        .exclude(pull_set__state=State.WITHDRAWN)
        .order_by()
        .values("pull_set")
        .annotate(equal=Count("pk"))
        .filter(equal__gte=LEAST_RUN)
        .order_by("-equal", "pull_set")
    )
    return [pull_set_id for pull_set_id, _ in shared.values_list("pull_set", "equal")[:MOST_ALIKE]]


def _named(pull_set_ids: Collection[int]) -> dict[int, tuple[str, list[float]]]:
    """What each set is called, and its readings as they were pulled.

    By number and day: the sentence is kept, and names of people and sets are not copied into it.
    """
    sets = PullSet.objects.select_related("session").only("session__pulled_on")
    named: dict[int, tuple[str, list[float]]] = {
        pk: (f"set {pk} of {one.session.pulled_on:%Y-%m-%d}", [])
        for pk, one in sets.in_bulk(pull_set_ids).items()
    }
    pulls = Pull.objects.filter(pull_set__in=named, reading_N__isnull=False).order_by("pk")
    for pull_set_id, reading_N in pulls.values_list("pull_set_id", "reading_N"):
        if pull_set_id is not None and reading_N is not None:
            named[pull_set_id][1].append(reading_N)
    return named


def _where(pulls: list[Pull], rows: NDArray[np.bool_]) -> list[Pull]:
    return [pull for pull, kept in zip(pulls, rows, strict=True) if kept]
