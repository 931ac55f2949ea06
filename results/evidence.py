"""What the checks look at: a session's pulls, its rig's past, and what other testers found.

Only looks things up. Pools are taken without the tester under screening, so that nobody is
compared with themselves.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from django.db.models import Count, F, Q, QuerySet, Sum
from numpy.typing import NDArray

from results.members import Members, members_of
from results.models import Baseline, NormalisedSet, Pull, PullSet, Session
from results.normalising import scale_of
from results.outcomes import Fit, fit_from
from results.states import COUNTING, State
from results.statistics.failure_modes import exact_for_assembly, exact_for_line
from results.statistics.screening.repeats import LEAST_RUN
from results.working_out import Scale

Floats = NDArray[np.float64]
MOST_ALIKE = 50
"""Sets with readings in common that are compared run by run; common practice, no source."""


@dataclass(frozen=True)
class Straight:
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
    nobody did.
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
class Joined:
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
    straight: list[Straight]
    joined: list[Joined]
    pulls_that_day: int
    seconds_that_day: float

    @cached_property
    def series(self) -> list[list[Pull]]:
        """Every baseline and every set, without what has no reading."""
        parts: list[Straight | Joined] = [*self.straight, *self.joined]
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
    pools = {
        found.pool_id: _pool_of_others(found.pool_id, session) for found in normalised.values()
    }
    day = Pull.objects.filter(_in_sessions_of_the_day(session)).aggregate(
        pulls=Count("pk"), seconds=Sum("time_to_break_s")
    )
    return Evidence(
        session=session,
        scale=scale_of(session),
        straight=_straight(session, pulls, normalised),
        joined=[
            _joined(pull_set, pulls[None, pull_set.pk], normalised.get(pull_set.pk), pools)
            for pull_set in session.pull_sets.exclude(state=State.WITHDRAWN).order_by("pk")
        ],
        pulls_that_day=day["pulls"],
        seconds_that_day=day["seconds"] or 0.0,
    )


def _pulls_of(session: Session) -> dict[tuple[int | None, int | None], list[Pull]]:
    found: dict[tuple[int | None, int | None], list[Pull]] = defaultdict(list)
    of_session = Q(pull_set__session=session) | Q(baseline__session=session)
    for pull in Pull.objects.filter(of_session).order_by("pk"):
        found[pull.baseline_id, pull.pull_set_id].append(pull)
    return found


def _in_sessions_of_the_day(session: Session) -> Q:
    same = {
        "contributor_id": session.contributor_id,
        "pulled_on": session.pulled_on,
        "standing": Session.Standing.CURRENT,
    }
    of_sets = Q(**{f"pull_set__session__{name}": value for name, value in same.items()})
    return of_sets | Q(**{f"baseline__session__{name}": value for name, value in same.items()})


def _straight(
    session: Session,
    pulls: dict[tuple[int | None, int | None], list[Pull]],
    normalised: dict[int, NormalisedSet],
) -> list[Straight]:
    """One entry a specimen: its baselines before, between and after count together."""
    by_specimen: dict[tuple[int, str], list[Baseline]] = defaultdict(list)
    for baseline in session.baselines.select_related("line").order_by("pk"):
        by_specimen[baseline.line_id, baseline.spool].append(baseline)
    means = {found.baseline_id: found.baseline_mean_N for found in normalised.values()}
    lines = {line_id for line_id, _ in by_specimen}
    others, earlier = _others_means(session, lines), _earlier_means(session, lines)
    return [
        Straight(
            baseline=baselines[0],
            pulls=[pull for one in baselines for pull in pulls[one.pk, None]],
            mean_N=means.get(baselines[0].pk),
            others_N=others[line_id],
            earlier_N=earlier[line_id],
        )
        for (line_id, _), baselines in by_specimen.items()
    ]


def _baselines_like(session: Session, lines: set[int]) -> QuerySet[NormalisedSet]:
    """Baselines that count somewhere, of these lines and wet or dry alike."""
    wet = Q(pull_set__session__state=Session.State.DRY)
    alike = wet if session.state == Session.State.DRY else ~wet
    return NormalisedSet.objects.filter(
        alike, baseline__line__in=lines, pull_set__state__in=COUNTING
    ).exclude(pull_set__session=session)


def _others_means(session: Session, lines: set[int]) -> dict[int, Floats]:
    rows = (
        _baselines_like(session, lines)
        .exclude(pull_set__session__contributor=session.contributor_id)
        .values_list(
            "baseline__line_id",
            "pull_set__session__contributor_id",
            "baseline_id",
            "baseline_mean_N",
        )
        .order_by()
        .distinct()
    )
    logs: dict[int, dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for line_id, contributor_id, _, mean_N in rows:
        logs[line_id][contributor_id].append(float(np.log(mean_N)))
    means = {
        line_id: np.exp([np.mean(of_tester) for of_tester in testers.values()])
        for line_id, testers in logs.items()
    }
    return defaultdict(lambda: np.empty(0), means)


def _earlier_means(session: Session, lines: set[int]) -> dict[int, Floats]:
    rows = (
        _baselines_like(session, lines)
        .filter(
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


def _pool_of_others(pool_id: int, session: Session) -> PoolOfOthers:
    others = members_of(pool_id).without_tester(session.contributor_id)
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
    pull_set: PullSet,
    pulls: list[Pull],
    normalised: NormalisedSet | None,
    pools: dict[int, PoolOfOthers],
) -> Joined:
    """The set beside every current set of its pool, those of its own session left out."""
    others = PullSet.objects.none()
    if normalised is not None:
        others = PullSet.objects.filter(
            normalised__pool=normalised.pool_id, session__standing=Session.Standing.CURRENT
        ).exclude(session=pull_set.session_id)
    readings = {pull.reading_N for pull in pulls if pull.reading_N is not None}
    alike = (
        others.filter(pulls__reading_N__in=readings)
        .annotate(equal=Count("pulls"))
        .filter(equal__gte=LEAST_RUN)
        .select_related("session__contributor")
        .order_by("-equal", "pk")[:MOST_ALIKE]
    )
    named = {other.pk: other for other in alike}
    series: dict[int, list[float]] = {pk: [] for pk in named}
    told = Pull.objects.filter(pull_set__in=series, reading_N__isnull=False).order_by("pk")
    for pull_set_id, reading_N in told.values_list("pull_set_id", "reading_N"):
        if pull_set_id is not None and reading_N is not None:
            series[pull_set_id].append(reading_N)
    return Joined(
        pull_set=pull_set,
        pulls=pulls,
        normalised=normalised,
        others=pools[normalised.pool_id] if normalised else None,
        alike=[(_named(named[pk]), of_set) for pk, of_set in series.items()],
        compared=others.count(),
    )


def _named(other: PullSet) -> str:
    return f"'{other.label}' of {other.session}"


def _where(pulls: list[Pull], rows: NDArray[np.bool_]) -> list[Pull]:
    return [pull for pull, kept in zip(pulls, rows, strict=True) if kept]
