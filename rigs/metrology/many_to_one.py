"""Several sessions compared with one and the same: how far apart they may be by chance together.

Dunnett (1955, J. Am. Stat. Assoc. 50:1096; 1964, Biometrics 20:482): the largest of the Student's t
of m comparisons with one mean, whose error they share. The probability is the one-factor integral
over that error and over the scale, by Gauss's rules.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats
from scipy.special import ndtr

from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues

SHARED_NODES, SCALE_NODES, TRIED = 20, 20, 13


def many_to_one_quantile(
    own: ArrayLike, common: float, degrees_of_freedom: float, level: float = 0.05
) -> float:
    """Two-sided quantile of the largest |t| of m means against one, at ``1 - level`` together.

    ``own`` (m,) and ``common`` are the variances of the means and of that one. Raises TooFewValues,
    NotFinite and NotPositive.
    """
    variances = np.asarray(own, float).ravel()
    if not variances.size:
        raise TooFewValues("found no mean, expected one at least")
    if not np.isfinite([*variances, common, degrees_of_freedom]).all():
        raise NotFinite("a variance or the degrees of freedom are not a finite number")
    if (variances <= 0).any() or common <= 0 or degrees_of_freedom <= 0:
        raise NotPositive("variances and degrees of freedom must be above zero")
    single = float(stats.t.isf(level / 2, degrees_of_freedom))
    if variances.size == 1:
        return single
    apart = float(stats.t.isf(level / (2 * variances.size), degrees_of_freedom))
    tried = np.linspace(single, apart, TRIED)
    beyond = 1 - _within(tried, np.sqrt(common / (variances + common)), degrees_of_freedom)
    return float(np.interp(np.log(level), np.log(beyond)[::-1], tried[::-1]))


def _within(
    quantiles: NDArray[np.float64], loadings: NDArray[np.float64], degrees_of_freedom: float
) -> NDArray[np.float64]:
    """P(all |t| <= q) of each quantile, the t's correlated by products of their loadings."""
    z, z_weights = np.polynomial.hermite_e.hermegauss(SHARED_NODES)
    u, u_weights = np.polynomial.legendre.leggauss(SCALE_NODES)
    scale = np.sqrt(stats.chi2.ppf((u + 1) / 2, degrees_of_freedom) / degrees_of_freedom)
    limits = quantiles[:, None, None] * scale[None, :, None]
    together = np.ones((quantiles.size, scale.size, z.size))
    for loading in loadings:
        left = np.sqrt(1 - loading**2)
        shift = loading * z[None, None, :]
        together *= ndtr((limits + shift) / left) - ndtr((shift - limits) / left)
    return np.asarray(np.einsum("qsz,s,z->q", together, u_weights / 2, z_weights / z_weights.sum()))
