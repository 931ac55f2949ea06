"""Sealing history: each row joins a chain of hashes that no later change of it leaves whole."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

from django.apps import apps
from django.db import IntegrityError, models, transaction
from django.db.models import Exists, OuterRef, Q

from results.models.audit_links import AuditLink

BATCH = 1000
LOOK_BACK = 10_000
"""How far behind the newest sealed row one is looked for that was committed late."""
FIRST = "0" * 64
"""What stands for the hash before the first link."""


@dataclass(frozen=True)
class Sealed:
    """A table whose rows are sealed: columns that never change, and words that may be erased.

    Rows are sealed from when they are as ``where`` says.
    """

    columns: tuple[str, ...]
    words: tuple[str, ...] = ()
    where: Q = field(default_factory=Q)


SEALED: Mapping[str, Sealed] = {
    "results.Upload": Sealed(("contributor_id", "session_id", "sha256", "received_at")),
    "results.StateChange": Sealed(
        ("pull_set_id", "from_state", "to_state", "by_id", "at"), ("reason",)
    ),
    "results.Message": Sealed(("pull_set_id", "by_id", "kind", "at"), ("text",)),
    "results.Erasure": Sealed(("account_id", "by_id", "at", "reason", "columns")),
    "results.PoolVersion": Sealed(
        (
            *("pool_id", "number", "computed_at", "testers", "sessions", "sets", "pulls"),
            *("efficiency", "interval_low", "interval_high", "no_figure", "figures", "snapshot"),
        )
    ),
    "results.Round": Sealed(
        (
            *("club_id", "organiser_id", "packer_id", "starts_on", "results_by", "line_state"),
            *("opened_at", "closed_at", "tyer_id", "sigma_relative"),
        ),
        where=Q(state="closed"),
    ),
    "results.RoundSight": Sealed(("round_id", "contributor_id", "at")),
    "results.RoundSpecimen": Sealed(("participant_id", "sample_id", "copy", "code")),
    "results.SealedSession": Sealed(
        ("participant_id", "content_type", "sha256", "late", "received_at")
    ),
    "results.RoundSet": Sealed(("pull_set_id", "specimen_id", "tied_by_id")),
    "results.RoundReport": Sealed(
        ("round_id", "number", "made_at", "formulae", "sets", "report", "changes"),
        where=Q(state="made"),
    ),
    "rigs.Suspension": Sealed(("contributor_id", "by_id", "at", "held"), ("reason",)),
    "rigs.CalibrationChange": Sealed(("successor_id", "by_id", "at"), ("reason",)),
    "rigs.RevisionChange": Sealed(
        ("revision_id", "version", "voided", "resolution_N", "by_id", "at"), ("was", "reason")
    ),
}
"""What is sealed, by table."""


def seal() -> int:
    """Add links for rows that have none, at most a thousand of each table; how many were added.

    One transaction. Two that seal at once meet at the unique ``previous``, and the later adds none.
    """
    try:
        with transaction.atomic():
            last = AuditLink.objects.order_by("-pk").values_list("hash", flat=True).first()
            links = list(_links(last or FIRST, _unsealed()))
            AuditLink.objects.bulk_create(links)
            return len(links)
    except IntegrityError:
        return 0


def unsealed(subject: str) -> models.QuerySet[Any]:
    """Rows of a table that no link seals."""
    sealed = AuditLink.objects.filter(subject=subject, row=OuterRef("pk"))
    return _rows(subject).filter(~Exists(sealed))


def forget_salts(columns: Mapping[str, Iterable[Sequence[int]]]) -> None:
    """Drop the salts of rows whose words were erased; ``columns`` as an `Erasure` has them."""
    for label, runs in columns.items():
        subject, _, column = label.rpartition(".")
        if subject in SEALED and column in SEALED[subject].words:
            for first, last in runs:
                AuditLink.objects.filter(subject=subject, row__range=(first, last)).update(salt=b"")


def hash_of(previous: str, subject: str, row: Any, digest: str) -> str:
    """The hash of a row's link."""
    facts = [subject, row.pk, [getattr(row, name) for name in SEALED[subject].columns]]
    return _sha256(previous.encode(), _plain(facts), digest.encode())


def digest_of(salt: bytes, subject: str, row: Any) -> str:
    """The salted digest of the words that may be erased."""
    return _sha256(salt, _plain([getattr(row, name) for name in SEALED[subject].words]))


def rows_behind(links: Iterable[AuditLink]) -> dict[tuple[str, int], Any]:
    """The rows of some links, a query for each table; those that are gone are missing."""
    wanted: dict[str, list[int]] = {}
    for link in links:
        wanted.setdefault(link.subject, []).append(link.row)
    return {
        (subject, row.pk): row
        for subject, ids in wanted.items()
        if subject in SEALED
        for row in _rows(subject).filter(pk__in=ids)
    }


def _rows(subject: str) -> models.QuerySet[Any]:
    known = SEALED[subject]
    rows: models.QuerySet[Any] = apps.get_model(subject)._base_manager.order_by("pk")
    return rows.filter(known.where).only(*known.columns, *known.words)


def _unsealed() -> Iterator[tuple[str, Any]]:
    for subject in SEALED:
        newest = AuditLink.objects.filter(subject=subject).order_by("-row").values("row")[:1]
        late = Q(pk__gt=(newest.first() or {"row": 0})["row"] - LOOK_BACK)
        for row in unsealed(subject).filter(late)[:BATCH]:
            yield subject, row


def _links(previous: str, rows: Iterable[tuple[str, Any]]) -> Iterator[AuditLink]:
    for subject, row in rows:
        salt = secrets.token_bytes(16)
        digest = digest_of(salt, subject, row)
        link = AuditLink(
            subject=subject,
            row=row.pk,
            salt=salt,
            digest=digest,
            previous=previous,
            hash=hash_of(previous, subject, row, digest),
        )
        previous = link.hash
        yield link


def _plain(value: Any) -> bytes:
    return json.dumps(value, sort_keys=True, default=_as_text, ensure_ascii=False).encode()


def _as_text(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    assert isinstance(value, date)
    return value.isoformat()


def _sha256(*parts: bytes) -> str:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "big") + part)
    return digest.hexdigest()
