"""Comparing: one's own tying of a join beside everyone else's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from results.members import Members, log_ratios, members_of
from results.models import Pool
from results.pooling import pooled_from
from results.statistics.comparison import (
    Comparison,
    OwnMean,
    ScatterComparison,
    compare,
    compare_scatter,
    own_mean,
    variance_between_testers,
)
from results.statistics.errors import StatisticsError
from results.statistics.planning import (
    SessionPlan,
    difference_told_by_sessions,
    sessions_for_difference,
)
from results.statistics.pooling import Pooled
from results.statistics.scatter import Scatter, ScatterSplit, split_scatter
from rigs.models import Contributor
from rigs.refusals import Conflict

DIFFERENCES = (0.05, 0.10)
"""Differences in efficiency that a tester plans for; common practice, no source."""


@dataclass(frozen=True)
class Plan:
    """Sessions of one's own, in all, that would tell a difference; None with the reason why not."""

    difference: float
    sessions: int | None
    why_not: str = ""


@dataclass(frozen=True)
class Standing:
    """Where a tester stands in a pool. Efficiencies are ratios, intervals at 95 percent.

    ``others`` is the pool without the tester; the difference, the place among testers and the
    scatter are against it. ``told`` is the least difference that the sessions so far would show
    four times in five, and ``told_next`` what they would with one session more.
    """

    own: OwnMean
    own_pulls: int
    own_efficiency: float
    others: Pooled
    comparison: Comparison
    scatter: ScatterComparison
    split: ScatterSplit
    told: float
    told_next: float
    plans: tuple[Plan, ...]

    @property
    def others_efficiency(self) -> float:
        """The pooled efficiency of the others."""
        return float(np.exp(self.others.mu))


def compare_with_pool(contributor: Contributor, pool: Pool) -> Standing:
    """Own tying against the pool without oneself, the same tie only.

    Raises Conflict, saying what is missing, where one has no set in the pool or where the others
    are too few to be pooled.
    """
    return standing_among(members_of(pool.pk), contributor)


def standing_among(members: Members, contributor: Contributor) -> Standing:
    """The same from the sets of the pool, where these are at hand. Raises Conflict likewise."""
    own, others = members.of_tester(contributor.pk), members.without_tester(contributor.pk)
    if not len(own):
        raise Conflict(
            "You have no set that counts in this pool: pull this join on this line pair."
        )
    outcome = pooled_from(others)
    if outcome.pooled is None:
        raise Conflict(f"The others alone can't be pooled: {outcome.no_figure}.")
    return _standing(members, own, outcome.pooled)


def _standing(members: Members, own: Members, others: Pooled) -> Standing:
    mean = _own_mean(members, own, others)
    comparison = compare(
        mean,
        mu=others.mu,
        se=others.se_robust,
        degrees_of_freedom=others.df_satterthwaite,
        tau2_tester=variance_between_testers(
            others.prediction_sd, others.se_model, others.tau2_session, others.tau2_set
        ),
        prediction_freedom=others.prediction_df,
    )
    own_join, own_straight = _scatters(own)
    pool_join, pool_straight = _scatters(members.without_tester(int(own.tester[0])))
    plan = SessionPlan(
        pulls=round(float(own.n_effective.mean())),
        baseline_pulls=round(float(own.baseline_n_effective.mean())),
        cv_join=own_join.cv,
        cv_baseline=own_straight.cv,
        session_sd=float(np.sqrt(others.tau2_session + others.tau2_set)),
    )
    pool_figures = (others.se_robust, others.df_satterthwaite)
    return Standing(
        own=mean,
        own_pulls=int(own.pulls.sum()),
        own_efficiency=float(np.exp(mean.log_ratio)),
        others=others,
        comparison=comparison,
        scatter=compare_scatter(own_join, pool_join),
        split=split_scatter(own_join, own_straight, pool_join, pool_straight),
        told=difference_told_by_sessions(mean.sessions, plan, *pool_figures),
        told_next=difference_told_by_sessions(mean.sessions + 1, plan, *pool_figures),
        plans=tuple(_plan(difference, plan, *pool_figures) for difference in DIFFERENCES),
    )


def _own_mean(members: Members, own: Members, others: Pooled) -> OwnMean:
    """One's own sets at the scatter pooled over all, since five pulls tell a scatter poorly."""
    all_ratios = log_ratios(members)
    mine = np.isin(members.pull_set, own.pull_set)
    return own_mean(
        all_ratios.y[mine],
        all_ratios.own_variance[mine],
        all_ratios.shared_variance[mine],
        own.baseline,
        own.session,
        tau2_session=others.tau2_session,
        tau2_set=others.tau2_set,
    )


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
