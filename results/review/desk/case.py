"""One case on the moderator's desk: everything there is to see before deciding."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import structlog
from django.db.models import Q
from django.template.defaultfilters import floatformat
from django.utils.translation import gettext

from results.models import CheckResult, Message, NormalisedSet, Pull, PullSet, ReviewCase, Session
from results.models.declared.holds import SPEAKS_FOR
from results.models.lifecycle import COUNTING, State
from results.normalising.scales import scale_of
from results.pools.estimate import Outcome, efficiency_of
from results.pools.influence import with_and_without
from results.review.decisions import version_of
from results.review.desk import case_charts
from results.review.desk.case_record import (
    earlier_decisions_of,
    earlier_sessions_of,
    others_of_session,
    straight_line_of,
)
from results.review.moved import moved_by
from results.review.selectors import check_results_of, thread_of

log = structlog.get_logger(__name__)

PARTED_IN_THE_LINE = frozenset({Pull.FailureMode.LINE})
THE_JOIN_GAVE_WAY = frozenset({Pull.FailureMode.JOIN, Pull.FailureMode.SLIP})
"""How pulls end whose load is the strength itself, of straight line and of a join."""


@dataclass(frozen=True)
class PooledFigure:
    """A pooled efficiency in percent with its interval, or why there is none."""

    heading: str
    figure: str


def case_context(case: ReviewCase) -> dict[str, Any]:
    """What the screen of a case shows: evidence, pictures, figures with and without, thread."""
    pull_set = case.pull_set
    checks = list(check_results_of(pull_set))
    normalised = (
        NormalisedSet.objects.filter(pull_set=pull_set)
        .select_related(
            "pool__connection",
            "baseline__line",
            "baseline__session__revision",
            "calibration",
        )
        .first()
    )
    context = {
        "case": case,
        "pull_set": pull_set,
        "version": version_of(pull_set),
        "fired": [check for check in checks if check.level != CheckResult.Level.NONE],
        "for_it": [check for check in checks if check.name == SPEAKS_FOR],
        "quiet": [
            check
            for check in checks
            if check.level == CheckResult.Level.NONE and check.name != SPEAKS_FOR
        ],
        **_past_of(pull_set),
        "pulls": pull_set.pulls.order_by("pk"),
        "straight_line": straight_line_of(pull_set),
        "earlier_decisions": earlier_decisions_of(pull_set),
        "others_of_session": others_of_session(pull_set),
        "earlier_sessions": earlier_sessions_of(pull_set),
        "normalised": normalised,
    }
    return context | (_figures(pull_set, normalised) if normalised else {})


def _past_of(pull_set: PullSet) -> dict[str, Any]:
    """Changes of state, and what was written; a decision's letter is the reason of its change."""
    history = list(pull_set.state_changes.select_related("by__contributor").order_by("pk"))
    reasons = {change.reason for change in history}
    thread = [
        message
        for message in thread_of(pull_set)
        if message.kind != Message.Kind.DECISION or message.text not in reasons
    ]
    return {"history": history, "thread": thread}


def _figures(pull_set: PullSet, normalised: NormalisedSet) -> dict[str, Any]:
    """The pool with and without the set, and the pictures.

    Whatever stops a pool from being computed, the case has to stay open for a decision: then it
    says so, and shows the pulls all the same. A set that was withdrawn moves no pool.
    """
    withdrawn = pull_set.state == State.WITHDRAWN
    both = None
    if not withdrawn:
        try:
            both = with_and_without(normalised)
        except Exception:
            log.exception("a case's pool could not be computed", pull_set=pull_set.pk)
    return {
        "no_pool": both is None and not withdrawn,
        "pooled": [
            PooledFigure(gettext("with this set"), _figure(both.with_it)),
            PooledFigure(gettext("without it"), _figure(both.without_it)),
        ]
        if both
        else [],
        "moved_by": "" if withdrawn else moved_by(both.shift if both else None),
        "efficiency_percent": 100 * normalised.efficiency,
        "pulls_picture": case_charts.pulls(
            _series(pull_set, normalised, both.without_it if both else None)
        ),
        "straight_picture": case_charts.straight_line(_straight_by_day(normalised)),
    }


def _figure(outcome: Outcome) -> str:
    if outcome.pooled is None:
        return outcome.no_figure
    pooled = outcome.pooled
    low, high = efficiency_of(pooled.ci_low), efficiency_of(pooled.ci_high)
    interval = (
        gettext("interval not estimable: %(why)s")
        % {"why": pooled.not_estimable.get("interval", gettext("it is open at one end"))}
        if low is None or high is None
        else gettext("%(low)s to %(high)s")
        % {"low": floatformat(100 * low, 1), "high": floatformat(100 * high, 1)}
    )
    return gettext("%(efficiency)s percent (%(interval)s), %(testers)s testers") % {
        "efficiency": floatformat(100 * math.exp(pooled.mu), 1),
        "interval": interval,
        "testers": pooled.testers,
    }


def _series(
    pull_set: PullSet, normalised: NormalisedSet, without: Outcome | None
) -> list[case_charts.Series]:
    """The straight line, the set, other sets and the pool, in percent of the set's straight line.

    A pull that something else ended before the join gave way is at least its value.
    """
    straight, percent = normalised.baseline, _percent_of(normalised.baseline_mean_N)
    own, others = _efficiencies(normalised, own=True), _efficiencies(normalised, own=False)
    pooled = without.pooled if without else None
    ends = (efficiency_of(pooled.ci_low), efficiency_of(pooled.ci_high)) if pooled else (None, None)
    low, high = ends
    interval = None if low is None or high is None else (100 * low, 100 * high)
    mean = [(100 * math.exp(pooled.mu), True)] if pooled else []
    return [
        case_charts.Series(
            case_charts.STRAIGHT_PULLS,
            "straight",
            percent(straight.session, straight.pulls, PARTED_IN_THE_LINE),
        ),
        case_charts.Series(
            case_charts.THIS_SET,
            "own",
            percent(pull_set.session, pull_set.pulls, THE_JOIN_GAVE_WAY),
        ),
        case_charts.Series(case_charts.OWN_SETS, "same", own),
        case_charts.Series(case_charts.OTHERS, "others", others),
        case_charts.Series(case_charts.POOL, "pool", mean, interval),
    ]


def _percent_of(straight_N: float) -> Callable[..., list[tuple[float, bool]]]:
    def percent(
        session: Session, pulls: Any, exact: frozenset[Pull.FailureMode]
    ) -> list[tuple[float, bool]]:
        read = list(pulls.exclude(failure_mode=Pull.FailureMode.VOID).order_by("pk"))
        return [
            (100 * float(load_N) / straight_N, pull.failure_mode in exact)
            for load_N, pull in zip(scale_of(session).loads_N(read), read, strict=True)
        ]

    return percent


def _efficiencies(normalised: NormalisedSet, *, own: bool) -> list[tuple[float, bool]]:
    """Of the other sets that count in the pool, in percent."""
    tester = normalised.pull_set.session.contributor_id
    others = NormalisedSet.objects.filter(
        pool=normalised.pool_id, pull_set__state__in=COUNTING
    ).exclude(pk=normalised.pk)
    if own:
        others = others.filter(pull_set__session__contributor=tester)
    else:
        others = others.exclude(pull_set__session__contributor=tester)
    return [(100 * value, True) for value in others.values_list("efficiency", flat=True)]


def _straight_by_day(normalised: NormalisedSet) -> list[case_charts.StraightMean]:
    """Means of the same line, wet or dry alike: on this revision, and in other testers' hands.

    This session's beside those of sets that count.
    """
    session = normalised.pull_set.session
    rows = (
        NormalisedSet.objects.filter(
            Q(pull_set__state__in=COUNTING) | Q(baseline=normalised.baseline_id),
            baseline__line=normalised.baseline.line_id,
            pull_set__session__state=session.state,
            pull_set__session__standing=session.Standing.CURRENT,
        )
        .values_list(
            "baseline_id",
            "pull_set__session__pulled_on",
            "pull_set__session__revision_id",
            "baseline_mean_N",
        )
        .order_by("pull_set__session__pulled_on", "baseline_id")
        .distinct()
    )
    return [
        case_charts.StraightMean(day, mean_N, _whose(normalised, baseline_id, revision_id))
        for baseline_id, day, revision_id, mean_N in rows
    ]


def _whose(normalised: NormalisedSet, baseline_id: int, revision_id: int) -> str:
    if baseline_id == normalised.baseline_id:
        return case_charts.THIS_SESSION
    if revision_id == normalised.pull_set.session.revision_id:
        return case_charts.SAME_RIG
    return case_charts.OTHER_RIGS
