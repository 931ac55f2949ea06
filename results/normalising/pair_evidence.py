"""Which line of a pair is the weaker, by the straight line of other sessions.

A session's own pulls decide only where they say so clearly (`results/statistics/apart.py`).
Otherwise the line is taken that is weaker in the other sessions that pulled both: their scatter is
not the session's own, so the choice makes no efficiency too high or too low. Only the first ten
are asked, so that what is known of a pair settles. Readings do: a gain cancels in their ratio, and
so does a zero error where the lines part alike. Where no other session pulled the pair, the labels
decide if they differ: they know nothing of the session's scatter either.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from django.db.models import Avg
from django.db.models.functions import Ln

from results.models import Baseline, PairReference, Pull, Session
from results.models.lifecycle import COUNTING
from results.normalising.usable_straight import usable
from results.statistics.apart import NEARLY_EQUAL
from rigs.models import Line

Pair: TypeAlias = tuple[int, int]
"""Ids of main and leader line."""

ALONE = (
    "Which of its two lines is the weaker is known from this session's pulls alone. If they are "
    "equal, the efficiency is too high: on average by 1.7 percent where four pulls of each scatter "
    "by 6 percent, by 2.8 where they scatter by 10."
)
"""Simulated (20,000 worlds): the line that parted lower by chance is what joins are measured by."""
MOST_OTHERS = 10
"""Sessions that a pair's reference line is decided by."""


@dataclass(frozen=True)
class PairEvidence:
    """What is known of a pair under some conditions, apart from what a session pulled itself.

    ``first`` are the ids of the first sessions that pulled both and count, ``log_ratios`` those of
    main over leader by session, ``by_labels`` the weaker line by the labels, where they differ.
    """

    pair: Pair
    first: list[int]
    log_ratios: dict[int, float]
    by_labels: int | None

    def weaker_for(self, session_id: int) -> int | None:
        """The weaker line by the sessions that are not this one; else by the labels."""
        others = [each for each in self.first if each != session_id][:MOST_OTHERS]
        found = [self.log_ratios[each] for each in others if each in self.log_ratios]
        if not found:
            return self.by_labels
        return self.pair[0] if sum(found) <= 0 else self.pair[1]


def fixed_references(pairs: Mapping[Pair, int], known: Mapping[Pair, int]) -> dict[Pair, int]:
    """The reference line of each pair of which a session can't say which is the weaker.

    By the evidence that is ``known``; else the one fixed by the first session that counts; else, as
    in ``pairs``, by the session's own pulls.
    """
    kept = PairReference.objects.filter(main_line_id__in={main for main, _ in pairs})
    rows = kept.values_list("main_line_id", "leader_line_id", "reference_line_id")
    fixed = {(main, leader): line for main, leader, line in rows if (main, leader) in pairs}
    return {**pairs, **fixed, **known}


def evidence(session: Session, pairs: Collection[Pair]) -> dict[Pair, int]:
    """The weaker line of each pair of which others than the session itself say it.

    By other sessions that pulled both in the same state, loaded alike; else by the labels.
    """
    weaker = {pair: evidence_on(session, pair).weaker_for(session.pk) for pair in pairs}
    return {pair: line for pair, line in weaker.items() if line is not None}


def evidence_on(session: Session, pair: Pair) -> PairEvidence:
    """What is known of a pair under the conditions of a session, for it and for every other."""
    first = _first_sessions(session, pair)
    return PairEvidence(pair, first, _log_ratios(first, pair), _by_labels(pair))


def _by_labels(pair: Pair) -> int | None:
    label_N = dict(Line.objects.filter(pk__in=pair).values_list("pk", "label_strength_N"))
    main, leader = (label_N[line] for line in pair)
    if main and leader and min(main, leader) < (1 - NEARLY_EQUAL) * max(main, leader):
        return pair[0] if main < leader else pair[1]
    return None


def _first_sessions(session: Session, pair: Pair) -> list[int]:
    """Ids of the first that pulled both lines of a pair under the same conditions and count.

    One more than are asked, since no session is asked about itself.
    """
    counting = Session.objects.filter(pull_sets__state__in=COUNTING)
    both = (
        Session.objects.filter(
            pk__in=counting,
            standing=Session.Standing.CURRENT,
            state=session.state,
            loading=session.loading,
        )
        .filter(baselines__line=pair[0])
        .filter(baselines__line=pair[1])
    )
    ids = both.order_by("pk").values_list("pk", flat=True).distinct()
    return list(ids[: MOST_OTHERS + 1])


def _log_ratios(sessions: Collection[int], pair: Pair) -> dict[int, float]:
    """ln(main over leader) of each session that has usable pulls of both lines."""
    if pair[0] == pair[1] or not sessions:
        return {}
    baselines = usable(Baseline.objects.filter(session__in=sessions, line__in=pair))
    parted = Pull.objects.filter(
        baseline__in=baselines, failure_mode=Pull.FailureMode.LINE, reading_N__gt=0
    )
    means = {
        (of, line): log
        for of, line, log in parted.values_list("baseline__session", "baseline__line").annotate(
            log=Avg(Ln("reading_N"))
        )
    }
    return {
        each: means[each, pair[0]] - means[each, pair[1]]
        for each in sessions
        if {(each, pair[0]), (each, pair[1])} <= means.keys()
    }
