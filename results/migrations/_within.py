"""Sessions from before there were bounds, withdrawn where they hold a reading or day out of them.

No figure can be computed from such a reading. The upload keeps the bytes as they were sent; what
stood there is said in the pull's note and in the reason of the withdrawal. The bounds are as they
were when this was written: a migration does not change with the code.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Q

EARLIEST_DAY = date(1950, 1, 1)
IMPOSSIBLE = Q(reading_N__lt=0.01) | Q(reading_N__gt=20_000)
REASON = "It held {what}, which can't be. Send it again with what was read, as a new session."


def bring_within(apps: Any, schema_editor: Any) -> None:  # noqa: ARG001
    pulls = apps.get_model("results", "Pull").objects.filter(IMPOSSIBLE)
    for pull in pulls.select_related("baseline", "pull_set"):
        session_id = (pull.baseline or pull.pull_set).session_id
        answer = f"{pull.reading_written} {pull.unit}, {pull.failure_mode}"
        _withdraw(apps, session_id, f"a reading of {pull.reading_N:.3g} N")
        pull.note = f"{pull.note} (stood as {answer}: no possible reading)"[:300]
        pull.reading_N, pull.failure_mode = None, "void"
        pull.save(update_fields=["note", "reading_N", "failure_mode"])
    for session in apps.get_model("results", "Session").objects.filter(pulled_on__lt=EARLIEST_DAY):
        _withdraw(apps, session.pk, f"the day {session.pulled_on.isoformat()}")
        type(session).objects.filter(pk=session.pk).update(pulled_on=EARLIEST_DAY)


def _withdraw(apps: Any, session_id: int, what: str) -> None:
    def rows(name: str) -> Any:
        return apps.get_model("results", name).objects

    reason = REASON.format(what=what)
    rows("Session").filter(pk=session_id, standing="current").update(
        standing="withdrawn", standing_reason=reason
    )
    sets = rows("PullSet").filter(session_id=session_id).exclude(state="withdrawn")
    rows("StateChange").bulk_create(
        apps.get_model("results", "StateChange")(
            pull_set_id=pk, from_state=state, to_state="withdrawn", reason=reason
        )
        for pk, state in sets.values_list("pk", "state")
    )
    pools = rows("NormalisedSet").filter(pull_set__session_id=session_id)
    rows("StalePool").bulk_create(
        apps.get_model("results", "StalePool")(pool_id=pool, why=reason, takes_down=True)
        for pool in set(pools.values_list("pool_id", flat=True))
    )
    sets.update(state="withdrawn")
    borrowed = rows("NormalisedSet").filter(baseline__session_id=session_id)
    borrowers = borrowed.exclude(pull_set__session_id=session_id)
    for borrower in set(borrowers.values_list("pull_set__session_id", flat=True)):
        apps.get_model("results", "Job").objects.create(session_id=borrower)
