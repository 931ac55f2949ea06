"""Which testers of a pool are linked, so that their sets are judged together.

A link is no accusation: clubs share spools and days by design. Two signs of five make one, since
each by itself is common among strangers: the same words about the rig, a spool of the same line by
the same name, the same club on the same day, accounts of the same day, and readings in common.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from django.db.models import Count, Min, Q

from results.models import Baseline, Pull, PullSet, Session
from results.models.lifecycle import COUNTING, State
from rigs.models import Contributor, RigRevision

SIGNS = 2
"""Signs that link two testers; ours, no source."""

RIG_WORDS = ("load_path", "grip_cover", "place", "what_changed", "why")
"""What people write of a rig in words of their own."""

TOGETHER_DAYS = 30
"""Testers whose first sessions came within so many days of each other are new together; ours."""

LEAST_BEFORE = 3
"""So many other testers make a pool one that was there before: as many as a figure needs."""

LEAST_LETTERS = 8
"""Shorter words are the same by chance."""

SHARED_READINGS = 0.8
LEAST_READINGS = 6
"""Such a part of a set's readings, of at least so many, that another set shows too."""


@dataclass(frozen=True)
class History:
    """When a tester came to the store, and how many of their sessions have a set that counts."""

    since: datetime
    accepted: int


class Links:
    """What a session's tester has in common with the ``testers`` of its pools, by pool.

    Read from the store once for all of these pools, when it is first asked for.
    """

    def __init__(self, session: Session, testers: Mapping[int, Collection[int]]) -> None:
        self.session, self.own = session, session.contributor_id
        self.pools = list(testers)
        self.others = {one for of_pool in testers.values() for one in of_pool} - {self.own}

    def linked(self, pool_id: int, testers: Collection[int], signs: int = SIGNS) -> set[int]:
        """The ids of those of ``testers`` with so many ``signs`` in common."""
        readings = self._shared_readings[pool_id]
        return {
            tester
            for tester in set(testers) & self.others
            if self._signs[tester] + (tester in readings) >= signs
        }

    def new_together(self, testers: Collection[int]) -> set[int]:
        """The ids of those of ``testers`` who came to the store about when this tester did.

        By their first session with a set that counts, else by their first. Accounts that share
        nothing and arrive together may be one person's; they are strangers as well, as often. So
        it says only which results are no second, independent one. Empty where fewer than
        ``LEAST_BEFORE`` of the testers came at another time: of a young pool all are new.
        """
        here = self.session.received_at
        if self.own in self.histories:
            here = min(self.histories[self.own].since, here)
        others = set(testers) - {self.own}
        together = {
            tester
            for tester in others
            if abs(self.histories[tester].since - here) <= timedelta(days=TOGETHER_DAYS)
        }
        return together if len(others - together) >= LEAST_BEFORE else set()

    def accepted(self, testers: Collection[int]) -> int:
        """The accepted sessions of the one of ``testers`` who has the fewest, this one left out."""
        found = (self.histories.get(tester) for tester in testers)
        return min(history.accepted if history else 0 for history in found)

    @cached_property
    def histories(self) -> dict[int, History]:
        """Of all the testers, and of the session's own where they have sent one."""
        sessions = Session.objects.filter(contributor__in=[*self.others, self.own]).order_by()
        counts = Q(pull_sets__state__in=COUNTING)
        rows = sessions.values_list("contributor_id").annotate(
            since=Min("received_at", filter=counts),
            first=Min("received_at"),
            accepted=Count("pk", filter=counts & ~Q(pk=self.session.pk), distinct=True),
        )
        return {
            tester: History(since or first, accepted) for tester, since, first, accepted in rows
        }

    @cached_property
    def released(self) -> list[int]:
        """Sets of these pools that somebody has had a second look at."""
        sets = PullSet.objects.filter(normalised__pool__in=self.pools, state=State.RELEASED)
        return list(sets.order_by().values_list("pk", flat=True))

    @cached_property
    def _signs(self) -> Counter[int]:
        counted: Counter[int] = Counter()
        for found in self._each_sign() if self.others else ():
            counted.update(found & self.others)
        return counted

    def _each_sign(self) -> Iterator[set[int]]:
        """Testers by each sign that is the same in every pool."""
        contributor, others = self.session.contributor, self.others
        yield _same_rig_words(self.session, others)
        yield _same_spool(self.session, others)
        if contributor.club_id is not None:
            on_the_day = Session.objects.filter(
                pulled_on=self.session.pulled_on, contributor__in=others
            )
            yield set(
                on_the_day.filter(contributor__club=contributor.club_id).values_list(
                    "contributor_id", flat=True
                )
            )
        joined = Contributor.objects.filter(
            pk__in=others, joined_at__date=contributor.joined_at.date()
        )
        yield set(joined.values_list("pk", flat=True))

    @cached_property
    def _shared_readings(self) -> dict[int, set[int]]:
        """By pool, testers with a set there that shows most of the readings of one of this session.

        One query for both: those of this session are known by their tester.
        """
        of_sets: dict[tuple[int, int, int], Counter[float]] = defaultdict(Counter)
        rows = Pull.objects.filter(
            pull_set__session__contributor__in=[*self.others, self.own],
            pull_set__normalised__pool__in=self.pools,
            reading_N__isnull=False,
        )
        own: dict[int, list[Counter[float]]] = defaultdict(list)
        columns = (
            "pull_set__normalised__pool",
            "pull_set__session__contributor",
            "pull_set__session",
            "pull_set",
            "reading_N",
        )
        sessions: dict[tuple[int, int, int], int] = {}
        for pool_id, tester, session_id, pk, reading_N in rows.order_by().values_list(*columns):
            of_sets[pool_id, tester, pk][reading_N] += 1
            sessions[pool_id, tester, pk] = session_id
        for key, readings in of_sets.items():
            if sessions[key] == self.session.pk:
                own[key[0]].append(readings)
        found: dict[int, set[int]] = defaultdict(set)
        for (pool_id, tester, _), readings in of_sets.items():
            if tester != self.own and any(_mostly_in(readings, one) for one in own[pool_id]):
                found[pool_id].add(tester)
        return found


def _mostly_in(readings: Counter[float], own: Counter[float]) -> bool:
    enough = max(SHARED_READINGS * own.total(), LEAST_READINGS)
    return (own & readings).total() >= enough


def _same_rig_words(session: Session, others: set[int]) -> set[int]:
    own = _words(session.revision)
    if not own:
        return set()
    revisions = RigRevision.objects.filter(rig__owner__in=others).select_related("rig")
    return {one.rig.owner_id for one in revisions if own & _words(one)}


def _words(revision: RigRevision) -> set[str]:
    said = (" ".join(getattr(revision, name).casefold().split()) for name in RIG_WORDS)
    return {words for words in said if len(words) >= LEAST_LETTERS}


def _same_spool(session: Session, others: set[int]) -> set[int]:
    spools = session.baselines.exclude(spool="").values_list("line_id", "spool")
    same = Q()
    for line_id, spool in spools:
        same |= Q(line=line_id, spool__iexact=spool)
    if not same:
        return set()
    found = Baseline.objects.filter(same, session__contributor__in=others)
    return set(found.values_list("session__contributor_id", flat=True))
