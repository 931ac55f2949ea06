"""Positive definite matrices that may be singular to rounding: no function here raises.

Information and covariance matrices of a pool come near singular wherever the data hold little of
what is asked. They are brought to unit diagonal first, which the units of their rows then don't
affect (van der Sluis 1969, Numerische Mathematik 14:14-23), and taken apart by eigenvalues, which
exist for every symmetric matrix of finite numbers. An inverse is not a number where an eigenvalue
is lost to rounding; a root gets a floor under its eigenvalues (Higham 2002, Accuracy and Stability
of Numerical Algorithms, chapters 7 and 10). All other modules of the statistics leave `inv`,
`solve` and `cholesky` alone.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]

ROUNDING = 4 * float(np.finfo(np.float64).eps)
"""Times the size: eigenvalues of a matrix of unit diagonal below this are noise."""


def inverse_and_log_determinant(matrices: Floats) -> tuple[Floats, Floats]:
    """Inverses (..., p, p) and ln determinants (...) of symmetric positive definite matrices.

    Not a number where a matrix is not finite, or not positive definite beyond rounding.
    """
    if matrices.shape[-1] == 1:
        sound = np.isfinite(matrices) & (matrices > 0)
        single = np.where(sound, matrices, np.nan)
        return 1 / single, np.log(single[..., 0, 0])
    size = matrices.shape[-1]
    diagonal = np.einsum("...ii->...i", matrices)
    sound = np.isfinite(matrices).all(axis=(-2, -1)) & (diagonal > 0).all(axis=-1)
    unit = np.sqrt(np.where(sound[..., None], diagonal, 1.0))
    # Two divisions: the product of two units may be below the smallest number.
    scaled = matrices / unit[..., :, None] / unit[..., None, :]
    scaled = np.where(sound[..., None, None], scaled, np.eye(size))
    values, vectors = np.linalg.eigh(scaled)
    sound &= (values > ROUNDING * size).all(axis=-1)
    kept = np.where(sound[..., None], values, np.nan)
    inverted = (vectors / kept[..., None, :]) @ np.swapaxes(vectors, -1, -2)
    inverted = inverted / unit[..., :, None] / unit[..., None, :]
    return inverted, np.log(kept).sum(axis=-1) + 2 * np.log(unit).sum(axis=-1)


def inverse(matrices: Floats) -> Floats:
    """Inverses (..., p, p) alone, as `inverse_and_log_determinant`."""
    return inverse_and_log_determinant(matrices)[0]


def solve_positive(matrix: Floats, right: Floats) -> Floats | None:
    """Solution (p,) of one system; None where the matrix is not positive definite."""
    diagonal = np.diag(matrix)
    if not (np.isfinite(matrix).all() and (diagonal > 0).all()):
        return None
    unit = np.sqrt(diagonal)
    scaled = matrix / unit[:, None] / unit
    try:
        lower = np.linalg.cholesky(scaled)
    except np.linalg.LinAlgError:
        return None
    if np.diag(lower).min() ** 2 <= ROUNDING * unit.size:
        return None
    return np.asarray(np.linalg.solve(scaled, right / unit) / unit, dtype=np.float64)


def solved(matrices: Floats, right: Floats) -> Floats:
    """M^-1 right of finite covariance matrices (..., n, n), by the pseudo-inverse if singular."""
    try:
        found = np.linalg.solve(matrices, right)
    except np.linalg.LinAlgError:
        found = np.linalg.pinv(matrices) @ right
    return np.asarray(found, dtype=np.float64)


def root_and_solved(matrices: Floats, right: Floats) -> tuple[Floats, Floats]:
    """L with L L' = M, and L^-1 right, of finite covariance matrices (c, n, n).

    By Cholesky where all are positive definite. Otherwise from eigenvalues, of which none counts
    as smaller than rounding leaves of the largest.
    """
    try:
        root = np.linalg.cholesky(matrices)
    except np.linalg.LinAlgError:
        values, vectors = np.linalg.eigh(matrices)
        largest = np.abs(values).max(axis=-1, keepdims=True)
        sd = np.sqrt(np.maximum(values, ROUNDING * matrices.shape[-1] * largest))
        lower: Floats = np.asarray(vectors * sd[:, None, :], dtype=np.float64)
        return lower, (np.swapaxes(vectors, -1, -2) @ right) / sd[:, :, None]
    lower = np.asarray(root, dtype=np.float64)
    return lower, solved(lower, right)
