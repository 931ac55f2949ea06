"""The parameters of greatest restricted likelihood, and the information on all of them.

The method of Broyden, Fletcher, Goldfarb & Shanno (Nocedal & Wright 2006, Numerical Optimization,
chapter 6) in units in which the curvature is about one, with components that would fall below zero
held there: first with sites roughly at rest, then until steps are noise. The information is found
there by differences of the slopes.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.errors import NoConvergence, NotEstimable
from results.statistics.linear import inverse
from results.statistics.one_stage.propagation import Point, Pulls, Rest, at_rest, started

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]

PARAMETERS = 5
LARGEST_STEP = 0.7  # of ln scale
FARTHEST = 3.0  # of ln scale, from where the search starts
STEPS, HALVINGS = 80, 30
FLATTER = 4.0
LEAST_CURVATURE = 1e-6  # of the greatest
TINY = float(np.finfo(np.float64).tiny)
ROUNDING = 1e-8  # of a log-likelihood, below which the slope alone can tell
DIFFERENCE = 0.02  # step of a difference, in standard errors
OF_LEVELS = np.arange(PARAMETERS) < 3


ROUGH_STEP, OF_STEP, OF_DIFFERENCE = 0.03, 0.003, 0.005
"""The last coarse step, and what rest of the sites may leave of it and of a difference's step."""
CLOSE, CLOSE_GAIN = 1e-8, 1e-11


@dataclass(frozen=True)
class Near:
    """Within a few hundredths of a standard error of the maximum.

    `unit` (5,) is about a standard error of each parameter and `bent` (5, 5) about the curvature of
    ln likelihood in these; `movable` (5,) are the parameters that are fitted.
    """

    rest: Rest
    unit: Floats
    bent: Floats
    movable: Booleans

    @property
    def curvature(self) -> Floats:
        """That of ln likelihood in the parameters themselves, (5, 5)."""
        return self.bent / np.outer(self.unit, self.unit)


@dataclass(frozen=True)
class Maximum:
    """The maximum: the sites at rest there with a flat prior for theta, and with theta `held`.

    `covariance` (6, 6) is of theta, tau2 of tester, session and set, and ln of the scales of joined
    and straight pulls, from the restricted likelihood; zero for components that are zero.
    """

    rest: Rest
    held: Rest
    covariance: Floats


def _vector(point: Point) -> Floats:
    return np.array([*point.tau2, np.log(point.scale_joined), np.log(point.scale_straight)])


def _point(vector: Floats) -> Point:
    return Point(np.maximum(vector[:3], 0.0), float(np.exp(vector[3])), float(np.exp(vector[4])))


def near_maximum(
    pulls: Pulls, start: Point, fitted: Booleans, curvature: Floats | None = None
) -> Near:
    """Close to the maximum over the `fitted` (3,) components and both scales, from a start.

    `curvature` (5, 5) is about that of ln likelihood, as another fit of the same pulls has found.
    Raises NotEstimable where a scale has no maximum within reach, and NoConvergence.
    """
    movable = np.array([*fitted, True, True])
    rest = at_rest(pulls, start, started(pulls, start), None, ROUGH_STEP)
    unit, error = _units(pulls, rest), _error_in_scales(rest)
    search = Search(pulls, unit, movable, OF_STEP * ROUGH_STEP * error, ROUGH_STEP**2)
    bent = np.eye(PARAMETERS) if curvature is None else curvature * np.outer(unit, unit)
    rest, bent = search.ascended(rest, bent)
    return Near(rest, unit, bent, movable)


def maximum(pulls: Pulls, near: Near) -> Maximum:
    """The maximum, from near it. Raises NotEstimable and NoConvergence."""
    rest = at_rest(pulls, near.rest.point, near.rest.states, None, CLOSE)
    rest, _ = Search(pulls, near.unit, near.movable, CLOSE, CLOSE_GAIN).ascended(rest, near.bent)
    free = near.movable & ~(OF_LEVELS & (_vector(rest.point) <= 0))
    held = at_rest(pulls, rest.point, rest.states, rest.solved.theta, CLOSE)
    return _described(pulls, rest, held, free)


def _units(pulls: Pulls, rest: Rest) -> Floats:
    """About a standard error of each parameter (5,)."""
    of_set, _, of_session, of_tester = rest.solved.weight
    levels = [float(weight @ weight) / 2 for weight in (of_tester, of_session, of_set)]
    return np.asarray(1 / np.sqrt([*levels, 1.4 * pulls.joined.pulls, 1.4 * pulls.straight.pulls]))


def _error_in_scales(rest: Rest) -> float:
    """Standard error of theta over the scale of the joined pulls, at most 1."""
    return min(1.0, 1 / (math.sqrt(rest.solved.information) * rest.point.scale_joined))


@dataclass(frozen=True)
class Search:
    """A climb over the `movable` (5,) parameters, in `unit` (5,), with sites at rest within `rest`.

    It ends where a step promises to gain less than `last`, in ln likelihood.
    """

    pulls: Pulls
    unit: Floats
    movable: Booleans
    rest: float
    last: float

    def ascended(self, here: Rest, bent: Floats) -> tuple[Rest, Floats]:
        """The maximum from a start with about the curvature `bent` (5, 5); and that there."""
        start = x = _vector(here.point) / self.unit
        for _ in range(STEPS):
            slope = here.slope * self.unit
            step = self._step(x, slope, bent)
            if step @ slope < self.last:
                return here, bent
            moved, step = self._risen(here, x, step)
            bent = _updated(bent, step, slope - moved.slope * self.unit)
            x, here = x + step, moved
            if (np.abs((x - start) * self.unit)[3:] > FARTHEST).any():
                raise NotEstimable("the pulls set their scatter no bound")
        raise NoConvergence(f"no maximum of the pulls' likelihood in {STEPS} steps")

    def _step(self, x: Floats, slope: Floats, bent: Floats) -> Floats:
        """Newton's step, what would fall below zero stopping there and the others following."""
        free = self.movable & ~(OF_LEVELS & (x <= 0) & (slope <= 0))
        step = np.zeros(PARAMETERS)
        for _ in range(PARAMETERS):
            step[free] = _solved(bent[np.ix_(free, free)], (slope - bent @ (step * ~free))[free])
            leaving = free & OF_LEVELS & (x + step < 0)
            if not leaving.any():
                break
            step[leaving], free = -x[leaving], free & ~leaving
        step = self._within(x, step)
        return step if step @ slope > 0 else self._within(x, np.where(self.movable, slope, 0.0))

    def _within(self, x: Floats, step: Floats) -> Floats:
        largest = np.where(OF_LEVELS, np.inf, LARGEST_STEP / self.unit)
        step = step * min(1.0, float((largest / np.maximum(np.abs(step), TINY)).min()))
        return np.where(OF_LEVELS, np.maximum(step, -x), step)

    def _risen(self, here: Rest, x: Floats, step: Floats) -> tuple[Rest, Floats]:
        """Where a step leads to, halved until the likelihood does not fall."""
        least = here.value - ROUNDING * max(1.0, abs(here.value))
        for _ in range(HALVINGS):
            point = _point((x + step) * self.unit)
            moved = at_rest(self.pulls, point, here.states, None, self.rest)
            if moved.value >= least:
                return moved, step
            step = step / 2
        raise NoConvergence("the pulls' likelihood does not rise along its own slope")


def _solved(bent: Floats, slope: Floats) -> Floats:
    """Newton's step (p,), where curvature is not positive as far as if it were."""
    if not np.isfinite(bent).all():
        raise NoConvergence("the pulls' likelihood has no curvature to follow")
    values, vectors = np.linalg.eigh(bent)
    if not values.size:
        return slope
    size = np.maximum(np.abs(values), LEAST_CURVATURE * np.abs(values).max())
    return np.asarray(vectors @ ((vectors.T @ slope) / np.maximum(size, TINY)))


def _updated(bent: Floats, step: Floats, change: Floats) -> Floats:
    """The curvature after a step that lowered the slope by `change`; less where it did not."""
    if not step @ change > 0:
        return bent / FLATTER
    along = bent @ step
    return np.asarray(
        bent + np.outer(change, change) / (step @ change) - np.outer(along, along) / (step @ along)
    )


def _described(pulls: Pulls, rest: Rest, held: Rest, free: Booleans) -> Maximum:
    """With the covariance, by differences of slopes and of theta."""
    vector, places, unit = _vector(rest.point), np.flatnonzero(free), _units(pulls, rest)
    tolerance = OF_DIFFERENCE * DIFFERENCE * _error_in_scales(rest)
    steps, of_theta = DIFFERENCE * unit, DIFFERENCE / np.sqrt(rest.solved.information)
    information, lean = np.zeros((PARAMETERS, PARAMETERS)), np.zeros(PARAMETERS)
    for place in places.tolist():
        there = vector.copy()
        there[place] += steps[place]
        moved = at_rest(pulls, _point(there), rest.states, None, tolerance)
        information[place] = (rest.slope - moved.slope) / steps[place]
        lean[place] = (moved.solved.theta - rest.solved.theta) / steps[place]
    theta = rest.solved.theta + of_theta
    beside = at_rest(pulls, rest.point, held.states, theta, tolerance)
    steepness = held.solved.pull[3].sum() - beside.solved.pull[3].sum()
    pick = np.ix_(places, places)
    of_rest = np.zeros((PARAMETERS, PARAMETERS))
    of_rest[pick] = inverse((information + information.T)[pick] / 2)
    with_theta = of_rest @ lean
    covariance = np.block(
        [
            [np.array([[of_theta / steepness + lean @ with_theta]]), with_theta[None]],
            [with_theta[:, None], of_rest],
        ]
    )
    return Maximum(rest, held, covariance)
