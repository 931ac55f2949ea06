"""Compare revisions of a rig: did a change shift its readings?

What was pulled last before a change and first after it, of the same line or the same tie, is
compared by equivalence. It links nothing in the figures: results of two revisions stay apart.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from django.db.models import Q
from django.utils.translation import gettext
from numpy.typing import NDArray

from results.models import Pull
from results.normalising.scales import scale_of
from results.rig_checks.control_charts import Point, Series, series_of
from results.rig_checks.rig_scatter import Kind
from results.statistics.failure_modes import exact_for_assembly, exact_for_line
from rigs.metrology.equivalence import Equivalence, Verdict, equivalence
from rigs.metrology.errors import MetrologyError
from rigs.metrology.validity import LEAST_STRAIGHT_PULLS
from rigs.models import Rig, RigRevision
from rigs.selectors import current_revisions


@dataclass(frozen=True)
class Side:
    """One side of a comparison: loads in newtons of its exact pulls."""

    point: Point
    loads_N: NDArray[np.float64]


@dataclass(frozen=True)
class SeriesPair:
    """The same thing pulled before and after a change, and at which sessions."""

    series: Series
    before: Point
    after: Point

    @property
    def kind(self) -> Kind:
        return self.series.kind


Pulls: TypeAlias = dict[tuple[Kind, int], list[Pull]]


@dataclass(frozen=True)
class Comparison:
    """The same pulled before and after; ``result`` is None, with ``why_not``, if too few parted."""

    series: Series
    before: Side
    after: Side
    result: Equivalence | None
    why_not: str

    @property
    def kind(self) -> Kind:
        return self.series.kind

    @property
    def what(self) -> str:
        """What was pulled, as people say it."""
        return self.series.what


@dataclass(frozen=True)
class Bridge:
    """From one revision to the next: the change, and whether it moved the readings."""

    before: RigRevision
    after: RigRevision
    comparisons: tuple[Comparison, ...]

    @property
    def verdict(self) -> Verdict:
        """'moved' where anything did, 'same' where straight line or a tie is, else not yet."""
        verdicts = {one.result.verdict for one in self.comparisons if one.result}
        decided: tuple[Verdict, ...] = ("moved", "same")
        return next((verdict for verdict in decided if verdict in verdicts), "can't tell yet")

    @property
    def advice(self) -> str:
        """What to pull next; empty once there is a verdict."""
        if self.verdict != "can't tell yet":
            return ""
        if not self.comparisons:
            return gettext(
                "Nothing was pulled both before and after: pull straight line of a spool "
                "from before at least %(least_straight_pulls)s times."
            ) % {"least_straight_pulls": LEAST_STRAIGHT_PULLS}
        more = [one.result.more_pulls for one in self.comparisons if one.result]
        enough = [number for number in more if number is not None]
        if enough:
            return gettext("Pull %(enough)s more of the same on the new revision.") % {
                "enough": min(enough)
            }
        return gettext("The scatter is too large: even fifty more pulls would not be enough.")


def bridges_of(rig: Rig) -> list[Bridge]:
    """A comparison for each change of a rig, the newest first."""
    return bridges_from(series_of(rig), list(current_revisions().filter(rig=rig)))


def bridges_from(series: Sequence[Series], revisions: Sequence[RigRevision]) -> list[Bridge]:
    """The same from all series of a rig and its revisions, oldest first; at most one query."""
    changes = list(pairwise(revisions))
    linked = {change: list(_linked(series, *change)) for change in changes}
    pulls = _pulls_of([pair for pairs in linked.values() for pair in pairs])
    bridges = [
        Bridge(before, after, tuple(_compared(pair, pulls) for pair in linked[before, after]))
        for before, after in changes
    ]
    return bridges[::-1]


def _linked(
    series: Sequence[Series], before: RigRevision, after: RigRevision
) -> Iterator[SeriesPair]:
    """The last session before and the first after of whatever was pulled on both."""
    old = {(one.kind, one.key): one for one in series if one.revision.pk == before.pk}
    for new in series:
        if new.revision.pk == after.pk and (found := old.get((new.kind, new.key))):
            yield SeriesPair(new, found.points[-1], new.points[0])


def _pulls_of(pairs: Sequence[SeriesPair]) -> Pulls:
    """Pulls by kind and id of their baseline or set, in one query."""
    ids: dict[Kind, list[int]] = {"straight line": [], "join": []}
    for pair in pairs:
        ids[pair.kind] += [*pair.before.sources, *pair.after.sources]
    wanted = Q(baseline__in=ids["straight line"]) | Q(pull_set__in=ids["join"])
    pulls: Pulls = defaultdict(list)
    if not any(ids.values()):
        return pulls
    for pull in Pull.objects.filter(wanted).order_by("pk"):
        if pull.baseline_id is not None:
            pulls["straight line", pull.baseline_id].append(pull)
        elif pull.pull_set_id is not None:
            pulls["join", pull.pull_set_id].append(pull)
    return pulls


def _compared(pair: SeriesPair, pulls: Pulls) -> Comparison:
    before, after = (_side(pair.kind, point, pulls) for point in (pair.before, pair.after))
    result, why_not = None, ""
    try:
        result = equivalence(before.loads_N, after.loads_N, scatter=pair.series.scatter)
    except MetrologyError as error:
        why_not = str(error)
    return Comparison(pair.series, before, after, result, why_not)


def _side(kind: Kind, point: Point, pulls: Pulls) -> Side:
    """Exact loads: 'at least' says nothing about a shift."""
    pulled = [pull for source in point.sources for pull in pulls[kind, source]]
    exact_for = exact_for_line if kind == "straight line" else exact_for_assembly
    exact = exact_for([pull.failure_mode for pull in pulled])
    kept = [pull for pull, counts in zip(pulled, exact, strict=True) if counts]
    return Side(point, scale_of(point.session).loads_N(kept))
