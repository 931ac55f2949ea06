"""The states of a pull set, and the one way to move between them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext

from results.models import PullSet, StateChange
from results.models.states import ALLOWED
from rigs.refusals import Conflict

State = PullSet.State

COUNTING = (State.NORMALISED, State.POOLED, State.RELEASED)


def lock_sets(pull_set_ids: Iterable[int]) -> None:
    """Lock pull sets by ascending id, in the caller's transaction (see `rigs.locks`)."""
    wanted = PullSet.objects.filter(pk__in=list(pull_set_ids)).order_by("pk")
    list(wanted.select_for_update(no_key=True).values_list("pk", flat=True))


def move(
    pull_sets: Iterable[PullSet], to: State, *, by: User | None = None, reason: str = ""
) -> int:
    """Move pull sets to one state and keep who, when and why; returns how many moved.

    Sets already there stay as they are. Each move is a conditional UPDATE on the state last
    seen, so two movers can't both win. Locks: the sets, by `lock_sets`. Raises Conflict, moving
    none, where the step is not allowed or another mover was first.
    """
    seen: dict[State, list[int]] = defaultdict(list)
    for pull_set in pull_sets:
        if pull_set.state != to:
            seen[State(pull_set.state)].append(pull_set.pk)
    with transaction.atomic():
        lock_sets(pk for ids in seen.values() for pk in ids)
        for state, ids in seen.items():
            if to not in ALLOWED[state]:
                allowed = ", ".join(sorted(ALLOWED[state])) or "nothing"
                raise Conflict(
                    gettext("A pull set that is %(state)s can become %(allowed)s, not %(to)s.")
                    % {"state": state, "allowed": allowed, "to": to}
                )
            moved = PullSet.objects.filter(pk__in=ids, state=state).update(state=to)
            if moved != len(ids):
                raise Conflict(
                    gettext("A pull set is no longer %(state)s: someone else was first.")
                    % {"state": state}
                )
            StateChange.objects.bulk_create(
                StateChange(pull_set_id=pk, from_state=state, to_state=to, by=by, reason=reason)
                for pk in ids
            )
    return sum(len(ids) for ids in seen.values())
