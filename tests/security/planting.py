"""Markers in every text and private field of every row, and every address to look for them at."""

from __future__ import annotations

import io
import itertools
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

import pyarrow.parquet as pq
from django.apps import apps
from django.db import models, transaction
from django.urls import URLPattern, URLResolver, get_resolver

from results.public.declared import rules_of
from results.public.rules import Rule

OURS = ("rigs", "results")
ACCOUNTS = ("auth.User", "account.EmailAddress")
TEXTS = (models.CharField, models.TextField, models.JSONField, models.BinaryField)
NUMBERS = (models.FloatField,)
ANY = ["1", "a"]
"""For a part of an address without a stand-in."""
OF_A_LIST = {"unit"}
"""One of a few symbols, by which loads are computed: no upload with another one is stored."""
NEEDS_NO_MORE = {"results.RoundEvent.what": "closed"}
"""The word of a fixed list with which a row is whole, where the first asks for more columns."""
OF_A_FORM = {"results.RoundReport.report"}
"""Read by its members, and there only once made; tests/stories/test_round_readers.py looks for
its figures of single participants beside everything public."""


def planted_models() -> list[type[models.Model]]:
    """The service's own tables, and those that know who somebody is."""
    ours = [model for app in OURS for model in apps.get_app_config(app).get_models()]
    return [*ours, *map(apps.get_model, ACCOUNTS)]


@dataclass
class Planted:
    """What was planted: by marker, its table, field and row."""

    where: dict[str, str] = field(default_factory=dict)
    numbers: Iterator[int] = field(default_factory=lambda: itertools.count(10_001))

    def plant(self) -> None:
        """Put a marker of its own into every field of every row that is not public as it is."""
        for model in planted_models():
            rows = list(model._base_manager.all())
            assert rows, f"the world has no {model._meta.label} to plant a marker in"
            for row in rows:
                with transaction.atomic():
                    model._base_manager.filter(pk=row.pk).update(**self._of(row))

    def found_in(self, content: str) -> set[str]:
        """Table, field and row of each marker that some text holds."""
        return {where for marker, where in self.where.items() if marker in content}

    def _of(self, row: models.Model) -> dict[str, Any]:
        values = {}
        for column in type(row)._meta.concrete_fields:
            if _is_planted(row, column):
                marker, value = self._marker(column)
                self.where[marker] = f"{type(row)._meta.label} {row.pk} {column.name}"
                values[column.name] = value
        return values

    def _marker(self, column: models.Field) -> tuple[str, Any]:
        number = next(self.numbers)
        if isinstance(column, NUMBERS):
            value = float(f"0.731{number}97")
            return f"{value!r}", value
        marker = f"z{number}xv"
        if isinstance(column, models.BinaryField):
            return marker, marker.encode()
        return marker, {marker: marker} if isinstance(column, models.JSONField) else marker


def _is_planted(row: Any, column: models.Field) -> bool:
    """Whether a column holds text, or a number that is private, which not everyone may read."""
    if column.choices or column.primary_key or column.name in {*OF_A_LIST, "password"}:
        return False
    if f"{type(row)._meta.label}.{column.name}" in OF_A_FORM:
        return False
    rule = rules_of(type(row))[column.name]
    if isinstance(column, NUMBERS):
        return rule is Rule.PRIVATE
    return isinstance(column, TEXTS) and _HIDES[rule](row, getattr(row, column.name))


def _is_accepted(row: Any) -> bool:
    return bool(row.accepted if hasattr(row, "accepted") else row.connection.accepted)


_HIDES = {
    Rule.PUBLIC: lambda _row, _value: False,
    Rule.NAME: lambda row, value: bool(value) and not getattr(row, "accepted", False),
    Rule.ACCEPTED: lambda row, _value: not _is_accepted(row),
    Rule.QUANTITY: lambda _row, _value: True,
    Rule.ROUNDED: lambda _row, _value: False,
    Rule.SERVICE: lambda row, _value: row.by_id is not None,
    Rule.PRIVATE: lambda _row, _value: True,
}


def bare(model: type[models.Model]) -> models.Model:
    """A row of a table, of the first rows of others and of as little else as it takes."""
    values: dict[str, Any] = {}
    for column in model._meta.concrete_fields:
        if column.primary_key and not column.is_relation:
            continue
        if column.is_relation:
            values[column.name] = column.related_model._base_manager.order_by("pk").first()
        elif column.has_default() or column.null or column.db_default is not models.NOT_PROVIDED:
            continue
        else:
            named = f"{model._meta.label}.{column.name}"
            values[column.name] = NEEDS_NO_MORE.get(named) or _any_value(column)
    return model._base_manager.create(**values)


def _any_value(column: models.Field) -> Any:
    if column.choices:
        return column.choices[0][0]
    if isinstance(column, models.DateTimeField):
        return datetime(2026, 1, 10, tzinfo=UTC)
    if isinstance(column, models.DateField):
        return date(2026, 1, 10)
    if isinstance(column, models.BinaryField):
        return b"x"
    return "x" if isinstance(column, models.CharField | models.TextField) else 1


def addresses(stand_ins: dict[str, list[str]]) -> Iterator[str]:
    """Every address outside the admin, with each stand-in in place of each part that varies.

    Pictures are asked for as SVG: the same is in the PNG, where no text can be found.
    """
    for entry in get_resolver().url_patterns:
        if not str(entry.pattern).startswith("admin/"):
            yield from _below(entry, "/", stand_ins)


def _below(entry: Any, before: str, stand_ins: dict[str, list[str]]) -> Iterator[str]:
    if isinstance(entry, URLResolver):
        for inner in entry.url_patterns:
            yield from _below(inner, before + str(entry.pattern), stand_ins)
        return
    assert isinstance(entry, URLPattern)
    route = before + str(entry.pattern)
    names = list(entry.pattern.converters)
    if route.endswith(".png") or entry.name in ("nothing", "account_logout"):
        return
    for values in itertools.product(*(stand_ins.get(name, ANY) for name in names)):
        address = route
        for value in values:
            head, _, tail = address.partition("<")
            address = head + value + tail.partition(">")[2]
        yield address.replace("^", "").replace("$", "")


def content_of(answer: Any) -> str:
    """All text of an answer: its head, its body, and what an archive or a table holds."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    texts = [repr(sorted(answer.headers.items())), body.decode(errors="replace")]
    if body.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(body)) as packed:
            texts += [packed.read(name).decode(errors="replace") for name in packed.namelist()]
    if body.startswith(b"PAR1"):
        texts.append(str(pq.read_table(io.BytesIO(body)).to_pylist()))
    return "\n".join(texts)
