"""Random effects of few levels, added to the sums of a likelihood that hold their columns.

With B the covariance without them, W = [U, Z] and Z the levels' columns, `BlockSums` over B for W
give the same sums for U over M = B + Z G Z' (Woodbury 1950; Henderson & Searle 1981, SIAM Review
23:53-60): with R = Z'B^-1 Z, H = G^(1/2) (I + G^(1/2) R G^(1/2))^-1 G^(1/2) and
L = I - [0; H] Z'B^-1 W,

    ln|M| = ln|B| + ln|I + G^(1/2) R G^(1/2)|,   W'M^-1 W = W'B^-1 W L,
    W'M^-1 K_c M^-1 W = L' (W'B^-1 K_c B^-1 W) L,
    tr(M^-1 K_c) = tr(B^-1 K_c) - tr(H Z'B^-1 K_c B^-1 Z),

and so on for products of two. Of a factor of the levels itself K = Z_f Z_f', and its sums are
products of parts of W'M^-1 W. All arrays have n sums along the first axis.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import BlockSums
from results.statistics.linear import inverse_and_log_determinant

Floats = NDArray[np.float64]


def shrunken(information: Floats, deviation: Floats) -> tuple[Floats, Floats]:
    """H (n, q, q) and ln|I + G^(1/2) R G^(1/2)| (n,) from R (n, q, q) and sds (n, q)."""
    scaled = information * deviation[:, :, None] * deviation[:, None, :]
    inverted, log_determinant = inverse_and_log_determinant(np.eye(scaled.shape[-1]) + scaled)
    return inverted * deviation[:, :, None] * deviation[:, None, :], log_determinant


def with_levels(
    sums: BlockSums, own: int, factors: Sequence[slice], variances: Floats
) -> BlockSums:
    """The sums of the first `own` columns with the levels' variance in M.

    The other columns of `sums` are the levels', and `factors` says which belong together; each has
    its variance, (n, f). The components come after those of `sums`.
    """
    n, whole = sums.cross.shape[:2]
    sizes = [factor.stop - factor.start for factor in factors]
    deviation = np.repeat(np.sqrt(variances), sizes, axis=1)
    h, log_determinant = shrunken(sums.cross[:, own:, own:], deviation)
    turn = np.broadcast_to(np.eye(whole), (n, whole, whole)).copy()
    turn[:, own:] -= h @ sums.cross[:, own:]
    cross = sums.cross @ turn
    slope = turn.transpose(0, 2, 1)[:, None] @ sums.slope @ turn[:, None]
    known, crossed = sums.slope.shape[1], len(factors)
    trace = np.empty((n, known + crossed))
    pair = np.empty((n, known + crossed, known + crossed))
    slopes = np.empty((n, known + crossed, own, own))
    bend = np.empty((n, known + crossed, known + crossed, own, own))
    slopes[:, :known] = slope[:, :, :own, :own]
    through = h[:, None] @ sums.slope[:, :, own:, own:]
    trace[:, :known] = sums.trace - np.trace(through, axis1=2, axis2=3)
    pair[:, :known, :known] = (
        sums.trace_of_pair
        - 2 * np.einsum("nij,ncdji->ncd", h, sums.bend[:, :, :, own:, own:])
        + np.einsum("ncij,ndji->ncd", through, through)
    )
    into = sums.slope[:, :, own:] @ turn[:, None, :, :own]
    left = turn[:, None, None, :, :own]
    bend[:, :known, :known] = left.swapaxes(-1, -2) @ sums.bend @ left - np.einsum(
        "nciu,nij,ndjv->ncduv", into, h, into, optimize=True
    )
    for j, factor in enumerate(factors):
        here = slice(own + factor.start, own + factor.stop)
        towards = cross[:, here, :own]
        f = known + j
        slopes[:, f] = towards.swapaxes(1, 2) @ towards
        trace[:, f] = np.trace(cross[:, here, here], axis1=1, axis2=2)
        pair[:, :known, f] = np.trace(slope[:, :, here, here], axis1=2, axis2=3)
        pair[:, f, :known] = pair[:, :known, f]
        bend[:, :known, f] = slope[:, :, :own, here] @ towards[:, None]
        bend[:, f, :known] = bend[:, :known, f]
        for i, another in enumerate(factors):
            there = slice(own + another.start, own + another.stop)
            between = cross[:, there, here]
            pair[:, known + i, f] = (between**2).sum(axis=(1, 2))
            bend[:, known + i, f] = cross[:, :own, there] @ between @ towards
    bend = (bend + bend.swapaxes(-1, -2)) / 2
    return BlockSums(
        sums.log_determinant + log_determinant, cross[:, :own, :own], trace, slopes, pair, bend
    )
