"""Finite inputs that are hard on sums: one list for each kind of argument."""

import numpy as np

from deploy.benchmarks.pools.draws import KINDS, draw
from results.pools.pool_data import log_ratios
from results.statistics.errors import StatisticsError

RNG = np.random.default_rng(14)


def _loads():
    yield [], []
    yield [80.0], [False]
    for n in (2, 3, 4, 9, 40, 400):
        for loads in (
            np.full(n, 80.0),
            80.0 + (np.arange(n) == 0),
            80 * (1 + np.arange(n) % 3 * np.finfo(float).eps),
            RNG.lognormal(4, 1e-9, n),
            RNG.lognormal(4, 0.06, n),
            RNG.lognormal(4, 3.0, n),
            10 ** RNG.uniform(-3, 6, n),
            np.full(n, 1e-3),
            np.full(n, 1e6),
        ):
            yield loads, np.zeros(n, bool)
            yield loads, np.ones(n, bool)
            yield loads, np.arange(n) % 2 == 1
            yield loads, np.arange(n) >= 3
            yield loads, loads >= np.median(loads)
            yield loads, loads <= np.median(loads)


LOADS = list(_loads())
"""Loads in newtons with flags 'at least'."""

VALUES = [np.asarray(loads, float) for loads, flags in LOADS if not np.any(flags)]
VALUES += [np.log(values) for values in VALUES] + [np.zeros(12), -np.arange(12.0)]
"""Plain numbers, of either sign."""

STEPS = [np.rint(values / 0.5).astype(int) for values in VALUES if np.all(values >= 0)]
STEPS = [steps for steps in STEPS if not steps.size or steps.max() < 10_000]
"""Readings in steps of the scale; more than 10,000 of them no scale shows."""


def _pools():
    for number in range(8 * len(KINDS)):
        if "league" in tuple(KINDS)[number % len(KINDS)]:
            continue
        members = draw(14, number, ()).members
        try:
            ratios = log_ratios(members)
        except StatisticsError:
            continue
        codes = (members.tester, members.session, members.baseline)
        yield (ratios.y, ratios.own_variance, ratios.shared_variance, *codes)


POOLS = list(_pools())
"""Columns as `pool` takes them, of every kind that the benchmark draws."""

POSITIVE = (1e-9, 1e-3, 0.05, 1.0, 3.0, 1e3, 1e6)
CVS = (1e-12, 1e-6, 1e-3, 0.05, 0.5, 3.0, 30.0)
FREEDOM = (1.0, 2.0, 5.5, 40.0, 1e4, 1e7)
SHARES = (1e-9, 0.05, 0.5, 0.95, 1 - 1e-9)
LOGS = (-20.0, -1.0, -1e-12, 0.0, 0.2, 20.0)
