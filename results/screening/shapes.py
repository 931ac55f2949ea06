"""Near copies of a session's series among all that came before: looked for by stored shapes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Abs

from results.models import Baseline, Pull, PullSet, SeriesShape, Session
from results.models.lifecycle import State
from results.screening.first_come import Versions
from results.statistics.screening.near_copies import (
    Shape,
    log_chances_alike,
    shape_of,
    written_step,
)

MOST_CANDIDATES = 300
"""Series of a like shape, the nearest, whose readings are looked at; ours, no source."""

AT_ONCE = 50
"""Sessions from before there were shapes that one sweep gives them."""


@dataclass(frozen=True)
class Series:
    """Readings in newtons of one set or one baseline, with its session and the step of its rig."""

    session_id: int
    pull_set_id: int | None
    baseline_id: int | None
    pool_id: int | None
    step_N: float
    readings_N: list[float]

    @property
    def name(self) -> str:
        """By number, since the sentence is kept."""
        if self.pull_set_id is not None:
            return f"set {self.pull_set_id} of session {self.session_id}"
        return f"straight line {self.baseline_id} of session {self.session_id}"


@dataclass(frozen=True)
class Near:
    """A series of the session that is near another one, and by what chance among how many."""

    own: Series
    other: Series
    log_chance: float
    compared: int


@dataclass(frozen=True)
class NearCopies:
    """What was found; ``series`` of the session could be compared, with ``sessions`` before it.

    ``of_like_shape`` has what was looked at besides, of which chance has room for each alone.
    """

    of_like_shape: list[Near]
    series: int
    sessions: int

    @property
    def found(self) -> list[Near]:
        return [one for one in self.of_like_shape if one.log_chance < 0]


def near_copies(session: Session, versions: Versions, in_pools: Mapping[int, int]) -> NearCopies:
    """Every series of this session beside those of a like shape, its own and earlier ones.

    ``in_pools`` says how many earlier sets each of its pools has.
    """
    own = _series(Q(session=session))
    written = _written(own)
    shaped = [(one, shape) for one in own for shape in [_shape(one, written)] if shape is not None]
    pairs = len(shaped) * (len(shaped) - 1)
    found: list[Near] = []
    for place, (later, _) in enumerate(shaped):
        before = [earlier for earlier, _ in shaped[:place]]
        found += _compared(later, [(earlier, pairs) for earlier in before], written)
    # Those of earlier sessions, so that running it again, or later, counts as many.
    earlier_shapes = SeriesShape.objects.filter(session__lt=session.pk)
    last = earlier_shapes.order_by("-session_id", "-pk").values_list("pk", flat=True).first() or 1
    alike = [_alike(one, shape, versions) for one, shape in shaped]
    candidates = _candidates([shape for shapes in alike for shape in shapes])
    for (one, _), shapes in zip(shaped, alike, strict=True):
        others = []
        for shape in shapes:
            other = candidates[shape.pull_set_id, shape.baseline_id]
            # Half of the chances go to the sets of the same pool, of which there are fewer.
            same = one.pool_id is not None and one.pool_id == other.pool_id
            among = in_pools.get(one.pool_id or 0, 0) if same else last
            others.append((other, 2 * max(among, 1)))
        found += _compared(one, others, written)
    return NearCopies(found, len(shaped), session.pk)


def store_shapes(session_ids: Sequence[int]) -> None:
    """Give the series of these sessions their shapes; those that have one keep it."""
    rows = []
    for one in _series(Q(session__in=session_ids)):
        shape = shape_of(one.readings_N) or Shape(0, 0.0, 0.0, 0.0, 0.0)
        rows.append(
            SeriesShape(
                session_id=one.session_id,
                pull_set_id=one.pull_set_id,
                baseline_id=one.baseline_id,
                pulls=shape.pulls,
                lowest=shape.lowest,
                highest=shape.highest,
                middle=shape.middle,
            )
        )
    have = SeriesShape.objects.filter(session__in=session_ids)
    stored = set(have.values_list("pull_set", "baseline"))
    new = [row for row in rows if (row.pull_set_id, row.baseline_id) not in stored]
    SeriesShape.objects.bulk_create(new, ignore_conflicts=True)


def sweep_shapes(at_once: int = AT_ONCE) -> int:
    """Give sessions from before there were shapes theirs; returns how many got them."""
    without = Session.objects.filter(
        ~Exists(SeriesShape.objects.filter(session=OuterRef("pk"))),
        Q(pull_sets__isnull=False) | Q(baselines__isnull=False),
    )
    ids = list(without.order_by("pk").distinct().values_list("pk", flat=True)[:at_once])
    store_shapes(ids)
    return len(ids)


def _alike(one: Series, shape: Shape, versions: Versions) -> list[SeriesShape]:
    wide = shape.tolerance
    gone = Q(pull_set__state__in=(State.REJECTED, State.WITHDRAWN))
    replaced = Q(session__standing=Session.Standing.REPLACED)
    apart = (
        Abs(F("lowest") - shape.lowest)
        + Abs(F("highest") - shape.highest)
        + Abs(F("middle") - shape.middle)
    )
    return list(
        SeriesShape.objects.filter(
            ~gone | replaced,
            ~Q(session__standing=Session.Standing.WITHDRAWN),
            pulls=shape.pulls,
            lowest__range=(shape.lowest - wide, shape.lowest + wide),
            highest__range=(shape.highest - wide, shape.highest + wide),
            middle__range=(shape.middle - wide, shape.middle + wide),
            session__lt=versions.came_in(one.readings_N),
        )
        .exclude(session__in=versions.ids)
        .order_by(apart, "pk")[:MOST_CANDIDATES]
    )


def _shape(one: Series, written: dict[bool, float]) -> Shape | None:
    return shape_of(one.readings_N, one.step_N * written[one.pull_set_id is not None])


def _compared(
    own: Series, others: Sequence[tuple[Series, int]], written: dict[bool, float]
) -> list[Near]:
    """A series beside others of as many pulls, each with how many it is looked for among."""
    like = [(other, n) for other, n in others if len(other.readings_N) == len(own.readings_N)]
    if not like:
        return []
    step_N = own.step_N * written[own.pull_set_id is not None]
    chances = log_chances_alike(own.readings_N, [other.readings_N for other, _ in like], step_N)
    return [
        Near(own, other, chance, among)
        for (other, among), chance in zip(like, chances.tolist(), strict=True)
    ]


def _candidates(shapes: list[SeriesShape]) -> dict[tuple[int | None, int | None], Series]:
    """The series that these shapes are of, by set and baseline."""
    sets = {shape.pull_set_id for shape in shapes if shape.pull_set_id}
    baselines = {shape.baseline_id for shape in shapes if shape.baseline_id}
    found: list[Series] = []
    if sets:
        found += _sets(Q(pk__in=sets))
    if baselines:
        found += _baselines(Q(pk__in=baselines))
    return {(one.pull_set_id, one.baseline_id): one for one in found}


def _series(of_session: Q) -> list[Series]:
    return [*_sets(of_session), *_baselines(of_session)]


def _sets(wanted: Q) -> list[Series]:
    rows = PullSet.objects.filter(wanted).order_by("pk")
    columns = ("session_id", "pk", "normalised__pool", "session__revision__resolution_N")
    found = list(rows.values_list(*columns))
    readings = _readings("pull_set", [pk for _, pk, _, _ in found])
    return [Series(of, pk, None, pool, step, readings[pk]) for of, pk, pool, step in found]


def _baselines(wanted: Q) -> list[Series]:
    rows = Baseline.objects.filter(wanted).order_by("pk")
    found = list(rows.values_list("session_id", "pk", "session__revision__resolution_N"))
    readings = _readings("baseline", [pk for _, pk, _ in found])
    return [Series(of, None, pk, None, step, readings[pk]) for of, pk, step in found]


def _readings(owner: str, ids: list[int]) -> dict[int, list[float]]:
    """Readings in newtons by set or by baseline, in the order of the pulls."""
    found: dict[int, list[float]] = defaultdict(list)
    pulls = Pull.objects.filter(**{f"{owner}__in": ids}, reading_N__isnull=False).order_by("pk")
    for pk, reading_N in pulls.values_list(owner, "reading_N"):
        found[pk].append(reading_N)
    return found


def _written(own: list[Series]) -> dict[bool, float]:
    """By whether it is joined, the step that readings are written to, in steps of the scale."""
    steps: dict[bool, float] = {}
    for joined in (True, False):
        shown = [
            np.array(one.readings_N) / one.step_N
            for one in own
            if (one.pull_set_id is not None) == joined and one.readings_N
        ]
        steps[joined] = written_step(np.concatenate(shown)) if shown else 1.0
    return steps
