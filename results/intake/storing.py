"""Writing a checked session: its row, the original bytes, baselines, sets and pulls."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, TypeAlias

from django.db import connection
from django.db.models import Model
from psycopg.types.json import Jsonb

from results.intake.checking import Checked
from results.intake.parts import Pulled
from results.models import Baseline, Pull, PullSet, Session, Trace, Upload
from rigs.models import Contributor

FEW_SETS = 30
_COLUMNS = (
    "baseline_id", "pull_set_id", "number", "reading_written", "unit", "reading_N",
    "failure_mode", "place", "slipped_first", "time_to_break_s", "note",
)  # fmt: skip

Part: TypeAlias = tuple[Pulled, Baseline | PullSet]
"""What was checked, and the row that its pulls are stored under."""


def store_session(
    contributor: Contributor, checked: Checked, fingerprint: str, replaces: Session | None
) -> Session:
    """Insert the session with all its parts in the caller's transaction. Takes no other locks."""
    said = checked.document
    session = Session.objects.create(
        contributor=contributor,
        revision=checked.revision,
        pulled_on=said.pulled_on,
        state=said.state,
        loading=said.loading,
        unit=checked.unit,
        temperature_C=said.temperature_C,
        soak_hours=said.soak_hours,
        note=said.note,
        fingerprint=fingerprint,
        replaces=replaces,
        version=replaces.version + 1 if replaces else 1,
    )
    baselines = Baseline.objects.bulk_create(
        Baseline(session=session, line=part.line, spool=part.spool, position=part.position)
        for part in checked.straight
    )
    rows = [part.row for part in checked.joined if part.row is not None]
    for row in rows:
        row.session = session
    _store_pull_sets(rows)
    parts: list[Part] = [
        *zip(checked.straight, baselines, strict=True),
        *zip(checked.joined, rows, strict=True),
    ]
    _store_pulls(parts)
    _store_traces([part for part in parts if part[0].readings.traces])
    return session


def store_upload(
    session: Session, body: bytes, content_type: str, sha256: str, key: str | None
) -> None:
    """Keep the bytes as they were sent."""
    Upload.objects.create(
        contributor=session.contributor,
        session=session,
        idempotency_key=key,
        content_type=content_type,
        body=body,
        sha256=sha256,
    )


def _store_pull_sets(rows: Sequence[PullSet]) -> None:
    """PostgreSQL takes many rows by COPY, several times as fast as INSERT; SQLite knows no COPY.

    Few go in by one INSERT, since ids and COPY need four messages to the server.
    """
    if connection.vendor != "postgresql" or len(rows) <= FEW_SETS:
        PullSet.objects.bulk_create(rows)
        return
    names = [field.attname for field in PullSet._meta.concrete_fields]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)",
            [PullSet._meta.db_table, len(rows)],
        )
        for row, (pk,) in zip(rows, cursor.fetchall(), strict=True):
            row.pk = pk
        with connection.wrap_database_errors, cursor.copy(_copy_into(PullSet, names)) as copy:
            for row in rows:
                values = [getattr(row, name) for name in names]
                copy.write_row([Jsonb(each) if isinstance(each, dict) else each for each in values])


def _copy_into(model: type[Model], columns: Sequence[str]) -> str:
    names = ", ".join(f'"{name}"' for name in columns)
    return f"COPY {model._meta.db_table} ({names}) FROM STDIN"


def _store_pulls(parts: Sequence[Part]) -> None:
    """As ``_store_pull_sets``, from columns rather than rows."""
    if connection.vendor != "postgresql":
        Pull.objects.bulk_create(
            row for part, parent in parts for row in part.rows(**_parent(parent))
        )
        return
    with (
        connection.cursor() as cursor,
        connection.wrap_database_errors,
        cursor.copy(_copy_into(Pull, _COLUMNS)) as copy,
    ):
        for part, parent in parts:
            for row in _tuples(part, parent):
                copy.write_row(row)


def _store_traces(parts: Sequence[Part]) -> None:
    """As ``_store_pulls``, once the pulls have their ids."""
    ids = _ids_of_pulls(parent for _, parent in parts)
    traced = [
        (ids[parent, index + 1], trace.columns())
        for part, parent in parts
        for index, trace in part.readings.traces.items()
    ]
    if not traced:
        return
    if connection.vendor != "postgresql":
        Trace.objects.bulk_create(Trace(pull_id=pull, **columns) for pull, columns in traced)
        return
    names = ["pull_id", *traced[0][1]]
    with (
        connection.cursor() as cursor,
        connection.wrap_database_errors,
        cursor.copy(_copy_into(Trace, names)) as copy,
    ):
        for pull, columns in traced:
            values = {**columns, "slips": Jsonb(columns["slips"])}
            if columns["hold"] is not None:
                values["hold"] = Jsonb(columns["hold"])
            copy.write_row((pull, *values.values()))


def _ids_of_pulls(
    parents: Iterable[Baseline | PullSet],
) -> dict[tuple[Baseline | PullSet, int], int]:
    """By parent and number within it; a query for each kind of parent."""
    by_kind: dict[str, dict[int, Baseline | PullSet]] = {"baseline": {}, "pull_set": {}}
    for parent in parents:
        by_kind[next(iter(_parent(parent)))][parent.pk] = parent
    return {
        (of[owner], number): pk
        for kind, of in by_kind.items()
        if of
        for owner, number, pk in Pull.objects.filter(**{f"{kind}__in": [*of]})
        .order_by()
        .values_list(kind, "number", "pk")
    }


def _parent(parent: Baseline | PullSet) -> dict[str, Baseline | PullSet]:
    return {"baseline" if isinstance(parent, Baseline) else "pull_set": parent}


def _tuples(part: Pulled, parent: Baseline | PullSet) -> Iterator[tuple[Any, ...]]:
    of_baseline = parent.pk if isinstance(parent, Baseline) else None
    of_set = parent.pk if isinstance(parent, PullSet) else None
    readings = part.readings
    columns = zip(part.pulls, readings.written, readings.units, readings.forces(), strict=True)
    for number, (pull, written, unit, force) in enumerate(columns, start=1):
        yield (
            of_baseline,
            of_set,
            number,
            written,
            unit,
            force,
            pull.failure_mode,
            pull.place,
            pull.slipped_first,
            pull.time_to_break_s,
            pull.note,
        )
