"""Everything the restricted likelihood needs to know of the data, as sums over testers.

Model (k sets): y = X beta + tester + session + set + e, with e ~ N(0, V) and
M = V + s2_tester Z_t Z_t' + s2_session Z_s Z_s' + s2_set I. Testers are independent, so M has one
block a tester and every sum below is a sum of one term a tester; leaving a tester out means
taking its term away.

With U = [X, y] (m columns), K_c = Z_c Z_c' and c, d running over tester, session, set:

    log_determinant   ln|M|                              (T,)
    cross             U' M^-1 U                          (T, m, m)
    trace             tr(M^-1 K_c)                       (T, 3)
    slope             U' M^-1 K_c M^-1 U                 (T, 3, m, m)
    trace_of_pair     tr(M^-1 K_c M^-1 K_d)              (T, 3, 3)
    bend              U' M^-1 K_c M^-1 K_d M^-1 U        (T, 3, 3, m, m), its symmetric part

These are the terms of the score and of the observed and average information: Harville (1977),
J. American Statistical Association 72:320-338; Gilmour, Thompson & Cullis (1995), Biometrics
51:1440-1450.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TESTER, SESSION, SET = 0, 1, 2
LEVELS = ("tester", "session", "set")


@dataclass(frozen=True)
class BlockSums:
    """One term a tester along the first axis, or their totals with one a theta."""

    log_determinant: Floats
    cross: Floats
    trace: Floats
    slope: Floats
    trace_of_pair: Floats
    bend: Floats

    @classmethod
    def stacked(cls, testers: Sequence["BlockSums"]) -> "BlockSums":
        """From sums of single testers without a first axis."""
        return cls(*(np.stack([getattr(t, f.name) for t in testers]) for f in fields(cls)))

    @classmethod
    def joined(cls, parts: Sequence["BlockSums"]) -> "BlockSums":
        """Parts one after the other along the first axis."""
        return cls(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(cls)))

    def repeated(self, times: int) -> "BlockSums":
        """Sums at one theta as if at so many."""
        return BlockSums(*(np.repeat(getattr(self, f.name), times, axis=0) for f in fields(self)))

    def summed(self) -> "BlockSums":
        terms = (getattr(self, f.name) for f in fields(self))
        return BlockSums(*(term.sum(axis=0, keepdims=True) for term in terms))

    @classmethod
    def nothing(cls, g: int, m: int) -> "BlockSums":
        """Sums over no tester, first axis g, for m columns."""
        shapes = ((), (m, m), (3,), (3, m, m), (3, 3), (3, 3, m, m))
        return cls(*(np.zeros((g, *shape)) for shape in shapes))

    def plus(self, other: "BlockSums") -> "BlockSums":
        pairs = ((getattr(self, f.name), getattr(other, f.name)) for f in fields(self))
        return BlockSums(*(term + added for term, added in pairs))

    def without(self, left_out: "BlockSums") -> "BlockSums":
        pairs = ((getattr(self, f.name), getattr(left_out, f.name)) for f in fields(self))
        return BlockSums(*(term - taken for term, taken in pairs))

    def columns(self, first: int) -> "BlockSums":
        """The same sums with the leading columns of U before `first` dropped."""
        keep = slice(first, None)
        return BlockSums(
            self.log_determinant,
            self.cross[:, keep, keep],
            self.trace,
            self.slope[:, :, keep, keep],
            self.trace_of_pair,
            self.bend[:, :, :, keep, keep],
        )


class ErrorModel(Protocol):
    """What a covariance structure must offer to be fitted; U = [X, y] is its own."""

    @property
    def sets(self) -> int: ...

    @property
    def design(self) -> Floats:
        """X, (k, p)."""
        ...

    def totals(self, theta: Floats) -> BlockSums:
        """Sums over all testers at each theta = (s2_tester, s2_session, s2_set), (g, 3), axis g."""
        ...

    def by_tester(self, theta: Floats) -> BlockSums:
        """The same, one term a tester, first axis T."""
        ...

    def blocks(self, theta: Floats) -> Iterator[tuple[NDArray[np.intp], Floats]]:
        """Rows (c, n) and M (c, n, n) of c testers of n sets each, all testers in turn."""
        ...
