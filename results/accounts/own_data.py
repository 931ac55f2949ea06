"""One's own data: everything stored of an account, as one archive."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from tempfile import SpooledTemporaryFile
from typing import IO, Any

from django.apps import apps
from django.contrib.auth.models import User
from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import BinaryField, Field
from django.utils import timezone

from results.accounts.personal_columns import PATHS, rows_of
from results.models import SealedSession, Upload, WaitingSession, WaitingUpload
from rigs.models import Contributor
from rigs.quotas import ration

MOST_A_DAY, A_DAY_S = 5, 24 * 3600
IN_MEMORY = 8 * 1024 * 1024
BATCH = 2000
ENDINGS = {"application/json": "json", "text/csv": "csv"}

KEPT_BACK = {
    "auth.User.password": "a hash, only of use to someone guessing the password",
    "knox.AuthToken.digest": "a hash of the token",
    "mfa.Authenticator.data": "the secret of the second factor",
    "results.Upload.body": "a file of its own in the archive",
    "results.WaitingUpload.body": "a file of its own in the archive",
    "results.WaitingSession.body": "a file of its own in the archive",
    "results.SealedSession.body": "a file of its own in the archive",
    "results.RoundSpecimen.sample": "which sample a code is, before the close hidden from everyone",
    "results.RoundSpecimen.copy": "which code is a duplicate, as hidden",
    "results.Report.reporter_key": "a keyed hash that distinguishes reporters",
    "results.Report.outcome": "a moderator's words on something else",
}
"""Columns that the archive leaves out, each with the reason."""

NOT_OF_AN_ACCOUNT = {
    "rigs.Club": "of its members together; one's own is named with the contributor",
    "results.Pool": "of all testers together",
    "results.PoolVersion": "of all testers together",
    "results.StalePool": "of all testers together",
    "results.DirectComparison": "of all testers together",
    "results.PairReference": "of two lines",
    "results.AcceptedName": "of everybody who names something so",
    "results.Edition": "of the store",
    "results.Release": "of the store",
    "results.ReleasePart": "of the store",
    "results.TraceMonth": "of the store",
    "results.TraceMonthPart": "of the store",
    "results.ArchivedTrace": "of the store: which file a trace is in",
    "results.RoundReport": "of all participants of a round together, by number",
    "results.AuditLink": "of the store: sums of rows, and nothing that is in them",
}
"""Tables without a row of anybody's own, each with the reason."""


def archive_of(contributor: Contributor) -> IO[bytes]:
    """A ZIP with a JSON file of each table's own rows, and every upload byte for byte.

    Other people who wrote or decided something are named by role alone. Reads table by table and
    locks nothing. Raises TooMany after a few in a day.
    """
    ration("own-data", str(contributor.pk), MOST_A_DAY, A_DAY_S)
    archive = SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - the caller closes it
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as zipped:
        about = {"contributor": contributor.handle, "read_at": timezone.now(), "tables": [*PATHS]}
        zipped.writestr("about.json", _json(about))
        for label in PATHS:
            with zipped.open(f"{label}.json", "w") as file:
                _write(file, contributor, label)
        for name, body in _files(contributor):
            zipped.writestr(name, body)
    archive.seek(0)
    return archive


def _write(file: IO[bytes], contributor: Contributor, label: str) -> None:
    """Write the rows of one table, one per line."""
    columns = [
        field
        for field in apps.get_model(label)._meta.concrete_fields
        if f"{label}.{field.name}" not in KEPT_BACK and not isinstance(field, BinaryField)
    ]
    separator = b"[\n"
    for rows in rows_of(contributor, label):
        for row in rows.order_by("pk").iterator(BATCH):
            document = {field.attname: _value(contributor, row, field) for field in columns}
            file.write(separator + _json(document).encode())
            separator = b",\n"
    file.write(b"\n]\n" if separator == b",\n" else b"[]\n")


def _value(contributor: Contributor, row: Any, field: Field[Any, Any]) -> Any:
    """A column's value; another account is replaced by its role."""
    value = getattr(row, field.attname)
    if field.related_model is not User or value is None:
        return value
    return "yourself" if value == contributor.user_id else "a moderator"


def _files(contributor: Contributor) -> Iterator[tuple[str, bytes]]:
    for upload in Upload.objects.filter(contributor=contributor).order_by("pk").iterator(10):
        yield f"uploads/session-{upload.session_id}.{_ending(upload)}", bytes(upload.body)
    for waiting in WaitingUpload.objects.filter(contributor=contributor):
        yield f"uploads/waiting.{_ending(waiting)}", bytes(waiting.body)
    for session in WaitingSession.objects.filter(contributor=contributor):
        yield f"uploads/waiting-{session.key}.{_ending(session)}", bytes(session.body)
    for sealed in SealedSession.objects.filter(participant__contributor=contributor):
        yield f"uploads/sealed-{sealed.pk}.{_ending(sealed)}", bytes(sealed.body)


def _ending(upload: Upload | WaitingUpload | WaitingSession | SealedSession) -> str:
    return ENDINGS.get(upload.content_type.partition(";")[0], "xlsx")


def _json(document: object) -> str:
    return json.dumps(document, cls=DjangoJSONEncoder, ensure_ascii=False)
