"""What a scale shows and what is written of it: rounding, heaping, and displays that skip steps.

Readings in steps of the scale are a mixture: some are written to every step, others to the nearest
2, 5, 10 or more of them (Heitjan & Rubin 1991, Annals of Statistics 19:2244, heaped data). The
weights are those of largest likelihood, by EM (Dempster, Laird & Rubin 1977, JRSS B 39:1). Every
chance that two readings are alike is computed from that mixture, so that honest rounding explains
what it explains.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from results.statistics.screening.check import Check, Level

Floats = NDArray[np.float64]

ROUNDED_TO = np.array([1, 2, 5, 10, 20, 25, 50, 100])
PERIOD = 100
ROUNDS = 50

FINE = 1000.0  # steps of scatter

LEAST_READINGS = 12
NEARLY_ALL = 0.95
ALPHA = 0.001
ROUNDED = "rounded readings"
BY_HAND = "common practice, no source: people round, and some displays skip steps"


@dataclass(frozen=True)
class Heaping:
    """``weights`` (8,): the shares of readings written to each step of `ROUNDED_TO`."""

    weights: Floats

    @property
    def density(self) -> Floats:
        """How often a reading falls on steps 0 to 99 (100,), over its share of an even spread."""
        place = np.arange(PERIOD)[:, None]
        on = np.where(place % ROUNDED_TO == 0, ROUNDED_TO * self.weights, 0.0)
        return np.asarray(on.sum(axis=1))

    def chances(self, steps: ArrayLike, mean: float, sd: float) -> Floats:
        """Chance of each of these readings (n,) where loads are normal, in steps of the scale."""
        shown = np.rint(np.asarray(steps, dtype=float))[:, None]
        within = np.diff(
            ndtr((shown[..., None] + ROUNDED_TO[:, None] * [-0.5, 0.5] - mean) / sd), axis=-1
        )[..., 0]
        return np.asarray(np.where(shown % ROUNDED_TO == 0, self.weights * within, 0.0).sum(axis=1))

    def chances_to_agree(self, mean: float, sd: float) -> tuple[float, float]:
        """Chance that two readings show the same step, and that three do.

        On a scale so fine that its steps are next to nothing, from the normal density's square and
        cube: the table of steps would be long, and come to the same.
        """
        if sd > FINE:
            two, three = (float((self.density**power).mean()) for power in (2, 3))
            return two * 0.5 / (sd * np.pi**0.5), three / (2 * np.pi * 3**0.5 * sd**2)
        reach = 6 * sd + PERIOD / 2
        cells = self.chances(np.arange(np.floor(mean - reach), mean + reach + 1), mean, sd)
        return float((cells**2).sum()), float((cells**3).sum())


def heaping(steps: ArrayLike) -> Heaping:
    """How readings (n,) in whole steps are rounded; to single steps where there is none."""
    shown = np.rint(np.asarray(steps, dtype=float)).ravel()
    weights = np.full(ROUNDED_TO.size, 1 / ROUNDED_TO.size)
    if not shown.size:
        return Heaping((ROUNDED_TO == 1).astype(float))
    likelihood = np.where(shown[:, None] % ROUNDED_TO == 0, ROUNDED_TO, 0.0)
    for _ in range(ROUNDS):
        parts = weights * likelihood
        weights = (parts / parts.sum(axis=1, keepdims=True)).mean(axis=0)
    return Heaping(weights)


def effective_step(steps: ArrayLike, nearly_all: float = NEARLY_ALL, alpha: float = ALPHA) -> int:
    """The coarsest step, in steps of the scale, that nearly all readings (n,) are written to.

    1 where chance may have put them there: of readings that spread evenly, one in d lies on every
    d-th step.
    """
    shown = np.rint(np.asarray(steps, dtype=float)).ravel()
    for step in ROUNDED_TO[:0:-1]:
        on = shown % step == 0
        if on.mean() >= nearly_all and float(step) ** -(on.sum() - 1) <= alpha:
            return int(step)
    return 1


def rounded_readings(
    applies_to: str,
    steps: ArrayLike,
    resolution: float,
    unit: str,
    nearly_all: float = NEARLY_ALL,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether readings are rounded to more than a step of the scale, ``resolution`` in ``unit``.

    Honest, so it marks. The figure is the step they are rounded to, in steps of the scale. None
    below twelve readings.
    """
    shown = np.rint(np.asarray(steps, dtype=float)).ravel()
    if shown.size < LEAST_READINGS:
        return None
    step = effective_step(shown, nearly_all, alpha)
    on = int((shown % step == 0).sum())
    return Check(
        ROUNDED,
        applies_to,
        float(step),
        1.0,
        None,
        Level.MARK if step > 1 else Level.NONE,
        f"You seem to round to {step * resolution:g} {unit}, as {on} of {shown.size} readings are: "
        f"give that as the resolution of the rig, which is {resolution:g} {unit} now."
        if step > 1
        else f"Readings go down to the steps of the scale, {resolution:g} {unit}.",
        BY_HAND,
    )
