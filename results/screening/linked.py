"""Which testers of a pool are linked, so that their sets are judged together.

A link is no accusation: clubs share spools and days by design. Two signs of five make one, since
each by itself is common among strangers: the same words about the rig, a spool of the same line by
the same name, the same club on the same day, accounts of the same day, and readings in common.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from datetime import datetime, timedelta

from django.db.models import Min, Q

from results.models import Baseline, NormalisedSet, Pull, PullSet, Session
from results.models.lifecycle import COUNTING
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


def linked_testers(
    session: Session, testers: Collection[int], pool_id: int, *, signs: int = SIGNS
) -> set[int]:
    """The ids of those of ``testers`` with so many ``signs`` in common with a session's tester."""
    others = set(testers) - {session.contributor_id}
    counted: Counter[int] = Counter()
    for linked in _signs(session, others, pool_id):
        counted.update(linked & others)
    return {tester for tester, found in counted.items() if found >= signs}


def new_together(session: Session, testers: Collection[int]) -> set[int]:
    """The ids of those of ``testers`` who came to the store about when a session's tester did.

    By their first session with a set that counts, else by their first. Accounts that share nothing
    and arrive together may be one person's; they are strangers as well, as often. So it says only
    which results are no second, independent one. Empty where fewer than ``LEAST_BEFORE`` of the
    testers came at another time: of a young pool all are new.
    """
    own = session.contributor_id
    since = _since({*testers, own})
    here = min(since.get(own, session.received_at), session.received_at)
    together = {
        tester
        for tester in set(testers) - {own}
        if abs(since[tester] - here) <= timedelta(days=TOGETHER_DAYS)
    }
    return together if len(set(testers) - {own} - together) >= LEAST_BEFORE else set()


def _since(testers: Collection[int]) -> dict[int, datetime]:
    """When the first session of each tester was received that counts, or else their first."""
    sessions = Session.objects.filter(contributor__in=list(testers)).order_by()
    rows = sessions.values_list("contributor_id").annotate(
        accepted=Min("received_at", filter=Q(pull_sets__state__in=COUNTING)),
        first=Min("received_at"),
    )
    return {tester: accepted or first for tester, accepted, first in rows}


def _signs(session: Session, others: set[int], pool_id: int) -> Iterator[set[int]]:
    contributor = session.contributor
    yield _same_rig_words(session, others)
    yield _same_spool(session, others)
    if contributor.club_id is not None:
        on_the_day = Session.objects.filter(pulled_on=session.pulled_on, contributor__in=others)
        yield set(
            on_the_day.filter(contributor__club=contributor.club_id).values_list(
                "contributor_id", flat=True
            )
        )
    joined = Contributor.objects.filter(pk__in=others, joined_at__date=contributor.joined_at.date())
    yield set(joined.values_list("pk", flat=True))
    yield _shared_readings(session, others, pool_id)


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


def _shared_readings(session: Session, others: set[int], pool_id: int) -> set[int]:
    """Testers with a set in the pool that shows most of the readings of one of the session's."""
    own = _readings(PullSet.objects.filter(session=session, normalised__pool=pool_id))
    theirs = _readings(
        PullSet.objects.filter(session__contributor__in=others, normalised__pool=pool_id)
    )
    tester_of = dict(
        NormalisedSet.objects.filter(pull_set__in=theirs).values_list(
            "pull_set_id", "pull_set__session__contributor_id"
        )
    )
    return {
        tester_of[pk]
        for pk, readings in theirs.items()
        if any((one & readings).total() >= _enough(one) for one in own.values())
    }


def _enough(readings: Counter[float]) -> float:
    return max(SHARED_READINGS * readings.total(), LEAST_READINGS)


def _readings(sets: Collection[PullSet]) -> dict[int, Counter[float]]:
    found: dict[int, Counter[float]] = {}
    rows = Pull.objects.filter(pull_set__in=sets, reading_N__isnull=False)
    for pull_set_id, reading_N in rows.values_list("pull_set_id", "reading_N"):
        found.setdefault(pull_set_id or 0, Counter())[reading_N or 0.0] += 1
    return found
