"""Bytes against their sums, and pulls against the bytes that they came in."""

from __future__ import annotations

import hashlib
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import TypeAlias

from deploy.verifying.erased import Erased
from deploy.verifying.faults import Fault
from results.intake.document import BaselineDocument, PullSetDocument
from results.intake.findings import Findings
from results.intake.reading import read
from results.intake.readings import readings_of, unit_of
from results.models import Pull, Session, Upload
from rigs.refusals import Refused

BATCH = 200
"""Uploads whose bytes and pulls are in memory at once."""
TOLERANCE = 1e-12
AsRead: TypeAlias = tuple[str, str, float | None, str]
"""A pull: its reading as written, the unit, newtons, and the failure mode."""
COLUMNS = ("reading_written", "unit", "reading_N", "failure_mode")
"""The same as columns."""


def wrong_uploads(erased: Erased) -> Iterator[Fault]:
    """Uploads whose bytes are not those of their sum, and pulls that the bytes don't say."""
    for session in Session.objects.filter(upload=None).order_by("pk").values_list("pk", flat=True):
        yield Fault(f"session {session}", "has no upload")
    batch: list[Upload] = []
    for upload in Upload.objects.select_related("session").order_by("pk").iterator(BATCH):
        batch.append(upload)
        if len(batch) == BATCH:
            yield from _of_batch(batch, erased)
            batch = []
    yield from _of_batch(batch, erased)


def _of_batch(uploads: Sequence[Upload], erased: Erased) -> Iterator[Fault]:
    stored = _stored(uploads)
    for upload in uploads:
        where, body = f"upload {upload.pk}", bytes(upload.body)
        if not body:
            if not erased.has("results.Upload.body", upload.pk):
                yield Fault(where, "its bytes are gone, and no erasure says so")
            continue
        if hashlib.sha256(body).hexdigest() != upload.sha256:
            yield Fault(where, "its bytes are not those of its sum")
            continue
        try:
            sent = _sent(body, upload)
        except Refused:
            yield Fault(where, "its bytes can no longer be read")
            continue
        yield from _unlike(upload.session, sent, stored[upload.session_id])


def _sent(body: bytes, upload: Upload) -> list[list[AsRead]]:
    """The pulls of each part as the bytes say them, baselines first."""
    document, findings = read(body, upload.content_type).document, Findings()
    unit = unit_of(document.unit, "", findings)
    parts: list[BaselineDocument | PullSetDocument] = [*document.baselines, *document.pull_sets]
    sent: list[list[AsRead]] = []
    for part in parts:
        readings = readings_of(part.pulls, unit, "", findings)
        columns = zip(readings.written, readings.units, readings.forces(), part.pulls, strict=True)
        sent.append([(text, unit, force, pull.failure_mode) for text, unit, force, pull in columns])
    return sent


def _stored(uploads: Sequence[Upload]) -> dict[int, list[list[AsRead]]]:
    """By session the pulls of each part as they are stored, baselines first.

    A query for each kind of parent: one for both would read every pull there is.
    """
    sessions = [upload.session_id for upload in uploads]
    found: dict[int, dict[tuple[str, int], list[AsRead]]] = defaultdict(lambda: defaultdict(list))
    for parent in ("baseline", "pull_set"):
        rows = (
            Pull.objects.filter(**{f"{parent}__session__in": sessions})
            .order_by(parent, "number")
            .values_list(f"{parent}__session", parent, *COLUMNS)
        )
        for session, part, *pull in rows:
            found[session][parent, part].append((pull[0], pull[1], pull[2], pull[3]))
    return defaultdict(list, {pk: list(parts.values()) for pk, parts in found.items()})


def _unlike(
    session: Session, sent: list[list[AsRead]], stored: list[list[AsRead]]
) -> Iterator[Fault]:
    where = f"session {session.pk}"
    if [len(part) for part in sent] != [len(part) for part in stored]:
        yield Fault(where, "holds other pulls than its bytes: not as many")
        return
    for part, (given, kept) in enumerate(zip(sent, stored, strict=True), start=1):
        for number, (before, after) in enumerate(zip(given, kept, strict=True), start=1):
            if not _is_same(before, after) and not _was_no_possible_reading(session, after):
                yield Fault(where, f"pull {number} of part {part} is not what its bytes say")


def _is_same(sent: AsRead, stored: AsRead) -> bool:
    force, kept = sent[2], stored[2]
    if (force is None) != (kept is None):
        return False
    near = force is None or kept is None or math.isclose(force, kept, rel_tol=TOLERANCE)
    return near and (sent[0], sent[1], sent[3]) == (stored[0], stored[1], stored[3])


def _was_no_possible_reading(session: Session, stored: AsRead) -> bool:
    """As a migration left it where a reading from before there were bounds could not be."""
    return (
        session.standing == Session.Standing.WITHDRAWN
        and stored[2] is None
        and stored[3] == Pull.FailureMode.VOID
    )
