"""The audit after a fault, in a process of its own: what was answered 202 against what is stored.

``python -m deploy.benchmarks.faults.audit LEDGER VERSIONS`` reads the receipts of the senders and
prints an ``Audit``. Pooled figures are recomputed from the stored pulls, and these compared with
the bytes that were sent.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import django

from deploy.benchmarks.faults.table import Audit

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
django.setup()

from results.models import (  # noqa: E402
    DirectComparison,
    Job,
    Pool,
    PoolMembership,
    PoolVersion,
    PullSet,
    Session,
    StalePool,
    Upload,
)
from results.pools.pool_data import members_of  # noqa: E402
from results.pools.reproduce import recompute  # noqa: E402

IN_POOL = (PullSet.State.POOLED, PullSet.State.RELEASED)


def audit(ledger: list[dict[str, Any]], since_version: int) -> Audit:
    """Look after every receipt, and after every pool and each version newer than that id."""
    found = Audit(accepted=len(ledger))
    for entry in ledger:
        _look_after(entry, found)
    found.complaints += _pools(found, since_version)
    found.complaints += list(_left_undone(found))
    return found


def _look_after(entry: dict[str, Any], found: Audit) -> None:
    """Put one receipt into the column that it belongs to."""
    same = Upload.objects.filter(contributor__handle=entry["handle"], sha256=entry["sha256"])
    session = Session.objects.filter(pk=entry["session"]).first()
    job = Job.objects.filter(session=entry["session"], pk=entry["job"]).first()
    if same.count() > 1:
        found.twice += 1
    if session is None or job is None:
        found.lost += 1
        found.complaints.append(f"session {entry['session']}: not stored with its job")
    elif _stored_pulls(session) != _sent_pulls(entry["body"]):
        found.lost += 1
        found.complaints.append(f"session {session.pk}: other pulls are stored than were sent")
    elif job.state == Job.State.FAILED and job.problem:
        found.marked_failed += 1
    elif job.state != Job.State.DONE:
        found.lost += 1
        found.complaints.append(f"session {session.pk}: its job is {job.state}")
    else:
        _look_after_sets(session, found)


def _look_after_sets(session: Session, found: Audit) -> None:
    """Each set counts once in one pool, or says why it doesn't."""
    for pull_set in session.pull_sets.all():
        times = PoolMembership.objects.filter(pull_set=pull_set, until=None).count()
        if times > 1:
            found.twice += 1
        answer = pull_set.state == PullSet.State.HELD and pull_set.notices.exists()
        if not answer and not (times and pull_set.state in IN_POOL) and not pull_set.not_normalised:
            found.lost += 1
            found.complaints.append(f"set {pull_set.pk}: {pull_set.state}, in {times} pools")
            return
    held = session.pull_sets.filter(state=PullSet.State.HELD).exists()
    found.held += held
    found.in_pool += not held


def _stored_pulls(session: Session) -> list[tuple[str, int, str]]:
    sets = session.pull_sets.values_list("label", "pulls__number", "pulls__reading_written")
    straight = session.baselines.values_list(
        "line__name", "pulls__number", "pulls__reading_written"
    )
    return sorted(
        (name, number, f"{float(answer):g}") for name, number, answer in [*sets, *straight]
    )


def _sent_pulls(body: str) -> list[tuple[str, int, str]]:
    said = json.loads(body)
    parts = [(part["label"], part["pulls"]) for part in said["pull_sets"]]
    parts += [(part["line"], part["pulls"]) for part in said["baselines"]]
    return sorted(
        (name, number, f"{pull['reading']:g}")
        for name, pulls in parts
        for number, pull in enumerate(pulls, start=1)
    )


def _pools(found: Audit, since_version: int) -> list[str]:
    """Recompute every current version and every version that is new, from the pulls."""
    complaints = []
    current = Pool.objects.exclude(current=None).values("current")
    versions = PoolVersion.objects.filter(pk__in=current) | PoolVersion.objects.filter(
        pk__gt=since_version
    )
    for snapshot in versions.values_list("snapshot", flat=True).distinct().order_by("snapshot"):
        for again in recompute(snapshot):
            found.compared += 1
            found.newest_version = max(found.newest_version, again.version.pk)
            if again.differences:
                found.differing += 1
                complaints.append(f"{again.version}: {again.differences[0]}")
    for pool in Pool.objects.filter(failures__lt=5).select_related("current"):
        counting = members_of(pool.pk).pull_set.tolist()
        if counting != (pool.current.inputs["pull_sets"] if pool.current else []):
            found.differing += 1
            complaints.append(f"pool {pool.pk}: its figure rests on other sets than count")
    return complaints


def _left_undone(found: Audit) -> Iterable[str]:
    """Work left undone for good: drawings, comparisons, marks, jobs."""
    undrawn = PoolVersion.objects.filter(
        pk__in=Pool.objects.values("current"), forest_light="", sets__gt=0
    )
    current = set(Pool.objects.exclude(current=None).values_list("current", flat=True))
    compared = {pk for each in DirectComparison.objects.all() for pk in each.versions}
    unfinished = Job.objects.filter(state__in=[Job.State.QUEUED, Job.State.RUNNING])
    for what, number in (
        ("pools not drawn", undrawn.count()),
        ("pools whose comparison is of another version", len(current - compared)),
        ("marks that are left", StalePool.objects.filter(pool__failures__lt=5).count()),
        ("jobs that are not finished", unfinished.count()),
    ):
        found.unfinished += number
        if number:
            yield f"{number} {what}"


if __name__ == "__main__":
    receipts = json.loads(Path(sys.argv[1]).read_text())
    print(json.dumps(asdict(audit(receipts, int(sys.argv[2])))))
