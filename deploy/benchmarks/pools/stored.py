"""Compute of stored pools all that readers, testers and moderators see.

Each trial puts noise on the sets of one pool of the demo league, goes the way of the service, and
is undone.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from django.db import transaction
from django.template.loader import render_to_string

from deploy.benchmarks.pools.draws import NOISE, Draw, noisy
from deploy.benchmarks.pools.trying import Tally, step
from deploy.demo import inside
from deploy.demo.simulate import draw_world
from deploy.demo.trying import WINTER
from results.charts.forest_plot import svg
from results.charts.pool_forest import forest_of
from results.models import NormalisedSet, Pool, PullSet, ReviewCase, StalePool
from results.pools.pool_data import Members, members_of_each
from results.pools.recompute import refresh_pool
from results.pools.tester_vs_pool import compare_with_pool
from results.review.desk.case import case_context
from results.screening.checks import run_checks
from results.screening.evidence import evidence_of
from results.statistics.pool_fit import LEAST_TESTERS
from rigs.models import Contributor


def lay_league() -> None:
    """The demo league's winter, sent and pooled in this process."""
    inside.lay_catalogue()
    for submission in draw_world(np.random.default_rng(WINTER)):
        contributor = inside.settle(submission)
        for session in submission["sessions"]:
            inside.send(contributor, session)
    for pool in Pool.objects.order_by("pk"):
        refresh_pool(pool.pk)


def league() -> dict[int, Members]:
    """The pools of enough testers for a pooled figure, by id."""
    everything = members_of_each(list(Pool.objects.order_by("pk").values_list("pk", flat=True)))
    return {
        pool_id: members
        for pool_id, members in everything.items()
        if np.unique(members.tester).size >= LEAST_TESTERS
    }


def try_stored(seed: int, number: int, pools: dict[int, Members], tally: Tally) -> None:
    """One pool with noise: version, drawing, comparison, screening and the case page."""
    rng = np.random.default_rng((seed, number))
    pool_id = list(pools)[number % len(pools)]
    drawn = Draw("stored", noisy(rng, pools[pool_id], float(rng.choice(NOISE))))
    tally.pools += 1
    with transaction.atomic():
        shake(drawn.members)
        step(tally, drawn.kind, number, "version", lambda: _refresh(pool_id))
        pool = Pool.objects.select_related("current").get(pk=pool_id)
        tally.figures += bool(pool.current and pool.current.figures)
        step(tally, drawn.kind, number, "drawing", lambda: _draw(pool))
        tester = Contributor.objects.get(pk=int(rng.choice(drawn.members.tester)))
        step(tally, drawn.kind, number, "comparison", lambda: compare_with_pool(tester, pool))
        pull_set = PullSet.objects.get(pk=int(rng.choice(drawn.members.pull_set)))
        step(
            tally,
            drawn.kind,
            number,
            "screening",
            lambda: run_checks(evidence_of(pull_set.session)),
        )
        step(tally, drawn.kind, number, "case page", lambda: _case_page(pull_set))
        transaction.set_rollback(True)


def shake(members: Members) -> None:
    """Store the means of the members with their sets."""
    sets = {found.pull_set_id: found for found in _sets_of(members.pull_set.tolist())}
    straight_N = dict(zip(members.baseline.tolist(), members.baseline_mean_N.tolist(), strict=True))
    for pull_set, mean_N in zip(members.pull_set.tolist(), members.mean_N.tolist(), strict=True):
        found = sets[pull_set]
        found.mean_N, found.baseline_mean_N = mean_N, straight_N[found.baseline_id]
        found.efficiency = mean_N / found.baseline_mean_N
    NormalisedSet.objects.bulk_update(sets.values(), ["mean_N", "baseline_mean_N", "efficiency"])


def _sets_of(pull_sets: Sequence[int]) -> list[NormalisedSet]:
    return list(NormalisedSet.objects.filter(pull_set__in=pull_sets))


def _refresh(pool_id: int) -> None:
    """As the worker does it, but that what fails is seen here."""
    StalePool.objects.create(pool_id=pool_id, why="shaken by the benchmark")
    refresh_pool(pool_id)
    assert not StalePool.objects.filter(pool_id=pool_id).exists(), "the pool was not computed"


def _draw(pool: Pool) -> None:
    assert pool.current is not None
    forest = forest_of(pool.current)
    if forest is not None:
        svg(forest)


def _case_page(pull_set: PullSet) -> None:
    case = ReviewCase.objects.get_or_create(pull_set=pull_set)[0]
    context = case_context(case)
    render_to_string("admin/results/reviewcase/case.html", {**context, "opts": ReviewCase._meta})
