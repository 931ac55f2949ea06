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


def fixed_references(session: Session, pairs: Mapping[Pair, int]) -> dict[Pair, int]:
    """The reference line of each pair of which a session can't say which is the weaker.

    By `evidence`; else the one fixed by the first session that counts; else, as in ``pairs``, by
    the session's own pulls.
    """
    known = PairReference.objects.filter(main_line_id__in={main for main, _ in pairs})
    rows = known.values_list("main_line_id", "leader_line_id", "reference_line_id")
    fixed = {(main, leader): line for main, leader, line in rows if (main, leader) in pairs}
    return {**pairs, **fixed, **evidence(session, pairs)}


def evidence(session: Session, pairs: Collection[Pair]) -> dict[Pair, int]:
    """The weaker line of each pair of which others than the session itself say it.

    By other sessions that pulled both in the same state, loaded alike; else by the labels.
    """
    ratios = {pair: _log_ratios(session, pair) for pair in pairs}
    by_others = {
        pair: pair[0] if sum(found) <= 0 else pair[1] for pair, found in ratios.items() if found
    }
    return {**_by_labels(pairs), **by_others}


def _by_labels(pairs: Collection[Pair]) -> dict[Pair, int]:
    lines = Line.objects.filter(pk__in={line for pair in pairs for line in pair})
    label_N = dict(lines.values_list("pk", "label_strength_N"))
    found = {}
    for main, leader in pairs:
        first, second = label_N[main], label_N[leader]
        if first and second and min(first, second) < (1 - NEARLY_EQUAL) * max(first, second):
            found[main, leader] = main if first < second else leader
    return found


def first_sessions(session: Session, pair: Pair) -> list[int]:
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


def _log_ratios(session: Session, pair: Pair) -> list[float]:
    """ln(main over leader) of each of the first other sessions, by their usable pulls."""
    others = [each for each in first_sessions(session, pair) if each != session.pk][:MOST_OTHERS]
    if pair[0] == pair[1] or not others:
        return []
    baselines = usable(Baseline.objects.filter(session__in=others, line__in=pair))
    parted = Pull.objects.filter(
        baseline__in=baselines, failure_mode=Pull.FailureMode.LINE, reading_N__gt=0
    )
    means = {
        (of, line): log
        for of, line, log in parted.values_list("baseline__session", "baseline__line").annotate(
            log=Avg(Ln("reading_N"))
        )
    }
    return [
        means[each, pair[0]] - means[each, pair[1]]
        for each in others
        if {(each, pair[0]), (each, pair[1])} <= means.keys()
    ]
