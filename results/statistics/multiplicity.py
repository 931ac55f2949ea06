"""P values of several questions asked at once."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Step-down adjusted p values (Holm 1979, Scandinavian J. Statistics 6:65-70), same shape (n,).

    An adjusted value at or below 0.05 keeps the chance of any false finding at 5 percent,
    whatever the dependence between the questions.
    """
    values = np.asarray(p, dtype=np.float64)
    order = np.argsort(values)
    stepped = np.maximum.accumulate((values.size - np.arange(values.size)) * values[order])
    adjusted = np.empty_like(values)
    adjusted[order] = np.minimum(stepped, 1)
    return adjusted
