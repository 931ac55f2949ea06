"""A round's report from the pulls as they stand: to make one, and to prove one that was made."""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from results.models import Pull, Round, RoundReport
from results.normalising.scales import scale_of
from results.pools.snapshots import FORMULAE
from results.rounds import renewing
from results.rounds.reporting import Loads, ReadSet, figures_of, sets_of

TOLERANCE = 1e-9
"""Relative: another machine's library of linear algebra may differ in the last digits."""


def loads_of(of: Round) -> Loads:
    """Loads of every set by the calibration in force on its day."""
    found = {}
    pulls: dict[int, list[Pull]] = defaultdict(list)
    sets = list(sets_of(of))
    wanted = [one.pull_set_id for one in sets]
    read = Pull.objects.filter(pull_set__in=wanted, reading_N__isnull=False).order_by("pk")
    for pull in read:
        pulls[pull.pull_set_id or 0].append(pull)
    for one in sets:
        kept = pulls[one.pull_set_id]
        scale = scale_of(one.pull_set.session)
        load_N = scale.loads_N(kept)
        found[one.pull_set_id] = ReadSet(
            load_N.tolist(),
            [pull.failure_mode for pull in kept],
            scale.relative_uncertainty(float(load_N.mean())) if kept else None,
        )
    return found


def figures_again(of: Round, loads: Loads) -> dict[str, Any]:
    """The figures as they come back from the store, to be compared with what did."""
    stored: dict[str, Any] = json.loads(json.dumps(figures_of(of, loads)))
    return stored


def to_be_proven() -> list[RoundReport]:
    """The newest report of each round, but those that are due to be computed again.

    An earlier version was of sets that have changed since; the chain alone seals it.
    """
    due = {one.pk for found in renewing.outdated() for one in found}
    made = RoundReport.objects.filter(state=RoundReport.State.MADE).select_related("round")
    newest = {one.round_id: one for one in made.order_by("round", "number")}
    return [one for one in newest.values() if one.pk not in due and one.formulae == FORMULAE]


def not_following(one: RoundReport) -> list[str]:
    """The figures of a report that do not follow from its pulls, each by the way to it."""
    again = figures_again(one.round, loads_of(one.round))
    return list(_differing("", one.report, again))


def _differing(at: str, kept: Any, again: Any) -> Iterator[str]:
    if isinstance(kept, dict) and isinstance(again, dict):
        for name in sorted(kept.keys() | again.keys()):
            if name in kept and name in again:
                yield from _differing(f"{at}.{name}".lstrip("."), kept[name], again[name])
            else:
                yield f"{at}.{name}".lstrip(".")
    elif isinstance(kept, list) and isinstance(again, list) and len(kept) == len(again):
        for number, (one, other) in enumerate(zip(kept, again, strict=True), start=1):
            yield from _differing(f"{at}[{number}]", one, other)
    elif not _same(kept, again):
        yield at


def _same(kept: Any, again: Any) -> bool:
    if isinstance(kept, float) and isinstance(again, float):
        return math.isclose(kept, again, rel_tol=TOLERANCE, abs_tol=1e-12)
    return bool(kept == again)
