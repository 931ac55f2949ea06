"""Groups of pulls that scatter around one level each, of whatever family.

A group's level eta (of ln load) has a normal prior from everything else in the pool, its cavity. In
the pool the group is stood in for by a normal, its site; `State` holds what the site is made of.
"""

from typing import Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
State: TypeAlias = tuple[Floats, Floats]
"""Precisions of normals, and these times their means from an origin."""
Normals: TypeAlias = tuple[Floats, Floats]
"""Means and variances (g,), one a group."""

LEAST_PRECISION = 1e-7
"""Of a site, in pulls; less is no information."""


class Groups(Protocol):
    """n pulls in g groups; scale is the sd or the like of ln load within all of them."""

    @property
    def pulls(self) -> int: ...

    def start(self, scale: float) -> State: ...

    def site(self, scale: float, state: State, /) -> Normals: ...

    def renewed(
        self, scale: float, state: State, cavity: Normals, share: float, /
    ) -> tuple[State, float]:
        """A share of the way to what fits the cavities; and how far the whole way is.

        The distance is the greatest change of a normal, in pulls.
        """
        ...

    def outcome(self, scale: float, state: State, cavity: Normals, /) -> tuple[Floats, Floats]:
        """ln of the pulls' probability over that of their site, and its slope in ln scale, (g,)."""
        ...
