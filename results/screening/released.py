"""What was released once, and is not held again for the same cause."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Q

from results.models import CheckResult, Pull, PullSet, StateChange
from results.models.declared.holds import INFLUENCE
from results.models.lifecycle import State

Evidence = tuple[object, ...]

DECIDED = (State.HELD, State.RELEASED, State.REJECTED)
SIGNIFICANT_DIGITS = 9
"""Of a reading in newtons; beyond them lies what conversion between units leaves."""


def released_causes(pull_sets: Iterable[PullSet]) -> dict[int, set[str]]:
    """The checks for which each of these sets of one session was released before, by set.

    A cause is a check together with what it looked at: the set's pulls, what was tied, and the
    straight line of its lines in the session. An earlier version of the session, or the same day
    sent again, whose set was released on the same readings, frees this one from the checks that
    held it then; where a reading has changed, it does not.
    """
    sets = list(pull_sets)
    if not sets:
        return {}
    earlier = _released_before(sets)
    now, then = _evidence_of(sets), _evidence_of(change.pull_set for change in earlier)
    causes: dict[int, set[str]] = defaultdict(set)
    for change in earlier:
        alike = [pk for pk, evidence in now.items() if evidence == then[change.pull_set_id]]
        if alike:
            # A release is a second look as well, whatever the set was held for.
            names = _held_for(change) | {INFLUENCE}
            for pk in alike:
                causes[pk] |= names
    return causes


def _released_before(sets: list[PullSet]) -> list[StateChange]:
    """The releases of the contributor's other sets of these joins that no later decision undid."""
    latest: dict[int, StateChange] = {}
    for change in (
        StateChange.objects.filter(
            to_state__in=DECIDED,
            pull_set__session__contributor=sets[0].session.contributor_id,
            pull_set__connection__in={pull_set.connection_id for pull_set in sets},
        )
        .exclude(pull_set__in=sets)
        .select_related("pull_set__session")
        .order_by("pk")
    ):
        latest[change.pull_set_id] = change
    return [change for change in latest.values() if change.to_state == State.RELEASED]


def _held_for(release: StateChange) -> set[str]:
    """The checks that held a set in any screening of its session up to its release."""
    pull_set = release.pull_set
    of_set = Q(pull_set=pull_set) | Q(pull_set__isnull=True)
    held = CheckResult.objects.filter(
        of_set,
        level=CheckResult.Level.HOLD,
        screening__session=pull_set.session_id,
        screening__screened_at__lte=release.at,
    )
    return set(held.values_list("name", flat=True))


def _evidence_of(pull_sets: Iterable[PullSet]) -> dict[int, Evidence]:
    """What the checks look at of each set, equal where the readings and what was tied are."""
    sets = list(pull_sets)
    of_sets: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for pull in Pull.objects.filter(pull_set__in=sets).order_by("pk"):
        assert pull.pull_set_id is not None
        of_sets[pull.pull_set_id].append(_shown(pull))
    of_lines: dict[tuple[int, int, str], list[tuple[str, str]]] = defaultdict(list)
    straight = Pull.objects.filter(baseline__session__in={one.session_id for one in sets})
    for pull in straight.select_related("baseline").order_by("pk"):
        assert pull.baseline is not None
        specimen = (pull.baseline.session_id, pull.baseline.line_id, pull.baseline.spool)
        of_lines[specimen].append(_shown(pull))
    return {one.pk: _evidence(one, of_sets[one.pk], of_lines) for one in sets}


def _evidence(
    one: PullSet,
    readings: list[tuple[str, str]],
    of_lines: dict[tuple[int, int, str], list[tuple[str, str]]],
) -> Evidence:
    specimens = [(one.main_line_id, one.main_spool), (one.leader_line_id or 0, one.leader_spool)]
    straight = [
        (line_id, tuple(of_lines.get((one.session_id, line_id, spool), ())))
        for line_id, spool in specimens
    ]
    tied = (one.connection_id, one.doubled, one.terminal, one.session.state, one.session.loading)
    return (tied, tuple(readings), *straight)


def _shown(pull: Pull) -> tuple[str, str]:
    reading = "" if pull.reading_N is None else f"{pull.reading_N:.{SIGNIFICANT_DIGITS}g}"
    return reading, pull.failure_mode
