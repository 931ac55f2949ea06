"""States against decisions, and the chain that seals both."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from itertools import groupby
from operator import itemgetter
from typing import Any

from django.db.models.functions import Now

from deploy.verifying.erased import Erased
from deploy.verifying.faults import Fault
from results.models import AuditLink, PullSet, StateChange
from results.models.audit_chain import (
    FIRST,
    SEALED,
    digest_of,
    hash_of,
    rows_behind,
    unsealed,
)

BATCH = 2000
LATE = timedelta(hours=1)
"""A row older than this is sealed, unless nothing sweeps."""
WHEN = {
    "results.Upload": "received_at",
    "results.PoolVersion": "computed_at",
    "results.Round": "closed_at",
    "results.RoundSpecimen": "participant__round__closed_at",
    "results.SealedSession": "received_at",
    "results.RoundSet": "specimen__participant__round__closed_at",
    "results.RoundReport": "made_at",
}
"""By table the moment after which a row is to be sealed; ``at`` where none is named."""


def wrong_states() -> Iterator[Fault]:
    """Sets whose state is not what the last change says, or whose changes don't follow."""
    changes = StateChange.objects.order_by("pull_set_id", "pk").values_list(
        "pull_set_id", "pull_set__state", "from_state", "to_state"
    )
    for pull_set, steps in groupby(changes.iterator(BATCH), key=itemgetter(0)):
        state, now = PullSet.State.RECEIVED.value, ""
        for _, as_stored, before, after in steps:
            if before != state:
                yield Fault(f"pull set {pull_set}", f"became {after} from {before}, not {state}")
            state, now = after, as_stored
        if now != state:
            yield Fault(f"pull set {pull_set}", f"is {now}; its last change says {state}")
    unchanged = PullSet.objects.filter(state_changes=None).exclude(state=PullSet.State.RECEIVED)
    for pk, now in unchanged.order_by("pk").values_list("pk", "state").iterator(BATCH):
        yield Fault(f"pull set {pk}", f"is {now}, and no change says so")


def broken_links(erased: Erased) -> Iterator[Fault]:
    """Where the chain breaks: rows or links that were changed, or are gone, since sealing."""
    previous, batch = FIRST, []
    for link in AuditLink.objects.order_by("pk").iterator(BATCH):
        batch.append(link)
        if len(batch) == BATCH:
            yield from _of_batch(previous, batch, erased)
            previous, batch = link.hash, []
    yield from _of_batch(previous, batch, erased)
    for subject in SEALED:
        old = {f"{WHEN.get(subject, 'at')}__lt": Now() - LATE}
        for pk in unsealed(subject).filter(**old).values_list("pk", flat=True).iterator(BATCH):
            yield Fault(f"{subject} {pk}", "is not in the chain")


def _of_batch(previous: str, links: list[AuditLink], erased: Erased) -> Iterator[Fault]:
    rows = rows_behind(links)
    for link in links:
        where = f"{link.subject} {link.row}"
        if link.previous != previous:
            yield Fault(
                f"link {link.pk}", "does not follow the link before: one is gone or changed"
            )
        previous = link.hash
        row = rows.get((link.subject, link.row))
        if row is None:
            yield Fault(where, "is gone since it was sealed")
        elif hash_of(link.previous, link.subject, row, link.digest) != link.hash:
            yield Fault(where, "is not as it was sealed")
        elif digest_of(bytes(link.salt), link.subject, row) != link.digest and not any(
            erased.has(f"{link.subject}.{word}", link.row) for word in SEALED[link.subject].words
        ):
            yield Fault(where, "has other words than when it was sealed, and no erasure says so")


def end_of_chain() -> tuple[int, str]:
    """How many links there are, and the hash of the last: kept elsewhere, it shows a cut."""
    last: Any = AuditLink.objects.order_by("-pk").values_list("pk", "hash").first()
    return AuditLink.objects.count(), last[1] if last else FIRST
