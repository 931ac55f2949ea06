"""Exporting: the public part as one numbered archive, made by a job and never changed after.

A failed attempt leaves nothing but its row, so the last release stays the latest.
"""

from __future__ import annotations

import json
import shutil
import tempfile
import zipfile
from datetime import timedelta
from pathlib import Path
from typing import Any

import structlog
from django.conf import settings
from django.db import transaction
from django.db.models import F, Max, Q
from django.db.models.functions import Coalesce, Now
from django.utils import timezone

from results.jobs import notify
from results.jobs.after_commit import after_commit
from results.jobs.attempts import excuse, write_or_defer
from results.jobs.database_clock import from_now
from results.models import PoolVersion, Release, ReleasePart, Session, StateChange
from results.open_data.companions import companions
from results.open_data.datapackage import ReleaseInfo, descriptor, readme
from results.open_data.kept import ARCHIVE, PART_BYTES, one_instant, parts_of, sha256_of
from results.open_data.pooled import versions
from results.open_data.tables import TABLES
from results.open_data.writing import write
from results.pools.snapshots import snapshot_of_all

log = structlog.get_logger(__name__)

EVERY = timedelta(days=7)
"""How often a release is made automatically, if anything has changed."""
LEASE_S = 1200.0


def request_release() -> Release:
    """Queue a release, or return the one already queued; a message is sent on commit."""
    with transaction.atomic():
        waiting = Release.objects.filter(state=Release.State.QUEUED).first()
        release = waiting or Release.objects.create()
        after_commit(notify.wake_release, release.pk)
    return release


def sweep_releases() -> None:
    """Queue a release if due, resend lost messages, fail releases that are out of attempts."""
    if _is_due():
        request_release()
    lost = Release.objects.filter(
        Q(state=Release.State.QUEUED) | Q(state=Release.State.RUNNING, lease_expires_at__lt=Now()),
        asked_at__lt=timezone.now() - timedelta(seconds=settings.SAMESPOOL_SWEEP_SECONDS),
    )
    lost.filter(attempts__gte=settings.SAMESPOOL_JOB_ATTEMPTS).update(
        state=Release.State.FAILED,
        problem="The worker stopped before it could say why, each time it was tried.",
    )
    for release_id in lost.values_list("pk", flat=True):
        notify.wake_release(release_id)


def _is_due() -> bool:
    """Whether the last request is old enough and something has changed since."""
    last = Release.objects.order_by("-pk").first()
    if last is None:
        return PoolVersion.objects.exists()
    if last.asked_at > timezone.now() - EVERY:
        return False
    since = last.asked_at
    return (
        StateChange.objects.filter(at__gt=since).exists()
        or Session.objects.filter(received_at__gt=since).exists()
        or PoolVersion.objects.filter(computed_at__gt=since).exists()
    )


def make(release_id: int) -> None:
    """Make a queued release if it can be claimed. A failure is recorded with it."""
    release = _claim(release_id)
    if release is None:
        return
    try:
        with tempfile.TemporaryDirectory(prefix="samespool-") as folder:
            _make(release, Path(folder))
    except Exception as error:
        log.exception("open data not made", release=release.pk, attempt=release.attempts)
        _record_failure(release, error)


def _record_failure(release: Release, error: Exception) -> None:
    ours, last = _ours(release), release.attempts >= settings.SAMESPOOL_JOB_ATTEMPTS
    waits = {"state": Release.State.QUEUED, "lease_expires_at": None}
    counted = {
        "state": Release.State.FAILED if last else Release.State.QUEUED,
        "lease_expires_at": None,
        "problem": f"{type(error).__name__} while it was being made.",
    }
    write_or_defer(lambda: excuse(ours, "attempts", error, **waits) or ours.update(**counted))


def free_leases() -> None:
    """As ``jobs.queue.free_leases``: requeue what a process was making when it ended."""
    left = Release.objects.filter(state=Release.State.RUNNING)
    left.update(state=Release.State.QUEUED, lease_expires_at=None)


def _claim(release_id: int) -> Release | None:
    """Take a release to make, by one conditional UPDATE on the database's clock."""
    free = Q(state=Release.State.QUEUED) | Q(
        state=Release.State.RUNNING, lease_expires_at__lt=Now()
    )
    taken = Release.objects.filter(
        free, pk=release_id, attempts__lt=settings.SAMESPOOL_JOB_ATTEMPTS
    ).update(
        state=Release.State.RUNNING, attempts=F("attempts") + 1, lease_expires_at=from_now(LEASE_S)
    )
    return Release.objects.get(pk=release_id) if taken else None


def _ours(release: Release) -> Any:
    return Release.objects.filter(
        pk=release.pk, state=Release.State.RUNNING, attempts=release.attempts
    )


def _make(release: Release, folder: Path) -> None:
    with one_instant():
        pools = list(versions().values_list("pk", "pool_id", "number", "snapshot"))
        rows = {table.name: write(table, folder) for table in TABLES}
    number = Release.objects.aggregate(n=Coalesce(Max("number"), 0))["n"] + 1
    snapshot = snapshot_of_all([pool[1:] for pool in pools])
    info = ReleaseInfo(number, timezone.now(), snapshot)
    files = _describe(info, rows, folder)
    archive = folder / ARCHIVE
    _pack(archive, [folder / file["name"] for file in files], info)
    release.number, release.made_at, release.snapshot = number, info.made_at, snapshot
    release.pool_versions, release.rows, release.files = [pool[0] for pool in pools], rows, files
    release.bytes, release.sha256 = archive.stat().st_size, sha256_of(archive)
    _store(release, archive)


def _describe(info: ReleaseInfo, rows: dict[str, int], folder: Path) -> list[dict[str, Any]]:
    """Write the words beside the tables; returns name, bytes and SHA-256 of every file."""
    files = {each.name: _file(each) for each in sorted(folder.iterdir())}
    earlier = Release.objects.filter(state=Release.State.MADE).order_by("-number")
    texts = {
        "datapackage.json": json.dumps(descriptor(info, files), indent=1),
        "README.md": readme(info, rows),
        **companions(info, rows, list(earlier)),
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    described = [_file(folder / name) for name in texts]
    sums = folder / "SHA256SUMS.txt"
    named = (f"{each['sha256']}  {each['name']}" for each in (*described, *files.values()))
    sums.write_text("\n".join([*named, ""]), encoding="utf-8")
    return [*described, _file(sums), *files.values()]


def _file(path: Path) -> dict[str, Any]:
    return {"name": path.name, "bytes": path.stat().st_size, "sha256": sha256_of(path)}


def _pack(archive: Path, files: list[Path], info: ReleaseInfo) -> None:
    made = info.made_at.timetuple()[:6]
    with zipfile.ZipFile(archive, "w") as packed:
        for path in files:
            member = zipfile.ZipInfo(path.name, made)
            member.compress_type = (
                zipfile.ZIP_STORED if path.suffix == ".parquet" else zipfile.ZIP_DEFLATED
            )
            member.external_attr = 0o644 << 16
            member.file_size = path.stat().st_size
            with path.open("rb") as source, packed.open(member, "w") as target:
                shutil.copyfileobj(source, target, PART_BYTES)


def _store(release: Release, archive: Path) -> None:
    """Store the archive in parts and number it, unless another maker has the release by now.

    One transaction. Two that finish at once meet at the number, and the later is made again.
    """
    columns = (
        "number",
        "made_at",
        "snapshot",
        "pool_versions",
        "rows",
        "files",
        "bytes",
        "sha256",
    )
    with transaction.atomic(), archive.open("rb") as opened:
        ours = _ours(release).update(
            state=Release.State.MADE,
            lease_expires_at=None,
            problem="",
            **{name: getattr(release, name) for name in columns},
        )
        if ours:
            for number, body in enumerate(parts_of(opened)):
                ReleasePart.objects.create(release=release, number=number, body=body)
