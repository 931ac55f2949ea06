"""Traces as evidence: what the recordings of a session's pulls say for a set, or against it.

A session without traces is not looked at here at all: their absence says nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import Q

from results.models import Pull, Trace
from results.screening.shapes import NearCopies
from results.statistics.screening import recorded
from results.statistics.screening.check import Check
from results.statistics.screening.recorded import Recorded, is_same
from rigs.metrology.traces.encoding import decode

OF_INVENTED = frozenset(
    {
        "terminal digits",
        "repeated values",
        "sets that agree pull by pull",
        "copied within the session",
        "copied from another session",
        "alike but for scale, order or a few steps",
        "session alike but for scale, order or a few steps",
        "session that is another times a factor",
        "less scatter than any hand",
        "too even spacing",
    }
)
"""Checks that hold a set because its readings look invented or copied."""


@dataclass(frozen=True)
class Recordings:
    """Traces of a session by pull; ``others`` are those of earlier series that its own are like."""

    own: Mapping[int, Recorded] = field(default_factory=dict)
    others: Sequence[tuple[str, Recorded]] = ()

    def of(self, pulls: Collection[Pull]) -> list[Recorded]:
        """The traces of these pulls that there are."""
        return [self.own[pull.pk] for pull in pulls if pull.pk in self.own]

    def elsewhere(self, pulls: Collection[Pull]) -> list[tuple[str, Recorded]]:
        """The traces that those of these pulls may be copies of."""
        ids = {pull.pk for pull in pulls}
        rest = [
            ("another series of the session", each)
            for pk, each in self.own.items()
            if pk not in ids
        ]
        return [*rest, *self.others]

    def distinct(self, pulls: Sequence[Pull]) -> int:
        """How many of these pulls have a noisy trace that is no other's."""
        found, elsewhere = self.of(pulls), [each for _, each in self.elsewhere(pulls)]
        return sum(
            one.is_noisy
            and not any(is_same(one, each) for each in (*found, *elsewhere) if each is not one)
            for one in found
        )

    def speak_for(self, pulls: Sequence[Pull]) -> bool:
        """Whether every reading of a set was recorded by itself."""
        read = [pull for pull in pulls if pull.reading_N is not None]
        return bool(self.own) and len(read) > 0 and self.distinct(read) == len(read)


def recordings_of(pulls: Collection[Pull], near: NearCopies, alike: Collection[int]) -> Recordings:
    """Traces of these pulls, and of earlier sets that they are ``alike`` to or near copies of."""
    own = _recorded(Q(pull__in=[pull.pk for pull in pulls]))
    if not own:
        return Recordings()
    series = [one.other for one in near.found if one.other.session_id != one.own.session_id]
    sets = {one.pull_set_id for one in series if one.pull_set_id is not None} | set(alike)
    baselines = {one.baseline_id for one in series if one.baseline_id is not None}
    elsewhere = _recorded(Q(pull__pull_set__in=sets) | Q(pull__baseline__in=baselines))
    return Recordings(own, [(f"pull {pk}", each) for pk, each in elsewhere.items()])


def _recorded(whose: Q) -> dict[int, Recorded]:
    rows = Trace.objects.filter(whose).order_by("pk").values_list("pk", "samples", "step")
    return {
        pk: recorded.recorded(decode(bytes(samples))[1], step)
        for pk, samples, step in rows.iterator(100)
    }


def checks(subject: str, recordings: Recordings, pulls: Sequence[Pull]) -> Iterator[Check | None]:
    """What the traces of a series say; nothing where it has none."""
    found = recordings.of(pulls)
    if not found:
        return
    yield recorded.copied_traces(subject, found, recordings.elsewhere(pulls))
    yield recorded.computed_traces(subject, found)
    read = [pull for pull in pulls if pull.reading_N is not None]
    yield recorded.traces_of_its_own(subject, len(read), recordings.distinct(read))
