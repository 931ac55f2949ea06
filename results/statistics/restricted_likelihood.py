"""Restricted likelihood of the variance components, its score and its information.

Sources: Patterson & Thompson (1971), Biometrika 58:545-554; Harville (1977), J. American
Statistical Association 72:320-338; Gilmour, Thompson & Cullis (1995), Biometrics 51:1440-1450.
With P = M^-1 - M^-1 X (X'M^-1 X)^-1 X'M^-1 and M = V + sum of s2_c K_c:

    l       = -1/2 ( (k-p) ln 2pi + ln|M| + ln|X'M^-1 X| - ln|X'X| + y'Py )
    score_c =  1/2 ( y'P K_c P y - tr(P K_c) )
    observed_cd = y'P K_c P K_d P y - 1/2 tr(P K_c P K_d);  average_cd = 1/2 y'P K_c P K_d P y

The term ln|X'X| is a constant of the data; with it l equals what R's metafor reports.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import BlockSums
from results.statistics.linear import inverse_and_log_determinant

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RestrictedLikelihood:
    """l at one theta, with beta (p,), its model covariance (p, p), score (3,), informations.

    `observed` and `average` are (3, 3). `misfit` is y'Py and `misfit_slope` (3,) its slope,
    -y'P K_c P y.
    """

    value: float
    beta: Floats
    covariance: Floats
    score: Floats
    observed: Floats
    average: Floats
    misfit: float
    misfit_slope: Floats

    @property
    def expected(self) -> Floats:
        """Fisher information 1/2 tr(P K_c P K_d): the average is the mean of the other two."""
        return 2 * self.average - self.observed


def restricted_likelihoods(
    sums: BlockSums, sets: Floats, log_determinant_design: Floats
) -> list[RestrictedLikelihood]:
    """l and its derivatives from each of g sums over testers, for k sets (g,) and ln|X'X| (g,).

    Not numbers where X'M^-1 X is singular to rounding.
    """
    cross = sums.cross
    covariance, log_determinant = inverse_and_log_determinant(cross[:, :-1, :-1])
    beta = (covariance @ cross[:, :-1, -1:])[:, :, 0]
    residual = np.concatenate((-beta, np.ones((beta.shape[0], 1))), axis=1)
    misfit = np.einsum("ni,nij,nj->n", residual, cross, residual)
    value = -0.5 * (
        (sets - beta.shape[1]) * np.log(2 * np.pi)
        + sums.log_determinant
        + log_determinant
        - log_determinant_design
        + misfit
    )
    score, observed, average = derivatives(sums, covariance, residual)
    slope = -np.einsum("ncij,ni,nj->nc", sums.slope, residual, residual)
    answer = zip(
        value.tolist(),
        beta,
        covariance,
        score,
        observed,
        average,
        misfit.tolist(),
        slope,
        strict=True,
    )
    return [RestrictedLikelihood(*one) for one in answer]


def derivatives(
    sums: BlockSums, covariance: Floats, residual: Floats
) -> tuple[Floats, Floats, Floats]:
    """Score (n, 3), observed and average information (n, 3, 3) of n sets of sums.

    `covariance` (n, p, p) is (X'M^-1 X)^-1 and `residual` (n, p + 1) is (-beta, 1), so that
    U residual = y - X beta.
    """
    leaning = np.einsum("ncij,nj->nci", sums.slope, residual)
    scattered = covariance[:, None] @ sums.slope[:, :, :-1, :-1]
    score = 0.5 * (
        np.einsum("nci,ni->nc", leaning, residual)
        - sums.trace
        + np.trace(scattered, axis1=2, axis2=3)
    )
    towards = leaning[:, :, :-1]
    average = 0.5 * (
        np.einsum("ncdij,ni,nj->ncd", sums.bend, residual, residual)
        - towards @ covariance @ towards.transpose(0, 2, 1)
    )
    expected = 0.5 * (
        sums.trace_of_pair
        - 2 * np.einsum("nij,ncdji->ncd", covariance, sums.bend[:, :, :, :-1, :-1])
        + np.einsum("ncij,ndji->ncd", scattered, scattered)
    )
    return score, 2 * average - expected, average
