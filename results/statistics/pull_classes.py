"""Single pulls in classes of their load over the mean of their own straight line."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TypeAlias

BIN = 0.025
"""Width of a class, as a share of the mean straight line."""
WIDEST = 2.0
"""Pulls beyond this share are counted with the last class."""

Places: TypeAlias = Mapping[str, Sequence[int]]
"""By failure mode the class of each pull, counted from zero: small enough to keep with each set."""


def places_of(shares: Sequence[float], modes: Sequence[str]) -> dict[str, list[int]]:
    """Shares of the straight line, one a pull, by failure mode as their classes."""
    found: dict[str, list[int]] = defaultdict(list)
    for share, mode in sorted(zip(shares, modes, strict=True)):
        found[mode].append(math.floor(min(max(share, 0.0), WIDEST) / BIN))
    return dict(found)


def distribution(of_sets: Iterable[Places]) -> list[tuple[float, str, int]]:
    """Lower edge of a class, failure mode and number of pulls, of several sets together."""
    together: dict[str, list[int]] = defaultdict(list)
    for places in of_sets:
        for mode, found in places.items():
            together[mode].extend(found)
    return sorted(
        (round(place * BIN, 3), mode, number)
        for mode, found in together.items()
        for place, number in Counter(found).items()
    )
