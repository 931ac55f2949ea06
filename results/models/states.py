"""Every change of a pull set's state: who, when and why, kept for good."""

from __future__ import annotations

from functools import reduce
from operator import or_

from django.conf import settings
from django.db import models

from results.models.sessions import PullSet

State = PullSet.State

ALLOWED: dict[State, frozenset[State]] = {
    State.RECEIVED: frozenset({State.NORMALISED, State.HELD, State.WITHDRAWN}),
    State.NORMALISED: frozenset({State.POOLED, State.HELD, State.REJECTED, State.WITHDRAWN}),
    State.POOLED: frozenset({State.HELD, State.REJECTED, State.WITHDRAWN}),
    State.HELD: frozenset({State.RELEASED, State.REJECTED, State.WITHDRAWN}),
    State.RELEASED: frozenset({State.HELD, State.REJECTED, State.WITHDRAWN}),
    State.REJECTED: frozenset({State.RELEASED, State.WITHDRAWN}),
    State.WITHDRAWN: frozenset(),
}
"""The states that may follow each."""
APPEALED = (State.HELD, State.REJECTED)
"""States that a decision may keep, by turning down the appeal against it."""


class StateChange(models.Model):
    """One step of a pull set from one state to the next; ``by`` is empty for the service itself."""

    pull_set = models.ForeignKey(PullSet, on_delete=models.PROTECT, related_name="state_changes")
    from_state = models.CharField(max_length=12, choices=PullSet.State.choices)
    to_state = models.CharField(max_length=12, choices=PullSet.State.choices)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="state_changes",
    )
    reason = models.TextField(blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pull_set_id", "id"]
        constraints = [
            models.CheckConstraint(
                condition=reduce(
                    or_,
                    (
                        models.Q(from_state=before.value, to_state__in=sorted(after))
                        for before, after in ALLOWED.items()
                        if after
                    ),
                )
                | models.Q(from_state__in=[*APPEALED], to_state=models.F("from_state")),
                name="state_change_is_a_step",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.from_state} to {self.to_state}"
