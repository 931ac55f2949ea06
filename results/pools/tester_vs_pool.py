"""Compare a tester's own sets of a join with everyone else's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from django.utils.translation import gettext

from results.models import Pool
from results.pools.estimate import efficiency_of, pooled_from
from results.pools.pool_data import Members, log_ratios, members_of
from results.pools.selectors import own_sets_waiting
from results.statistics.comparison import (
    Comparison,
    OwnMean,
    ScatterComparison,
    compare,
    compare_scatter,
    own_mean,
    variance_between_testers,
)
from results.statistics.errors import NotEstimable, StatisticsError
from results.statistics.parts import Parts
from results.statistics.planning import (
    SessionPlan,
    difference_detectable_by_sessions,
    sessions_for_difference,
)
from results.statistics.pool_fit import PoolFit
from results.statistics.pooling import Pooled
from results.statistics.scatter import Scatter, ScatterSplit, split_scatter
from results.statistics.shrinking import Shrunken, likely_variances, shrunken_value
from rigs.models import Contributor
from rigs.refusals import Conflict

DIFFERENCES = (0.05, 0.10)
"""Differences in efficiency that a tester plans for; common practice, no source."""


@dataclass(frozen=True)
class Plan:
    """Total own sessions needed to detect a difference; None, with the reason, if impossible."""

    difference: float
    sessions: int | None
    why_not: str = ""


Detection: TypeAlias = tuple[float | None, float | None, tuple[Plan, ...]]
Means: TypeAlias = Callable[[float, float], OwnMean]
"""One's own mean by the variances of sessions and of sets."""


@dataclass(frozen=True)
class TesterVsPool:
    """A tester against a pool. Efficiencies are ratios, intervals at 95 percent.

    ``others`` is the pool without the tester; the difference, the place among testers and the
    scatter are against it. ``detectable`` is the smallest difference that the sessions so far would
    detect with 80 percent power, and ``detectable_next`` the same with one more session. A part
    that can't be computed is None, and ``missing`` says why: 'comparison', 'shrunken', 'scatter',
    'split', 'detectable'. ``planned_by`` is how one pulls a session and the scatters
    that all testers of the pool meet, for planning further ones.
    """

    own: OwnMean
    own_pulls: int
    own_efficiency: float
    others: Pooled
    comparison: Comparison | None
    shrunken: Shrunken | None
    scatter: ScatterComparison | None
    split: ScatterSplit | None
    detectable: float | None
    detectable_next: float | None
    plans: tuple[Plan, ...]
    planned_by: SessionPlan | None
    missing: dict[str, str]

    @property
    def others_efficiency(self) -> float:
        """The pooled efficiency of the others."""
        return float(np.exp(self.others.mu))


def compare_with_pool(contributor: Contributor, pool: Pool) -> TesterVsPool:
    """Own tying against the pool without oneself, the same tie only.

    Own sets that wait for a second look are one's tying as well: who ties unlike the others has
    most reason to compare.

    Raises Conflict, saying what is missing, where one has no set in the pool, where the others
    are too few to be pooled, or where a part can't be computed.
    """
    compared = compare_in_members(
        members_of(pool.pk, also=own_sets_waiting(contributor)), contributor
    )
    if compared.missing:
        raise Conflict(
            gettext("Part of this can't be computed: %(values)s.")
            % {"values": "; ".join(compared.missing.values())}
        )
    return compared


def compare_in_members(members: Members, contributor: Contributor) -> TesterVsPool:
    """The same from the sets of the pool, but that a part may be missing.

    Sets that somebody else tied for the tester are on neither side.

    Raises Conflict where there is nothing to compare.
    """
    own, others = members.tied_by(contributor.pk), members.without_tester(contributor.pk)
    if not len(own) and len(members.of_tester(contributor.pk)):
        raise Conflict(
            gettext("Somebody else tied all your sets of this pool: pull one that you tied.")
        )
    if not len(own):
        raise Conflict(
            gettext("You have no set that counts in this pool: pull this join on this line pair.")
        )
    if not len(others):
        raise Conflict(
            gettext("No one else has pulled this yet: there is nothing to compare with.")
        )
    outcome = pooled_from(others)
    if outcome.pooled is None or outcome.fit is None:
        raise Conflict(
            gettext("The others alone can't be pooled: %(no_figure)s.")
            % {"no_figure": outcome.no_figure}
        )
    try:
        means = _own_means(members, own)
        return _compare(members, own, means, outcome.pooled, outcome.fit)
    except StatisticsError as error:
        raise Conflict(
            gettext("Your own sets can't be averaged: %(error)s.") % {"error": error}
        ) from error


def _compare(
    members: Members, own: Members, means: Means, others: Pooled, fit: PoolFit
) -> TesterVsPool:
    parts = Parts()
    mean = means(others.tau2_session, others.tau2_set)
    nothing: Detection = (None, None, ())
    detectable, detectable_next, plans = parts.take(
        "detectable", lambda: _detection(_session_plan(own, members, others), mean, others), nothing
    )
    return TesterVsPool(
        own=mean,
        own_pulls=int(own.pulls.sum()),
        own_efficiency=float(np.exp(mean.log_ratio)),
        others=others,
        comparison=parts.take("comparison", lambda: _compared(mean, others), None),
        shrunken=parts.take("shrunken", lambda: _shrunken(means, fit), None),
        scatter=parts.take("scatter", lambda: _scatter_compared(members, own), None),
        split=parts.take("split", lambda: _split(members, own), None),
        detectable=detectable,
        detectable_next=detectable_next,
        plans=plans,
        planned_by=Parts().take("plan", lambda: _session_plan(own, members, others), None),
        missing=parts.not_estimable,
    )


def _compared(mean: OwnMean, others: Pooled) -> Comparison:
    ends = (others.ci_low, others.ci_high, others.prediction_low, others.prediction_high)
    if None in map(efficiency_of, ends):
        reasons = [others.not_estimable.get(part) for part in ("interval", "prediction")]
        why = "; ".join(reason for reason in reasons if reason)
        raise NotEstimable(f"the others' figure is not sure enough: {why or 'it has no end'}")
    return compare(
        mean,
        mu=others.mu,
        se=others.se_robust,
        degrees_of_freedom=others.df_satterthwaite,
        tau2_tester=variance_between_testers(
            others.prediction_sd, others.se_model, others.tau2_session, others.tau2_set
        ),
        prediction_freedom=others.prediction_df,
    )


def _scatter_compared(members: Members, own: Members) -> ScatterComparison:
    others = members.without_tester(int(own.tester[0]))
    return compare_scatter(_scatters(own)[0], _scatters(others)[0])


def _split(members: Members, own: Members) -> ScatterSplit:
    others = members.without_tester(int(own.tester[0]))
    return split_scatter(*_scatters(own), *_scatters(others))


def _detection(plan: SessionPlan, mean: OwnMean, others: Pooled) -> Detection:
    """The difference detectable now, with one more session, and what planned differences take."""
    pool_figures = (others.se_robust, others.df_satterthwaite)
    return (
        difference_detectable_by_sessions(mean.sessions, plan, *pool_figures),
        difference_detectable_by_sessions(mean.sessions + 1, plan, *pool_figures),
        tuple(_plan(difference, plan, *pool_figures) for difference in DIFFERENCES),
    )


def _session_plan(own: Members, members: Members, others: Pooled) -> SessionPlan:
    """As many pulls as one's own sets have, at the scatter of all sets of the pool.

    Whatever is planned is planned by this: a handful of own pulls estimates a scatter poorly.
    """
    join, straight = _scatters(members)
    return SessionPlan(
        pulls=max(round(float(own.n_effective.mean())), 1),
        baseline_pulls=max(round(float(own.baseline_n_effective.mean())), 1),
        cv_join=join.cv,
        cv_baseline=straight.cv,
        session_sd=float(np.sqrt(others.tau2_session + others.tau2_set)),
    )


def _own_means(members: Members, own: Members) -> Means:
    """One's own mean by the variances of sessions and of sets.

    At the scatter within sets of all testers: five pulls estimate a scatter poorly. With the error
    of the zero, which more sessions on one calibration don't average out.
    """
    all_ratios = log_ratios(members)
    mine = np.isin(members.pull_set, own.pull_set)
    return lambda tau2_session, tau2_set: own_mean(
        all_ratios.y[mine],
        all_ratios.own_variance[mine],
        all_ratios.shared_variance[mine],
        own.baseline,
        own.session,
        tau2_session=tau2_session,
        tau2_set=tau2_set,
        zero=own.errors,
        scale=own.scale,
    )


def _shrunken(means: Means, fit: PoolFit) -> Shrunken:
    others = likely_variances(fit)
    return shrunken_value(others, [means(*within) for within in others.within.tolist()])


def _scatters(members: Members) -> tuple[Scatter, Scatter]:
    """Scatter of the joins and of the straight line, on their degrees of freedom."""
    ratios = log_ratios(members)
    _, once = np.unique(members.baseline, return_index=True)
    return (
        Scatter(ratios.cv_join, float(members.degrees_of_freedom.sum())),
        Scatter(ratios.cv_baseline, float(members.baseline_degrees_of_freedom[once].sum())),
    )


def _plan(difference: float, plan: SessionPlan, pool_se: float, pool_freedom: float) -> Plan:
    try:
        sessions = sessions_for_difference(difference, plan, pool_se, pool_freedom)
    except StatisticsError as error:
        return Plan(difference, None, str(error))
    return Plan(difference, sessions)
