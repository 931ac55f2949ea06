"""Repeatability and reproducibility of pulls by several testers, and Mandel's h and k.

ISO 5725-2:2019 (one level at a time, unequal numbers of results allowed, cells with fewer than two
results left out and named); h and k after Mandel as in ASTM E691, their critical values after
Wilrich (2013), AStA Advances in Statistical Analysis 97:1-10.  In that standard's words a tester is
a laboratory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import f as fisher
from scipy.stats import t as student

from results.statistics.errors import NoScatter, TooFewTesters
from results.statistics.groups import FloatArray, grouped


@dataclass(frozen=True)
class Precision:
    """Standard deviations in the unit of the values; arrays (p,) follow ``testers``.

    ``mean`` is over all results, ``mean_of_testers`` over cell averages (h is about that one).
    ``results_per_tester`` is the effective number where the cells differ.  ``between_sd`` is 0
    where the cell averages scatter no more than repeatability lets them.
    """

    testers: tuple[str, ...]
    left_out: tuple[str, ...]
    results: int
    results_per_tester: float
    mean: float
    mean_of_testers: float
    sd_of_averages: float
    repeatability_sd: float
    between_sd: float
    reproducibility_sd: float
    averages: FloatArray
    sds: FloatArray
    sizes: NDArray[np.intp]
    h: FloatArray
    k: FloatArray


def precision(values: ArrayLike, tester: ArrayLike) -> Precision:
    """Repeatability, reproducibility, h and k of values (n,) by ``tester`` (n,), for one level.

    Raises `TooFewTesters` where fewer than two testers have two results, `NoScatter` where no
    tester's results scatter or all averages agree, `NotFinite`, `ShapeMismatch`, `TooFewPulls`.
    """
    cells = grouped(values, tester)
    return precision_of_cells(cells.labels, cells.means, np.sqrt(cells.variances), cells.sizes)


def precision_of_cells(
    testers: tuple[str, ...], averages: FloatArray, sds: FloatArray, sizes: NDArray[np.intp]
) -> Precision:
    """As `precision`, from each cell's average, standard deviation and number of results, (p,)."""
    whole = sizes >= 2
    if whole.sum() < 2:
        raise TooFewTesters(f"{int(whole.sum())} testers have two results or more: 2 are needed")
    label = np.asarray(testers)
    mean, sd, n = averages[whole], sds[whole], sizes[whole].astype(float)
    total, freedom = n.sum(), n - 1.0
    overall = float(n @ mean / total)
    repeatability = float(freedom @ sd**2 / freedom.sum())
    effective = float((total - (n**2).sum() / total) / (n.size - 1))
    mean_square_between = float(n @ (mean - overall) ** 2) / (n.size - 1)
    between = max(0.0, (mean_square_between - repeatability) / effective)
    sd_of_averages = float(mean.std(ddof=1))
    if repeatability <= 0 or sd_of_averages <= 0:
        raise NoScatter("results within testers, or their averages, are all the same")
    return Precision(
        testers=tuple(label[whole].tolist()),
        left_out=tuple(label[~whole].tolist()),
        results=int(total),
        results_per_tester=effective,
        mean=overall,
        mean_of_testers=float(mean.mean()),
        sd_of_averages=sd_of_averages,
        repeatability_sd=float(np.sqrt(repeatability)),
        between_sd=float(np.sqrt(between)),
        reproducibility_sd=float(np.sqrt(between + repeatability)),
        averages=mean,
        sds=sd,
        sizes=sizes[whole],
        h=(mean - mean.mean()) / sd_of_averages,
        k=sd / np.sqrt(repeatability),
    )


def h_critical(testers: int, alpha: float) -> float:
    """|h| that one of p testers exceeds with probability ``alpha``, (p-1) t/sqrt(p (t^2+p-2))."""
    if testers < 3:
        raise TooFewTesters(f"h needs at least 3 testers, got {testers}")
    t = float(student.ppf(1.0 - alpha / 2.0, testers - 2))
    return float((testers - 1) * t / np.sqrt(testers * (t**2 + testers - 2)))


def k_critical(sizes: ArrayLike, alpha: float) -> FloatArray:
    """(p,) k that each tester exceeds with probability ``alpha``, from all cell sizes (p,)."""
    own = np.asarray(sizes, dtype=float) - 1.0
    if own.size < 2 or (own < 1).any():
        raise TooFewTesters("k needs at least 2 testers, each with two results or more")
    return k_critical_by_freedom(own, own.sum() - own, alpha)


def k_critical_by_freedom(own: ArrayLike, rest: ArrayLike, alpha: float) -> FloatArray:
    """k^2 = v F/(v_i F + v - v_i), F the 1 - ``alpha`` quantile on v_i and v - v_i.

    v_i are a cell's ``own`` degrees of freedom, v - v_i the ``rest``; with p equal cells it is
    p/(1 + (p - 1)/F).
    """
    v, others = np.asarray(own, dtype=float), np.asarray(rest, dtype=float)
    quantile = np.asarray(fisher.ppf(1.0 - alpha, v, others), dtype=float)
    k: FloatArray = np.sqrt((v + others) * quantile / (v * quantile + others))
    return k
