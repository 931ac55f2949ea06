"""When, where and how the sets of a pool were pulled: what testers may share beside the tie.

Kept with a version's inputs, since rigs are corrected, clubs left and names erased afterwards. What
testers write is kept as numbers that say which sets share it, and not what it was.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any

from django.db.models import Avg, Case, Value, When
from django.db.models.functions import Coalesce

from results.models import NormalisedSet, Pull
from results.pools.pool_data import Members

NONE = -1
DAYS_PER_YEAR = 365.25
SESSION = "pull_set__session"
COLUMNS = (
    f"{SESSION}__pulled_on",
    "club",
    f"{SESSION}__revision__rig__name",
    "baseline__line_id",
    "baseline__spool",
    f"{SESSION}__revision__load_generation",
    f"{SESSION}__revision__peak_capture",
    f"{SESSION}__revision__time_to_break_s",
)


@dataclass(frozen=True)
class Circumstances:
    """One entry a set (k,), in the order of the members.

    ``day`` is that of the proleptic Gregorian calendar. ``club`` is the club that its tester shows,
    ``rig`` and ``spool`` number the rigs of one name and the spools of one line and name, of any
    tester; all three are -1 where there is none. ``time_to_break_s`` is the mean of the pulls, by
    their traces where it was not written, or what the rig's revision says; None where there is
    nothing of it.
    """

    day: list[int]
    club: list[int]
    rig: list[int]
    spool: list[int]
    load_generation: list[str]
    peak_capture: list[str]
    time_to_break_s: list[float | None]

    @property
    def years(self) -> list[float]:
        """The days in years."""
        return [day / DAYS_PER_YEAR for day in self.day]

    @property
    def as_kept(self) -> dict[str, list[Any]]:
        """For the inputs of a version."""
        return asdict(self)


def circumstances_of(pool_id: int, members: Members) -> Circumstances:
    """As they are recorded now."""
    sets = NormalisedSet.objects.filter(pool=pool_id)
    contributor = f"{SESSION}__contributor"
    shown = Case(
        When(
            **{f"{contributor}__shows_club": True}, then=Coalesce(f"{contributor}__club_id", NONE)
        ),
        default=Value(NONE),
    )
    rows = sets.annotate(club=shown).values_list("pull_set_id", *COLUMNS)
    by_set = {pull_set: row for pull_set, *row in rows}
    # What was written goes before what a trace says, since it may be of another beginning.
    seconds_of = Coalesce("time_to_break_s", "trace__time_to_break_s")
    pulls = Pull.objects.filter(pull_set__in=sets.values("pull_set_id"))
    timed = pulls.annotate(seconds=seconds_of).filter(seconds__isnull=False)
    times = dict(timed.values_list("pull_set_id").annotate(mean=Avg("seconds")))
    found = [(pk, *by_set[pk]) for pk in members.pull_set.tolist()]
    day: tuple[date, ...]
    ids, day, club, rig, line, spool, generation, capture, seconds = (
        zip(*found, strict=True) if found else [()] * (1 + len(COLUMNS))
    )
    return Circumstances(
        [each.toordinal() for each in day],
        [*club],
        _numbered(_written(name) for name in rig),
        _numbered(
            (product, _written(name)) if name else None
            for product, name in zip(line, spool, strict=True)
        ),
        [*generation],
        [*capture],
        [times.get(pk, of_rig) for pk, of_rig in zip(ids, seconds, strict=True)],
    )


def kept_circumstances(inputs: Mapping[str, Any]) -> Circumstances | None:
    """Those of a version; None of one from before they were kept."""
    kept = inputs.get("circumstances")
    if not kept:
        return None
    return Circumstances(**{each.name: kept[each.name] for each in fields(Circumstances)})


def _written(text: str) -> str | None:
    return text.strip().casefold() or None


def _numbered(values: Iterable[Hashable | None]) -> list[int]:
    """The same number for the same value, in order of first sight; -1 for none."""
    numbers: dict[Hashable, int] = {}
    return [NONE if value is None else numbers.setdefault(value, len(numbers)) for value in values]
