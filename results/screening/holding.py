"""Hold a set: its state, its case for a moderator, and what its tester is notified of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.utils.translation import override

from results import notices
from results.models import PullSet, ReviewCase
from results.models.declared.holds import hold_named
from results.models.lifecycle import State, move
from results.statistics.screening.check import Check

STORED_IN = "en"
"""The language of what is stored."""


def hold(
    pull_set: PullSet,
    checks: Sequence[Check],
    shift: float | None,
    influence_limit: float | None = None,
) -> None:
    """Hold a set for these checks, in the transaction of a caller who has locked it.

    ``influence_limit`` where it waits for a second look at its influence alone.
    """
    reason = " ".join(check.sentence for check in checks)
    move([pull_set], State.HELD, reason=reason)
    ReviewCase.objects.update_or_create(
        pull_set=pull_set, defaults={"pool_shift": shift, "influence_limit": influence_limit}
    )
    settled = what_settles(check.name for check in checks)
    until = "a moderator" if influence_limit is None else "a second tester or a moderator"
    notices.notify_owner(
        pull_set,
        f"Set {pull_set.pk}, pulled on {pull_set.session.pulled_on:%Y-%m-%d}, waits for {until} "
        f"and does not count in its pool until then. {reason} It may well be right. {settled}",
        mailed=settled,
    )


def what_settles(names: Iterable[str]) -> str:
    """The honest reasons to trip these checks and what settles them, each sentence once."""
    with override(STORED_IN):
        declared = [hold_named(name) for name in dict.fromkeys(names)]
        reasons = " ".join(dict.fromkeys(str(one.reasons) for one in declared))
        settled_by = " ".join(dict.fromkeys(str(one.settled_by) for one in declared))
    return f"Honest reasons: {reasons} What settles it: {settled_by}"
