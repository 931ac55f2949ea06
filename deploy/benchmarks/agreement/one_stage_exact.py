"""The one-stage model's likelihood without any approximation, for a few testers and sessions.

Random effects of tester, session and set are summed out on grids, one inside the other (the
trapezoid rule, whose error on a bell falls faster than any power of the step), at a cost of a power
of the levels: the check on `results.statistics.one_stage`, which differs from it by some
thousandths of ln likelihood (`tests/statistics/test_one_stage.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import log_ndtr, logsumexp
from scipy.stats import norm

from results.statistics.linear import inverse, solved

Named = dict[str, Any]
Floats = NDArray[np.float64]

POINTS, REACH = 41, 6.5
"""Of a grid, and how far it goes in standard deviations: less than 1e-9 is beyond."""
POINTS_OF_THREE = 25
STEP = 1e-4  # of second differences, in parameters of about one
LEVELS = ("tau_tester", "tau_session", "tau_set")
SOME = 0.005  # a set's tau, where the likelihood is to be lower than without


@dataclass(frozen=True)
class Joined:
    """The joined pulls of a set: ln loads that are exact, and those that are only 'at least'."""

    exact: Floats
    at_least: Floats

    def log_likelihood(self, level: Floats, sd: float) -> Floats:
        """At levels of whatever shape."""
        n = self.exact.size
        found = np.zeros_like(level)
        if n:
            mean = self.exact.mean()
            squares = float(((self.exact - mean) ** 2).sum())
            found -= (squares + n * (mean - level) ** 2) / (2 * sd**2)
            found -= n * (np.log(sd) + np.log(2 * np.pi) / 2)
        for bound in self.at_least:
            found += log_ndtr((level - bound) / sd)
        return found


@dataclass(frozen=True)
class Pulled:
    """Straight pulls (y, exact or not, session number), and sets by tester and session."""

    straight: tuple[Floats, NDArray[np.bool_], NDArray[np.intp]]
    testers: list[list[tuple[int, list[Joined]]]]
    sessions: int

    def log_likelihood(self, x: Floats) -> float:
        """At theta, sd joined, sd straight, tau tester, session and set, and session means."""
        theta, joined, straight, *tau = x[:6]
        means = x[6:]
        y, exact, session = self.straight
        z = (y - means[session]) / straight
        of_line = np.where(exact, norm.logpdf(z) - np.log(straight), log_ndtr(-z)).sum()
        points = POINTS_OF_THREE if tau[2] > 0 else POINTS
        u, v, w = (_grid(each, points) for each in tau)
        found = float(of_line)
        for sessions in self.testers:
            whole = u[1].copy()
            for number, sets in sessions:
                inside = np.zeros((u[0].size, v[0].size)) + v[1]
                level = theta + means[number] + u[0][:, None, None] + v[0][:, None] + w[0]
                for each in sets:
                    inside += logsumexp(each.log_likelihood(level, joined) + w[1], axis=2)
                whole += logsumexp(inside, axis=1)
            found += float(logsumexp(whole))
        return found


def _grid(tau: float, points: int) -> tuple[Floats, Floats]:
    """Points of a normal effect and ln of their weights; the one point zero without scatter."""
    if tau <= 0:
        return np.zeros(1), np.zeros(1)
    z = np.linspace(-REACH, REACH, points)
    return tau * z, norm.logpdf(z) + np.log(z[1] - z[0])


def one_stage_censored(data: Named, expected: Named) -> Named:
    """At the maximum, at a point, and with no random effects."""
    pulled = _pulled(data["pulls"])
    top = _maximum(pulled, ("tau_tester", "tau_session"))
    found = {
        "maximum": _named(top[0], top[1]) | {"u_theta_by_observed_information": top[2]},
        "without_random_effects": _named(*_maximum(pulled, ())[:2]),
    }
    if at := expected.get("at_a_point"):
        x = np.array([at["theta"], at["sd_joined"], at["sd_straight"], *(at[n] for n in LEVELS)])
        x = np.concatenate((x, top[0][6:]))
        found["at_a_point"] = _named(x, pulled.log_likelihood(x))
    return found


def _named(x: Floats, log_likelihood: float) -> Named:
    names = ("theta", "sd_joined", "sd_straight", *LEVELS)
    return {
        "log_likelihood": log_likelihood,
        **dict(zip(names, x[:6].tolist(), strict=True)),
        "session_means": x[6:].tolist(),
    }


def _pulled(rows: list[Named]) -> Pulled:
    lines = [row for row in rows if row["set"] is None]
    sessions = sorted({row["session"] for row in rows})
    tester_of = {row["session"]: row["tester"] for row in rows}
    by_tester: dict[Any, list[tuple[int, list[Joined]]]] = {}
    for number, session in enumerate(sessions):
        mine = [row for row in rows if row["session"] == session and row["set"] is not None]
        sets = [
            Joined(*(_y(row for row in mine if row["set"] == one and row["censored"] is which)
                     for which in (False, True)))
            for one in sorted({row["set"] for row in mine})
        ]  # fmt: skip
        by_tester.setdefault(tester_of[session], []).append((number, sets))
    return Pulled(
        (
            _y(lines),
            np.array([not row["censored"] for row in lines]),
            np.array([sessions.index(row["session"]) for row in lines]),
        ),
        list(by_tester.values()),
        len(sessions),
    )


def _y(rows: Any) -> Floats:
    return np.log(np.array([row["load"] for row in rows], dtype=np.float64))


def _maximum(pulled: Pulled, fitted: tuple[str, ...]) -> tuple[Floats, float, float]:
    """The parameters, ln likelihood and u(theta) there, over scatters, means and `fitted` taus."""
    free = np.array([True, True, True, *(name in fitted for name in LEVELS)])
    free = np.concatenate((free, np.ones(pulled.sessions, dtype=bool)))
    scales = np.concatenate(([False] * 1, [True] * 5, [False] * pulled.sessions))[free]

    def whole(part: Floats) -> Floats:
        x = np.zeros(free.size)
        x[free] = np.where(scales, np.exp(part), part)
        return x

    def below(part: Floats) -> float:
        return -pulled.log_likelihood(whole(part))

    y, _, session = pulled.straight
    means = [y[session == one].mean() for one in range(pulled.sessions)]
    x = np.array([-0.1, 0.06, 0.03, 0.04, 0.04, 0.0, *means])[free]
    part = np.where(scales, np.log(np.where(scales, x, 1.0)), x)
    part = minimize(below, part, method="BFGS", options={"gtol": 1e-3}).x
    part, curvature = _newton(below, part)
    found = whole(part)
    if fitted:
        with_sets = found.copy()
        with_sets[5] = SOME
        if pulled.log_likelihood(with_sets) > -below(part):
            raise ValueError("sets differ in these data: only maxima without that are computed")
    return found, -below(part), float(np.sqrt(inverse(curvature)[0, 0]))


def _newton(below: Callable[[Floats], float], x: Floats) -> tuple[Floats, Floats]:
    """Two of Newton's steps by differences, and the curvature (p, p)."""
    curvature = _curvature(below, x)
    for _ in range(2):
        steps = STEP * np.eye(x.size)
        slope = np.array([(below(x + step) - below(x - step)) / (2 * STEP) for step in steps])
        x = x - solved(curvature, slope[:, None])[:, 0]
    return x, _curvature(below, x)


def _curvature(below: Callable[[Floats], float], x: Floats) -> Floats:
    steps = 10 * STEP * np.eye(x.size)
    forward = np.array([below(x + step) for step in steps])
    backward = np.array([below(x - step) for step in steps])
    here = below(x)
    found = np.diag(forward + backward - 2 * here)
    for one in range(x.size):
        for other in range(one):
            both = below(x + steps[one] + steps[other]) + below(x - steps[one] - steps[other])
            mixed = both - forward[one] - backward[one] - forward[other] - backward[other]
            found[one, other] = found[other, one] = (mixed + 2 * here) / 2
    return np.asarray(found / (10 * STEP) ** 2)
