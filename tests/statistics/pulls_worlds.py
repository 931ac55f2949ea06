"""Invented pulls with a known truth for the tests of the one-stage model."""

import numpy as np
from scipy.special import gamma

from results.statistics.one_stage.lognormal import lognormal_pulls
from results.statistics.one_stage.one_stage import Loads
from results.statistics.one_stage.propagation import Pulls
from results.statistics.one_stage.tree import tree_of
from results.statistics.one_stage.weibull import weibull_pulls


def _lognormal(rng, mean, cv, n):
    variance = np.log1p(cv**2)
    return mean * np.exp(rng.normal(-variance / 2, np.sqrt(variance), n))


def _weibull(rng, mean, cv, n):
    shape = 1.2 / cv
    for _ in range(50):
        shape *= np.sqrt(gamma(1 + 2 / shape) / gamma(1 + 1 / shape) ** 2 - 1) / cv
    return mean / gamma(1 + 1 / shape) * rng.weibull(shape, n)


def pull_world(
    testers,
    seed,
    own=1.0,
    cvs=(0.06, 0.03),
    taus=(0.04, 0.02, 0.0),
    pulls=(3, 8),
    weibull=False,
    grip=0.05,
    step_N=0.5,
):
    """Pulls of testers from t with 4 degrees of freedom, with 1 to 3 sessions of 1 or 2 sets.

    `own` is the join's own mean strength over that of the line, `cvs` of join and line, `taus` sds
    of tester, session, set, `grip` the share of pulls with a weak grip. Returns codes of tester,
    session, baseline (k,), and straight and joined pulls as lists of (load, what parted, group).
    """
    rng = np.random.default_rng(seed)
    strength = _weibull if weibull else _lognormal
    codes, straight, joined, session = [], [], [], 0
    for tester in range(testers):
        of_tester = rng.standard_t(4) / np.sqrt(2) * taus[0]
        for _ in range(rng.integers(1, 4)):
            of_session, day = rng.normal(0, taus[1]), 100 * np.exp(rng.normal(0, 0.03))
            n = rng.integers(pulls[0], pulls[1] + 1)
            line = _lognormal(rng, day, cvs[1], n)
            straight += _pulled(rng, {"line": line}, day, cvs[1], grip, step_N, session)
            for _ in range(rng.integers(1, 3)):
                level = day * own * np.exp(of_tester + of_session + rng.normal(0, taus[2]))
                n = rng.integers(pulls[0], pulls[1] + 1)
                parts = {
                    "join": strength(rng, level, cvs[0], n),
                    "line": _lognormal(rng, day, cvs[1], n),
                }
                joined += _pulled(rng, parts, day, cvs[1], grip, step_N, len(codes))
                codes.append((tester, session, session))
            session += 1
    return np.array(codes).T, straight, joined


def _pulled(rng, parts, day, cv, grip, step_N, group):
    n = len(next(iter(parts.values())))
    weak = rng.random(n) < grip
    held = rng.uniform(0.85, 0.99, n) * _lognormal(rng, day, cv, n)
    loads = np.stack([*parts.values(), np.where(weak, held, np.inf)])
    names = [*parts, "grip"]
    rounded = np.rint(loads.min(axis=0) / step_N) * step_N
    return [
        (load, names[place], group)
        for load, place in zip(rounded, loads.argmin(axis=0), strict=True)
    ]


def as_loads(pulled, *exact):
    """Loads of which those are exact that parted at one of the places named."""
    load, parted, group = zip(*pulled, strict=True)
    return Loads(np.array(load), np.isin(parted, exact), np.array(group))


def arguments(world):
    """As `one_stage` takes them."""
    codes, straight, joined = world
    return (
        *codes,
        as_loads(straight, "line"),
        as_loads(joined, "join", "line"),
        as_loads(joined, "join"),
    )


def as_pulls(codes, straight, joined, weibull=False):
    """`Pulls` of Loads."""
    tree = tree_of(*codes)
    baseline = np.searchsorted(tree.baseline, straight.group)  # sorted in these worlds
    group = np.argsort(tree.order)[joined.group]
    of_joined = weibull_pulls if weibull else lognormal_pulls
    return Pulls(
        tree,
        of_joined(np.log(joined.load_N), joined.exact, group, tree.sets),
        lognormal_pulls(np.log(straight.load_N), straight.exact, baseline, tree.baseline.size),
    )
