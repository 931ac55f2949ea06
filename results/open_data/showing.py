"""Rows of the package: each field as a stranger may read it, by the declaration."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.db.models import Model

from results.open_data.fields import Row
from results.public.declared import rules_of
from results.public.readers import Hidden, Reader


def shown(rows: Iterable[Model], columns: Sequence[str]) -> Iterator[Row]:
    """These columns of each row, in order; nothing in place of what is not public."""
    stranger = Reader()
    for row in rows:
        yield shown_of(row, columns, stranger)


def shown_of(row: Model, columns: Sequence[str], reader: Reader) -> Row:
    """These columns of a row: objects as JSON, and annotations as they are."""
    return tuple(_shown(row, name, reader) for name in columns)


def _shown(row: Model, name: str, reader: Reader) -> Any:
    if name != "pk" and name not in rules_of(type(row)):
        return getattr(row, name)
    try:
        return _plain(reader.value(row, name))
    except Hidden:
        return None


def _plain(value: Any) -> Any:
    return json.dumps(value, sort_keys=True) if isinstance(value, dict) else value
