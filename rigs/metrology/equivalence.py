"""Do two rounds of straight pulls agree? First against last baseline, or before against after.

Two one-sided tests (Schuirmann 1987) on the ratio of means, taken on the log scale with pooled
scatter: 'same' where the 90 percent interval of the ratio lies within a margin either way,
'moved' where it lies wholly beyond, else "can't tell yet". Rounds of two days differ by the rig's
own scatter from day to day as well (`day_to_day.py`); the degrees of freedom are then those of both
estimates together (Satterthwaite 1946, Biometrics Bulletin 2:110). The margin of 5 percent is
common practice, no source.
"""

from dataclasses import dataclass
from math import exp, log, sqrt
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from rigs.metrology.day_to_day import DAY_TO_DAY_CV, Scatter
from rigs.metrology.errors import NoScatter, NotFinite, NotPositive, TooFewValues

MARGIN = 0.05
LEVEL = 0.05
MOST_MORE_PULLS = 50

Verdict = Literal["same", "moved", "can't tell yet"]


@dataclass(frozen=True)
class Equivalence:
    """Ratio of last to first with its 90 percent interval, and what it says.

    `p_same` is the p value of the two one-sided tests. `more_pulls` is how many further pulls of
    the last round would decide it at the present ratio and scatter: 0 where it is decided, None
    where more than fifty would not.
    """

    verdict: Verdict
    ratio: float
    lower: float
    upper: float
    p_same: float
    more_pulls: int | None


def equivalence(
    first_N: ArrayLike,
    last_N: ArrayLike,
    margin: float = MARGIN,
    scatter: Scatter | None = None,
) -> Equivalence:
    """Compare two rounds of loads in newtons, pulls that parted in the free length.

    ``scatter`` is the rig's from day to day, None where both rounds are of one session. Raises
    TooFewValues (fewer than two a round), NotFinite, NotPositive (a load), and NoScatter where all
    pulls of both rounds are alike.
    """
    first, last = _logs("first", first_N), _logs("last", last_N)
    difference = float(last.mean() - first.mean())
    sd = sqrt((_squares(first) + _squares(last)) / (first.size + last.size - 2))
    if sd == 0:
        raise NoScatter("all pulls of each round are alike: a finer resolution is needed")
    edge = log(1 + margin)
    errors, freedom = _standard_errors(
        sd, first.size, last.size + np.arange(MOST_MORE_PULLS + 1), scatter
    )
    halves = stats.t.isf(LEVEL, freedom) * errors
    half = float(halves[0])
    return Equivalence(
        verdict=_verdict(difference, half, edge),
        ratio=exp(difference),
        lower=exp(difference - half),
        upper=exp(difference + half),
        p_same=float(stats.t.sf((edge - abs(difference)) / errors[0], freedom[0])),
        more_pulls=_more_pulls(abs(abs(difference) - edge), halves),
    )


def _verdict(difference: float, half: float, edge: float) -> Verdict:
    if abs(abs(difference) - edge) < half:
        return "can't tell yet"
    return "same" if abs(difference) < edge else "moved"


def _standard_errors(
    sd: float, n_first: int, n_last: NDArray[np.int64], scatter: Scatter | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Of the difference of logs, and its degrees of freedom, at each number of last pulls."""
    pulls = sd**2 * (1 / n_first + 1 / n_last)
    freedom = (n_first + n_last - 2).astype(float)
    if scatter is None:
        return np.sqrt(pulls), freedom
    total = pulls + 2 * DAY_TO_DAY_CV**2
    freedom = 1 / (1 / scatter.degrees_of_freedom + (pulls / total) ** 2 / freedom)
    return np.sqrt(scatter.factor * total), freedom


def _more_pulls(distance_to_edge: float, half: NDArray[np.float64]) -> int | None:
    """The first number of further pulls whose half width no longer reaches the margin."""
    decided = np.flatnonzero(half <= distance_to_edge)
    return int(decided[0]) if decided.size else None


def _squares(logs: NDArray[np.float64]) -> float:
    return float(((logs - logs.mean()) ** 2).sum())


def _logs(name: str, loads_N: ArrayLike) -> NDArray[np.float64]:
    loads = np.asarray(loads_N, float).ravel()
    if loads.size < 2:
        raise TooFewValues(f"{name} round: found {loads.size} pulls, expected at least two")
    if not np.isfinite(loads).all():
        raise NotFinite(f"{name} round: a load is not a finite number")
    if (loads <= 0).any():
        raise NotPositive(f"{name} round: found {loads.min()} N, expected loads above zero")
    return np.asarray(np.log(loads))
