"""What the checks look at: a session's pulls, its rig's past, and what other testers found.

Read-only. Pools exclude the tester under screening, so that no one is
compared with themselves.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from statistics import geometric_mean

import numpy as np
from django.db.models import Count, OuterRef, Q, Subquery, Sum
from numpy.typing import NDArray

from results.models import Baseline, NormalisedSet, Pull, PullSet, Session
from results.models.lifecycle import COUNTING, State
from results.normalising.scales import Scale, scale_of
from results.pools.pool_data import Members, members_of_each
from results.screening.first_come import Versions, compared, named, sharing, versions_of
from results.screening.over_time import Found, found_in_pools
from results.screening.recordings import Recordings, recordings_of
from results.screening.references import PoolOfOthers, pool_of_others
from results.screening.shapes import NearCopies, near_copies
from results.statistics.failure_modes import exact_for_assembly, exact_for_line

Floats = NDArray[np.float64]
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
class JoinedEvidence:
    """Pulls of one set; ``normalised`` and ``others`` are None where it has no efficiency.

    ``alike`` are the readings of other sessions' sets that share some with it, by name, out of
    ``compared`` sets; ``alike_ids`` are these sets.
    """

    pull_set: PullSet
    pulls: list[Pull]
    normalised: NormalisedSet | None
    others: PoolOfOthers | None
    alike: list[tuple[str, list[float]]]
    alike_ids: list[int]
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
    """One session as the checks see it; ``found`` has the sets of each of its pools.

    ``members`` are those that count there, with the session's own, counting or not.
    ``recordings`` are the traces of its pulls, none where it was not recorded.
    """

    session: Session
    scale: Scale
    straight: list[StraightEvidence]
    joined: list[JoinedEvidence]
    pulls_that_day: int
    seconds_that_day: float
    near: NearCopies
    members: dict[int, Members]
    found: dict[int, list[Found]]
    recordings: Recordings

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
    sets = list(session.pull_sets.exclude(state=State.WITHDRAWN).order_by("pk"))
    own = {one.pk for one in sets}
    members = members_of_each({found.pool_id for found in normalised.values()}, also=own)
    pools = {pool_id: pool_of_others(pool_id, of, session) for pool_id, of in members.items()}
    pulls_that_day, seconds_that_day = _that_day(session)
    versions = versions_of(session)
    counts = compared(versions, pools)
    near = near_copies(session, versions, counts)
    joined = _joined(sets, versions, counts, pulls, normalised, pools)
    every = [pull for of in pulls.values() for pull in of]
    alike = {pk for one in joined for pk in one.alike_ids}
    return Evidence(
        session=session,
        scale=scale_of(session),
        straight=_straight(session, pulls, normalised),
        joined=joined,
        pulls_that_day=pulls_that_day,
        seconds_that_day=seconds_that_day,
        near=near,
        members=members,
        found=found_in_pools(session, set(members)),
        recordings=recordings_of(every, near, alike),
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


def _joined(
    sets: list[PullSet],
    versions: Versions,
    counts: dict[int, int],
    pulls: dict[tuple[int | None, int | None], list[Pull]],
    normalised: dict[int, NormalisedSet],
    pools: dict[int, PoolOfOthers],
) -> list[JoinedEvidence]:
    """Each set beside the sets of its pool that came before it, in other sessions."""
    alike = {
        pull_set.pk: sharing(
            versions, normalised[pull_set.pk].pool_id, readings_of(pulls[None, pull_set.pk])
        )
        for pull_set in sets
        if pull_set.pk in normalised
    }
    names = named({pk for found in alike.values() for pk in found})
    joined = []
    for pull_set in sets:
        found = normalised.get(pull_set.pk)
        joined.append(
            JoinedEvidence(
                pull_set=pull_set,
                pulls=pulls[None, pull_set.pk],
                normalised=found,
                others=pools[found.pool_id] if found else None,
                alike=[names[pk] for pk in alike.get(pull_set.pk, ())],
                alike_ids=alike.get(pull_set.pk, []),
                compared=counts.get(found.pool_id, 0) if found else 0,
            )
        )
    return joined


def readings_of(pulls: list[Pull]) -> list[float]:
    """Readings in newtons, in the order of the pulls, without those that have none."""
    return [pull.reading_N for pull in pulls if pull.reading_N is not None]


def _where(pulls: list[Pull], rows: NDArray[np.bool_]) -> list[Pull]:
    return [pull for pull, kept in zip(pulls, rows, strict=True) if kept]
