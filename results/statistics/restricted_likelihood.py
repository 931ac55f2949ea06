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

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RestrictedLikelihood:
    """l at one theta, with beta (p,), its model covariance (p, p), score (3,), informations."""

    value: float
    beta: Floats
    covariance: Floats
    score: Floats
    observed: Floats
    average: Floats

    @property
    def expected(self) -> Floats:
        """Fisher information 1/2 tr(P K_c P K_d), (3, 3): the average is the mean of the two."""
        return 2 * self.average - self.observed


def restricted_likelihood(
    total: BlockSums, sets: int, log_determinant_design: float
) -> RestrictedLikelihood:
    """l and its derivatives from the sums over all testers, for k sets and ln|X'X|."""
    cross, slope, bend = total.cross[0], total.slope[0], total.bend[0]
    covariance = np.linalg.inv(cross[:-1, :-1])
    beta = covariance @ cross[:-1, -1]
    residual = np.append(-beta, 1.0)
    quadratic = residual @ cross @ residual
    p = beta.size
    value = -0.5 * (
        (sets - p) * np.log(2 * np.pi)
        + total.log_determinant[0]
        - np.linalg.slogdet(covariance)[1]
        - log_determinant_design
        + quadratic
    )
    leaning = slope @ residual
    scattered = covariance @ slope[:, :-1, :-1]
    score = 0.5 * (leaning @ residual - total.trace[0] + np.trace(scattered, axis1=1, axis2=2))
    twice_average = (bend @ residual) @ residual - (
        leaning[:, :-1] @ covariance @ leaning[:, :-1].T
    )
    bent = np.einsum("ij,cdji->cd", covariance, bend[:, :, :-1, :-1])
    twice_expected = (
        total.trace_of_pair[0] - 2 * bent + np.einsum("cij,dji->cd", scattered, scattered)
    )
    return RestrictedLikelihood(
        float(value),
        beta,
        covariance,
        score,
        twice_average - twice_expected / 2,
        twice_average / 2,
    )
