"""The scatter of a rig's sessions from day to day, and that of all rigs, which it is shrunk to.

Each rig has a row a kind, which the worker renews with each of its sessions. The prior is fitted to
all rows whenever charts are computed: one query, whose rows and time grow with the rigs (10,000
rigs: two figures each, some ten milliseconds), so nothing is kept that could be out of date.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from results.models import RigScatter
from rigs.metrology.day_to_day import USUAL, Scatter, fit_prior, observed, shrunk_before
from rigs.metrology.errors import MetrologyError
from rigs.models import Rig

Kind: TypeAlias = Literal["straight line", "join"]
KINDS: tuple[Kind, ...] = ("straight line", "join")


@dataclass(frozen=True)
class ScatterHistory:
    """A rig's scatter as it came to be known: by its own sessions alone, and shrunk to all rigs.

    ``places`` are those of the sessions, in order of time, that could be compared with one before
    them, ``factors`` what each showed, ``known`` what was known before each and after the last.
    """

    places: tuple[int, ...]
    factors: tuple[float, ...]
    known: tuple[Scatter, ...]

    @property
    def now(self) -> Scatter:
        """By all sessions."""
        return self.known[-1]

    def before(self, place: int) -> Scatter:
        """By the sessions before one."""
        return self.known[bisect_left(self.places, place)]


def history_of(shown: Mapping[int, Sequence[float]], prior: Scatter) -> ScatterHistory:
    """The history from what the series of a rig show at each session, by place in time.

    Series of one session share its day, so together they count as one comparison.
    """
    places = tuple(sorted(shown))
    factors = tuple(float(np.mean(shown[place])) for place in places)
    return ScatterHistory(places, factors, tuple(shrunk_before(factors, prior)))


def priors() -> dict[Kind, Scatter]:
    """What all rigs scatter by, by kind; the usual where there are too few. One query."""
    rows: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for kind, factor, freedom in RigScatter.objects.values_list(
        "kind", "factor", "degrees_of_freedom"
    ):
        rows[kind].append((factor, freedom))
    return {kind: _prior(rows[kind]) for kind in KINDS}


def _prior(rows: Sequence[tuple[float, float]]) -> Scatter:
    if not rows:
        return USUAL
    try:
        return fit_prior(*np.array(rows).T)
    except MetrologyError:
        return USUAL


def keep(rig: Rig, kind: Kind, history: ScatterHistory) -> None:
    """Renew what all rigs are judged by, in the caller's transaction."""
    if not history.factors:
        return
    own = observed(history.factors)
    RigScatter.objects.update_or_create(
        rig=rig,
        kind=kind,
        defaults={"factor": own.factor, "degrees_of_freedom": own.degrees_of_freedom},
    )
