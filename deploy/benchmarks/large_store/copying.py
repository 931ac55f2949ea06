"""Write columns into a table by COPY; missing ones by the field's or the database's default."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import repeat
from typing import Any

import numpy as np
from django.core.management.color import no_style
from django.db import connection, models
from django.utils import timezone
from psycopg.types.json import Jsonb


def copy_in(model: type[models.Model], rows: int, columns: Mapping[str, Any]) -> None:
    """Write so many rows, numbered from 1 unless their key is given.

    A column is an array or list of one value a row, or one value for all.
    """
    answer = dict(columns)
    key = model._meta.pk
    if key.attname not in answer and isinstance(key, models.AutoField):
        answer[key.attname] = range(1, rows + 1)
    fields = [
        field
        for field in model._meta.concrete_fields
        if not field.generated and (field.attname in answer or not field.has_db_default())
    ]
    values = [_values(field, answer) for field in fields]
    names = ", ".join(f'"{field.column}"' for field in fields)
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {model._meta.db_table} ({names}) FROM STDIN") as copy,
    ):
        for row, _ in zip(zip(*values, strict=False), range(rows), strict=False):
            copy.write_row(row)


def renumber(*tables: type[models.Model]) -> None:
    """Let the next row of each table have the number after the last."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), tables):
            cursor.execute(statement)


def _values(field: models.Field[Any, Any], answer: dict[str, Any]) -> Any:
    of_rows = answer.get(field.attname)
    if field.attname not in answer:
        of_rows = repeat(_default(field))
    elif isinstance(of_rows, np.ndarray):
        of_rows = of_rows.tolist()
    elif not isinstance(of_rows, list | range):
        of_rows = repeat(of_rows)
    if isinstance(field, models.JSONField):
        return (None if each is None else Jsonb(each) for each in of_rows)
    return of_rows


def _default(field: models.Field[Any, Any]) -> Any:
    if getattr(field, "auto_now_add", False) or getattr(field, "auto_now", False):
        return timezone.now()
    if field.has_default():
        return field.get_default()
    return None if field.null else ""
