"""Which sets came before a set: of two that are alike, only the later one is asked about.

Rejected and withdrawn sets accuse no one. A corrected version of a session keeps the place of the
version that it corrects, for each set of which it leaves half the readings or more.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Count, Q

from results.models import NormalisedSet, Pull, PullSet, Session
from results.models.lifecycle import State
from results.statistics.screening.repeats import LEAST_RUN

MOST_ALIKE = 50
"""Sets with readings in common that are compared run by run; common practice, no source."""


@dataclass(frozen=True)
class Versions:
    """A session and the versions that it corrects; ``pulls`` are readings by set, newest first."""

    ids: list[int]
    pulls: list[list[list[float]]]

    def came_in(self, readings_N: list[float]) -> int:
        """The oldest version, as an id, in which half of these readings stood at their place."""
        oldest = self.ids[0]
        for session_id, sets in zip(self.ids[1:], self.pulls, strict=True):
            if any(_half_of(readings_N, earlier) for earlier in sets):
                oldest = session_id
        return oldest


def versions_of(session: Session) -> Versions:
    """A session with its earlier versions."""
    ids, each = [session.pk], session
    while each.replaces is not None:
        each = each.replaces
        ids.append(each.pk)
    found: dict[int, dict[tuple[str, int], list[float]]] = defaultdict(lambda: defaultdict(list))
    for owner in ("pull_set", "baseline") if ids[1:] else ():
        rows = Pull.objects.filter(**{f"{owner}__session__in": ids[1:]}, reading_N__isnull=False)
        columns = (f"{owner}__session", owner, "reading_N")
        for session_id, pk, reading_N in rows.order_by("pk").values_list(*columns):
            found[session_id][owner, pk].append(reading_N)
    return Versions(ids, [list(found[pk].values()) for pk in ids[1:]])


def _half_of(readings_N: list[float], earlier: list[float]) -> bool:
    equal = sum(one == other for one, other in zip(readings_N, earlier, strict=False))
    return 2 * equal >= max(len(readings_N), 1)


def standing(versions: Versions) -> Q:
    """Condition on pull sets: those of other sessions that may be compared with.

    A set of a version that was corrected since still shows when its readings came.
    """
    current = ~Q(pull_set__state__in=(State.REJECTED, State.WITHDRAWN))
    corrected = Q(pull_set__session__standing=Session.Standing.REPLACED)
    return (current | corrected) & ~Q(pull_set__session__in=versions.ids)


def compared(versions: Versions, pools: Collection[int]) -> dict[int, int]:
    """How many sets of other sessions that came before this one each pool has."""
    earlier = NormalisedSet.objects.filter(
        standing(versions), pool__in=pools, pull_set__session__lt=versions.ids[0]
    )
    return dict(earlier.order_by().values_list("pool").annotate(Count("pk")))


def sharing(versions: Versions, pool_id: int, readings_N: list[float]) -> list[int]:
    """Ids of earlier sets that have a run's worth of these readings, those with most of them first.

    Counted from the pulls alone: grouped by sets, every column of a set would be sorted by.
    """
    shared = (
        Pull.objects.filter(
            standing(versions),
            pull_set__normalised__pool=pool_id,
            pull_set__session__lt=versions.came_in(readings_N),
            reading_N__in=set(readings_N),
        )
        .order_by()
        .values("pull_set")
        .annotate(equal=Count("pk"))
        .filter(equal__gte=LEAST_RUN)
        .order_by("-equal", "pull_set")
    )
    return [pull_set_id for pull_set_id, _ in shared.values_list("pull_set", "equal")[:MOST_ALIKE]]


def named(pull_set_ids: Collection[int]) -> dict[int, tuple[str, list[float]]]:
    """What each set is called, and its readings as they were pulled.

    By number and day: the sentence is kept, and names of people and sets are not copied into it.
    """
    sets = PullSet.objects.select_related("session").only("session__pulled_on")
    found: dict[int, tuple[str, list[float]]] = {
        pk: (f"set {pk} of {one.session.pulled_on:%Y-%m-%d}", [])
        for pk, one in sets.in_bulk(pull_set_ids).items()
    }
    pulls = Pull.objects.filter(pull_set__in=found, reading_N__isnull=False).order_by("pk")
    for pull_set_id, reading_N in pulls.values_list("pull_set_id", "reading_N"):
        if pull_set_id is not None and reading_N is not None:
            found[pull_set_id][1].append(reading_N)
    return found
