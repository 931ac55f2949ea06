"""Distributions known by their density on a grid of points."""

import numpy as np
from numpy.typing import NDArray

from results.statistics.errors import NotEstimable

Floats = NDArray[np.float64]

LEAST = 1e-300  # below it a density is none
NOTHING = 1e-4
"""Share of its highest below which a density is left out of the next, finer grid."""


def quantiles_on_grid(at: Floats, density: Floats, probabilities: tuple[float, ...]) -> Floats:
    """Quantiles (k, p) of k distributions with densities (k, m), any factor, at even points (k, m).

    Between two points a density is straight, so that what lies below is a quadratic. Raises
    NotEstimable where a density is not a number or nothing.
    """
    step, rows = np.diff(at[:, :2], axis=1)[:, 0], np.arange(len(at))
    masses = (density[:, 1:] + density[:, :-1]) / 2 * step[:, None]
    below = np.concatenate((np.zeros((len(at), 1)), np.cumsum(masses, axis=1)), axis=1)
    if not (np.isfinite(below).all() and (below[:, -1] > 0).all()):
        raise NotEstimable("a distribution has no density that is a number")
    found = []
    for probability in probabilities:
        sought = probability * below[:, -1]
        place = np.minimum((below <= sought[:, None]).sum(axis=1) - 1, at.shape[1] - 2)
        left = sought - below[rows, place]
        first, last = density[rows, place], density[rows, place + 1]
        root = np.sqrt(np.maximum(first**2 + 2 * left * (last - first) / step, 0.0))
        found.append(at[rows, place] + 2 * left / np.maximum(first + root, LEAST))
    return np.stack(found, axis=1)


def where_dense(at: Floats, density: Floats) -> tuple[Floats, Floats]:
    """Ends (k,) of where k densities (k, m) at points (k, m) are more than nothing."""
    rows, last_point = np.arange(len(at)), at.shape[1] - 1
    kept = density > NOTHING * density.max(axis=1, keepdims=True)
    first, last = kept.argmax(axis=1), last_point - kept[:, ::-1].argmax(axis=1)
    return at[rows, np.maximum(first - 1, 0)], at[rows, np.minimum(last + 1, last_point)]
