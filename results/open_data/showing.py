"""Rows of the package: each field as a stranger may read it, by the declaration."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.db.models import Model

from results.open_data.fields import Row
from results.public.declared import rules_of
from results.public.readers import Reader


def shown(rows: Iterable[Model], columns: Sequence[str]) -> Iterator[Row]:
    """These columns of each row, in order. Raises Hidden for one that is not public."""
    stranger = Reader()
    for row in rows:
        yield shown_of(row, columns, stranger)


def shown_of(row: Model, columns: Sequence[str], reader: Reader) -> Row:
    """These columns of a row: objects as JSON, and annotations as they are."""
    fields = rules_of(type(row))
    return tuple(
        _plain(reader.value(row, name) if name in fields or name == "pk" else getattr(row, name))
        for name in columns
    )


def _plain(value: Any) -> Any:
    return json.dumps(value, sort_keys=True) if isinstance(value, dict) else value
