"""Two-level random-effects pooling by the named methods, so that any meta-analyst can check us.

y_i = mu + u_i + e_i with independent errors of known variance v_i. Sources: DerSimonian & Laird
(1986), Controlled Clinical Trials 7:177-188; Paule & Mandel (1982), J. Research of the National
Bureau of Standards 87:377-385; Viechtbauer (2005), J. Educational and Behavioral Statistics
30:261-293 (maximum and restricted maximum likelihood); Hartung (1999), Biometrical Journal
41:901-916, and Knapp & Hartung (2003), Statistics in Medicine 22:2693-2710; Viechtbauer (2007),
Statistics in Medicine 26:37-52 (Q-profile interval); Higgins & Thompson (2002), Statistics in
Medicine 21:1539-1558 (I2, H2).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2, norm
from scipy.stats import t as student_t

from results.statistics.errors import (
    NoConvergence,
    NotEstimable,
    NotFinite,
    NotPositive,
    ShapeMismatch,
    TooFewSets,
)
from results.statistics.roots import root_between, root_beyond

Floats = NDArray[np.float64]
Method = Literal["DL", "PM", "REML", "ML"]
Adjustment = Literal["normal", "knapp-hartung"]

LEAST_SETS = 2
GRID = 200


@dataclass(frozen=True)
class TwoLevel:
    """mu with its standard error and 95 percent interval; tau2, I2 (a fraction) and H2.

    `df` is infinite where the interval is normal.
    """

    mu: float
    se: float
    df: float
    ci_low: float
    ci_high: float
    tau2: float
    I2: float
    H2: float

    def prediction_interval(self, df: float) -> tuple[float, float]:
        """mu -+ t sqrt(se^2 + tau2) on df degrees of freedom, normal where df is infinite.

        k - 2: Higgins, Thompson & Spiegelhalter (2009), J. Royal Statistical Society A
        172:137-159, and with the Knapp-Hartung standard error Partlett & Riley (2017), Statistics
        in Medicine 36:301-317. k - 1: IntHout et al. (2016), BMJ Open 6:e010247.
        """
        reach = _quantile(df) * np.sqrt(self.se**2 + self.tau2)
        return float(self.mu - reach), float(self.mu + reach)


@dataclass(frozen=True)
class QProfile:
    """95 percent interval of tau2, and of I2 and H2 at its ends; an end may be zero.

    `empty` says that even tau2 = 0 is too much scatter for the data: both ends are then zero.
    """

    tau2: tuple[float, float]
    I2: tuple[float, float]
    H2: tuple[float, float]
    empty: bool


def pool_two_level(
    y: ArrayLike,
    v: ArrayLike,
    method: Method = "REML",
    adjustment: Adjustment = "knapp-hartung",
) -> TwoLevel:
    """Pool k values y with sampling variances v, both (k,).

    Raises TooFewSets (fewer than two), ShapeMismatch, NotFinite, NotPositive.
    """
    y, v = _checked(y, v)
    tau2 = between_variance(y, v, method)
    w = 1 / (v + tau2)
    mu = float(w @ y / w.sum())
    df = np.inf if adjustment == "normal" else y.size - 1.0
    variance = 1 / w.sum()
    if adjustment == "knapp-hartung":
        variance *= float(w @ (y - mu) ** 2) / (y.size - 1)
    se = float(np.sqrt(variance))
    reach = _quantile(df) * se
    typical = typical_sampling_variance(v)
    return TwoLevel(
        mu, se, df, mu - reach, mu + reach, tau2, tau2 / (tau2 + typical), 1 + tau2 / typical
    )


def cochran_q(y: ArrayLike, v: ArrayLike, tau2: float = 0.0) -> float:
    """Weighted sum of squares about the weighted mean, weights 1/(v + tau2)."""
    y, v = _checked(y, v)
    w = 1 / (v + tau2)
    return float(w @ (y - w @ y / w.sum()) ** 2)


def typical_sampling_variance(v: ArrayLike) -> float:
    """(k-1) sum w / ((sum w)^2 - sum w^2), w = 1/v (Higgins & Thompson 2002, eq. 9).

    Raises TooFewSets below two sets, NotEstimable where one outweighs all others to rounding.
    """
    w = 1 / np.asarray(v, dtype=np.float64)
    if w.size < LEAST_SETS:
        raise TooFewSets(f"a typical variance needs {LEAST_SETS} values; there are {w.size}")
    spare = float(w.sum() ** 2 - w @ w)
    if not spare > 0:
        raise NotEstimable("one value outweighs all others, so no variance is typical")
    return float((w.size - 1) * w.sum() / spare)


def q_profile(y: ArrayLike, v: ArrayLike) -> QProfile:
    """Interval of tau2 by the generalised Q statistic (Viechtbauer 2007): chi-square on k - 1."""
    y, v = _checked(y, v)
    df = y.size - 1
    typical = typical_sampling_variance(v)

    def end(probability: float) -> float:
        point = float(chi2.ppf(probability, df))
        return _root(lambda tau2: cochran_q(y, v, tau2) - point, y, v)

    low, high = end(0.975), end(0.025)
    empty = cochran_q(y, v) < float(chi2.ppf(0.025, df))
    return QProfile(
        (low, high),
        (low / (low + typical), high / (high + typical)),
        (1 + low / typical, 1 + high / typical),
        empty,
    )


def between_variance(y: ArrayLike, v: ArrayLike, method: Method) -> float:
    """tau2 by DerSimonian-Laird, Paule-Mandel, restricted or maximum likelihood, at least zero."""
    y, v = _checked(y, v)
    if method == "DL":
        w = 1 / v
        spare = cochran_q(y, v) - (y.size - 1)
        return max(0.0, float(spare / (w.sum() - w @ w / w.sum())))
    if method == "PM":
        return _root(lambda tau2: cochran_q(y, v, tau2) - (y.size - 1), y, v)
    return _likeliest(y, v, restricted=method == "REML")


def leave_one_out(y: ArrayLike, v: ArrayLike, method: Method = "REML") -> tuple[TwoLevel, ...]:
    """Knapp-Hartung pools of k - 1 values, each value left out in turn."""
    y, v = _checked(y, v)
    kept = ~np.eye(y.size, dtype=bool)
    return tuple(pool_two_level(y[rest], v[rest], method) for rest in kept)


def _checked(y: ArrayLike, v: ArrayLike) -> tuple[Floats, Floats]:
    values, variances = np.asarray(y, dtype=np.float64), np.asarray(v, dtype=np.float64)
    if values.ndim != 1 or values.shape != variances.shape:
        raise ShapeMismatch("y and v must be two lists of one length")
    if values.size < LEAST_SETS:
        raise TooFewSets(f"pooling needs {LEAST_SETS} values; there are {values.size}")
    if not (np.isfinite(values).all() and np.isfinite(variances).all()):
        raise NotFinite("a value or its sampling variance is missing")
    if (variances <= 0).any():
        raise NotPositive("a sampling variance must be above zero")
    return values, variances


def _quantile(df: float) -> float:
    return float(norm.ppf(0.975) if np.isinf(df) else student_t.ppf(0.975, df))


def _root(falling: Callable[[float], float], y: Floats, v: Floats) -> float:
    """Where a falling function of tau2 meets zero; 0 where it starts below."""
    if falling(0.0) <= 0:
        return 0.0
    return root_beyond(falling, 0.0, float(np.var(y) + v.max()))


def _likeliest(y: Floats, v: Floats, *, restricted: bool) -> float:
    """Maximum of the (restricted) likelihood: the best of a grid, then the root of the score."""
    grid = np.concatenate(([0.0], (np.ptp(y) ** 2 + v.min()) * np.geomspace(1e-9, 10, GRID)))
    w = 1 / (v + grid[:, None])
    total = w.sum(axis=1)
    residual = y - (w @ y / total)[:, None]
    loglik = np.log(w).sum(axis=1) - (w * residual**2).sum(axis=1) - restricted * np.log(total)
    score = _score(y, v, grid, restricted=restricted)
    best = int(np.argmax(loglik))
    if best == 0 and score[0] <= 0:
        return 0.0
    first = best if score[best] > 0 else best - 1
    if first + 1 == grid.size:
        raise NoConvergence("the likelihood of tau2 rises however large it is")
    return root_between(
        lambda tau2: float(_score(y, v, np.array([tau2]), restricted=restricted)[0]),
        float(grid[first]),
        float(grid[first + 1]),
    )


def _score(y: Floats, v: Floats, tau2: Floats, *, restricted: bool) -> Floats:
    """Twice the derivative of the log-likelihood by tau2 at each of tau2, mu at its best."""
    w = 1 / (v + tau2[:, None])
    total, square = w.sum(axis=1), (w**2).sum(axis=1)
    residual = y - (w @ y / total)[:, None]
    expected = total - square / total if restricted else total
    return np.asarray((w**2 * residual**2).sum(axis=1) - expected)
