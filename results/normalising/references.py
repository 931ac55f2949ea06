"""What a session that counts, or no longer does, changes of the reference lines of its pairs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import QuerySet

from results.models import NormalisedSet, PairReference, PullSet, Session
from results.models.lifecycle import COUNTING
from results.normalising.normalise import straight_line_of
from results.normalising.pair_evidence import (
    ALONE,
    MOST_OTHERS,
    Pair,
    PairEvidence,
    evidence_on,
)
from results.normalising.scales import scale_of
from results.normalising.set_figures import contested_pairs, straight_strengths


def fix_references(session: Session) -> QuerySet[Session]:
    """Fix the reference of each contested pair that this session is the first to count with.

    In the caller's transaction, once the session's sets have come to count or ceased to. Returns
    the sessions to normalise again: those that can't say themselves which line of a pair is the
    weaker, and measured against another than the other sessions now say. Locks: the references of
    the session's pairs, by the ids of the lines, so that of two sessions the later knows of both.
    """
    again: set[int] = set()
    for pair in _pairs_of(session):
        _fix(session, pair)
        known = evidence_on(session, pair)
        early = len(known.first) <= MOST_OTHERS or session.pk <= known.first[-1]
        again |= _measured_otherwise({session.pk, *(known.first if early else ())}, known)
    return Session.objects.filter(pk__in=again)


def _pairs_of(session: Session) -> list[Pair]:
    """The pairs of different lines that a session's sets join, in order."""
    sets = PullSet.objects.filter(session=session, normalised__isnull=False)
    pairs = set(sets.values_list("main_line_id", "leader_line_id"))
    return sorted((main, leader) for main, leader in pairs if leader and main != leader)


def _fix(session: Session, pair: Pair) -> None:
    """Keep what the first session to count measures a contested pair against; lock what is kept."""
    main, leader = pair
    of_pair = {"main_line_id": main, "leader_line_id": leader}
    if PairReference.objects.select_for_update(no_key=True).filter(**of_pair).exists():
        return
    counting = _counting([session.pk], pair)
    if counting and _is_contested(session, [found.pull_set for found in counting], pair):
        line = counting[0].baseline.line_id
        PairReference.objects.get_or_create(**of_pair, defaults={"reference_line_id": line})


def _measured_otherwise(sessions: Iterable[int], known: PairEvidence) -> set[int]:
    """Those of some sessions whose sets of a pair have another reference than they now would.

    All of them pulled under the conditions of which the evidence is.
    """
    pair = known.pair
    by_session: dict[Session, list[NormalisedSet]] = defaultdict(list)
    for found in _counting(sessions, pair):
        by_session[found.pull_set.session].append(found)
    kept = PairReference.objects.filter(main_line=pair[0], leader_line=pair[1])
    fixed = kept.values_list("reference_line_id", flat=True).first()
    otherwise = set()
    for session, sets in by_session.items():
        used = {found.baseline.line_id for found in sets}
        by_others = known.weaker_for(session.pk)
        now = by_others or fixed or min(used)
        noted = by_others is not None and any(ALONE in found.notes for found in sets)
        pull_sets = [found.pull_set for found in sets]
        if (used != {now} or noted) and _is_contested(session, pull_sets, pair):
            otherwise.add(session.pk)
    return otherwise


def _counting(sessions: Iterable[int], pair: Pair) -> list[NormalisedSet]:
    return list(
        NormalisedSet.objects.filter(
            pull_set__session__in=sessions,
            pull_set__state__in=COUNTING,
            pull_set__main_line=pair[0],
            pull_set__leader_line=pair[1],
        )
        .select_related(
            "baseline",
            "pull_set__main_line",
            "pull_set__leader_line",
            "pull_set__session__revision",
        )
        .order_by("pk")
    )


def _is_contested(session: Session, sets: list[PullSet], pair: Pair) -> bool:
    """Whether a session can't say itself which line of a pair is the weaker."""
    scale = scale_of(session)
    straight = straight_line_of(session, sets, scale).straight
    return pair in contested_pairs(sets, straight_strengths(scale, straight))
