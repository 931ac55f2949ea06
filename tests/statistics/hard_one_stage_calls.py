"""How the functions of the one-stage model are called with hard inputs."""

from functools import partial
from itertools import product

import numpy as np

from results.statistics.errors import StatisticsError
from results.statistics.one_stage import (
    fits,
    influence,
    lognormal,
    maximum,
    outlasting,
    propagation,
    tree,
    weibull,
)
from results.statistics.one_stage.one_stage import Loads, one_stage
from results.statistics.one_stage.propagation import Point
from tests.statistics.hard_inputs import CVS, LOADS, POOLS
from tests.statistics.pulls_worlds import arguments, as_loads, as_pulls, pull_world

RNG = np.random.default_rng(16)


def _worlds():
    for number, (own, cv, tau, grip) in enumerate(
        product((0.3, 1.0, 1.3), (1e-6, 0.06, 1.0), (0.0, 0.3), (0.0, 0.5))
    ):
        testers, pulls = (2, 3, 4, 6)[number % 4], ((1, 1), (1, 3), (3, 8))[number % 3]
        yield pull_world(
            testers, number, own, (cv, 0.03), (tau, tau / 2, tau), pulls, grip=grip, step_N=1e-6
        )


def _bent(world, number):
    """The world with the loads and endings that are hard on sums."""
    codes, straight, joined = world
    bend = (
        lambda load: load,
        lambda _: 80.0,
        lambda load: load * 10 ** RNG.uniform(-3, 6),
        lambda load: 80.0 + np.finfo(float).eps * (load % 3),
        lambda load: 1e6 * load,
    )[number % 5]
    end = (None, None, "line", "join")[number % 4]
    return (
        codes,
        [(bend(load), what, group) for load, what, group in straight],
        [(bend(load), end or what, group) for load, what, group in joined],
    )


WORLDS = [_bent(world, number) for number, world in enumerate(_worlds())]
WORLDS += [pull_world(testers, testers, own=0.9, pulls=(1, 4)) for testers in (3, 4, 5, 6)]
POINTS = [
    Point(np.square(taus), joined, straight)
    for taus, joined, straight in (
        ((0.05, 0.02, 0.02), 0.06, 0.03),
        ((0.0, 0.0, 0.0), 0.06, 0.03),
        ((1.0, 0.0, 1e-9), 1e-3, 1.0),
        ((1e-6, 3.0, 0.1), 2.0, 1e-4),
    )
]


def _both(world):
    """`Pulls` of a world, with lognormal and with Weibull joined pulls."""
    codes, straight, joined = world
    loads = as_loads(straight, "line"), as_loads(joined, "join")
    return [as_pulls(codes, *loads, weibull=family) for family in (False, True)]


PULLS = [
    pulls
    for world in WORLDS[::2]
    for pulls in _both(world)
    if pulls.straight.number.all() and pulls.tree.tester.size > 2
]


def _rest(pulls, point, theta):
    found = propagation.at_rest(pulls, point, propagation.started(pulls, point), theta, 1e-6)
    return found.value, found.slope


def _near(pulls, tau, scale):
    point = Point(np.full(3, tau**2), scale, scale)
    return maximum.near_maximum(pulls, point, np.array([True, False, False]))


def _maximum(pulls, tau, scale):
    return maximum.maximum(pulls, _near(pulls, tau, scale))


def _maxima():
    for pulls, scale in product(PULLS[-4:], (0.06,)):
        try:
            yield pulls, _maximum(pulls, 0.03, scale)
        except StatisticsError:
            continue


def _solved(codes, variances, tau2, theta):
    y, own, shared, *levels = codes
    found = tree.tree_of(*levels)
    shared = shared[found.order][found.to_baseline]
    there = tree.solve(found, y[found.order], own[found.order] * variances, shared, tau2, theta)
    return there.value, there.scores(), there.middle


def _searched(pulls, world):
    codes, straight, joined = world
    exact = as_pulls(codes, as_loads(straight, "line"), as_loads(joined, "join"))
    return fits.searched(pulls.tree, pulls.joined, exact.straight, exact.joined)


def _fittable():
    for world in WORLDS:
        for pulls in _both(world):
            if pulls.straight.number.all() and pulls.tree.tester.size > 2:
                yield pulls, world


def _groups(make, loads, flags, groups):
    y, exact = np.log(np.asarray(loads, float)), ~np.asarray(flags, bool)
    return vars(make(y, exact, np.arange(y.size) % groups, groups))


ONE_STAGE_CALLS = {
    "one_stage.tree.tree_of": lambda: (
        partial(lambda *codes: tree.tree_of(*codes).order, *pool[3:]) for pool in POOLS
    ),
    "one_stage.tree.solve": lambda: (
        partial(_solved, pool, scale, np.array(tau2), theta)
        for pool, scale, tau2, theta in product(
            POOLS, (1.0, 1e7), ((0.0, 0.0, 0.0), (1.0, 1e-4, 0.01)), (None, -0.3)
        )
        if np.unique(pool[3]).size > 2
    ),
    "one_stage.lognormal.lognormal_pulls": lambda: (
        partial(_groups, lognormal.lognormal_pulls, loads, flags, groups)
        for (loads, flags), groups in product(LOADS, (1, 2))
        if len(loads) >= groups
    ),
    "one_stage.lognormal.pooled_sd": lambda: (
        partial(lognormal.pooled_sd, pulls.straight) for pulls in PULLS
    ),
    "one_stage.weibull.weibull_pulls": lambda: (
        partial(_groups, weibull.weibull_pulls, loads, flags, groups)
        for (loads, flags), groups in product(LOADS, (1, 2))
        if len(loads) >= groups
    ),
    "one_stage.propagation.started": lambda: (
        partial(propagation.started, pulls, point) for pulls, point in product(PULLS, POINTS)
    ),
    "one_stage.propagation.at_rest": lambda: (
        partial(_rest, pulls, point, theta)
        for pulls, point, theta in product(PULLS[::3], POINTS, (None, -0.2))
    ),
    "one_stage.maximum.near_maximum": lambda: (
        partial(lambda *given: _near(*given).rest.value, pulls, tau, scale)
        for pulls, tau, scale in product(PULLS[::4] + PULLS[-2:], (0.0, 0.1), CVS[2:4])
    ),
    "one_stage.maximum.maximum": lambda: (
        partial(lambda *given: _maximum(*given).rest.value, pulls, tau, scale)
        for pulls, tau, scale in product(PULLS[::4] + PULLS[-2:], (0.0, 0.1), CVS[2:4])
    ),
    "one_stage.influence.spread": lambda: (
        partial(influence.spread, pulls.tree, top, np.array([1.0, 0, 0, 0, lean, -lean]))
        for (pulls, top), lean in product(_maxima(), (0.0, 0.01))
    ),
    "one_stage.fits.searched": lambda: (
        partial(lambda *given: _searched(*given).loglik, pulls, world)
        for pulls, world in _fittable()
    ),
    "one_stage.fits.fitted": lambda: (
        partial(lambda *given: fits.fitted(_searched(*given)), pulls, world)
        for pulls, world in _fittable()
    ),
    "one_stage.outlasting.lower_bound": lambda: (
        partial(outlasting.lower_bound, pulls.tree, pulls.joined, pulls.straight)
        for pulls in PULLS[::2]
    ),
    "one_stage.one_stage.one_stage": lambda: (
        *(partial(one_stage, *arguments(world)) for world in WORLDS),
        partial(one_stage, [], [], [], *(Loads([], [], []),) * 3),
    ),
}
