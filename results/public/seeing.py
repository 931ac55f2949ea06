"""Rows as one reader may see them, for templates and documents.

`seen` wraps rows, and whatever holds rows, so that every field that is read of them, however far
away, is read by the declaration. Properties and methods of a row run on what is seen of it, so
that a text made of names is made of public ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import is_dataclass
from functools import cached_property
from types import FunctionType, GeneratorType, MethodType
from typing import Any

from django.core.paginator import Page
from django.db.models import Manager, Model, QuerySet

from results.public.declared import rules_of
from results.public.readers import Reader

_MANY = (list, tuple, QuerySet, GeneratorType)


def seen(found: Any, reader: Reader) -> Any:
    """What a reader may see of a row, or of rows in a container; other values unchanged."""
    if isinstance(found, Model) or (is_dataclass(found) and not isinstance(found, type)):
        return Seen(found, reader)
    if isinstance(found, Manager):
        return SeenMany(found, reader)
    if isinstance(found, Page):
        return SeenPage(found, reader)
    if isinstance(found, Mapping):
        return {name: seen(each, reader) for name, each in found.items()}
    return [seen(each, reader) for each in found] if isinstance(found, _MANY) else found


def raw(shown: Any) -> Any:
    """The row behind what is seen of it, for a verb or a query; anything else as it is."""
    return shown._row if isinstance(shown, Seen) else shown


class Seen:
    """A row, or a dataclass that holds rows, as one reader may see it."""

    __slots__ = ("_reader", "_row")

    def __init__(self, row: Any, reader: Reader) -> None:
        self._row, self._reader = row, reader

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        row, reader = self._row, self._reader
        return seen(self._of_row(name) if isinstance(row, Model) else self._any(name), reader)

    def _of_row(self, name: str) -> Any:
        row, reader = self._row, self._reader
        if name == "may_open":
            return reader.may_open(row)
        if name in rules_of(row.__class__):
            return reader.value(row, name)
        if name.startswith("get_") and name.endswith("_display"):
            reader.value(row, name.removeprefix("get_").removesuffix("_display"))
            return getattr(row, name)
        return self._any(name)

    def _any(self, name: str) -> Any:
        """What is no field: properties and methods run on what is seen of the row."""
        of_class = getattr(type(self._row), name, None)
        if isinstance(of_class, property) and of_class.fget is not None and name != "pk":
            return of_class.fget(self)
        if isinstance(of_class, cached_property):
            return of_class.func(self)
        if isinstance(of_class, FunctionType):
            return MethodType(of_class, self)
        return getattr(self._row, name)

    def __str__(self) -> str:
        of_class: Any = type(self._row)
        shown: str = of_class.__str__(self)
        return shown

    def __bool__(self) -> bool:
        return bool(self._row)

    def __eq__(self, other: object) -> bool:
        return bool(self._row == raw(other))

    def __hash__(self) -> int:
        return hash(self._row)


class SeenMany:
    """The rows that point at a row, as one reader may see them."""

    def __init__(self, manager: Manager[Any], reader: Reader) -> None:
        self._manager, self._reader = manager, reader

    def all(self) -> list[Any]:
        return [seen(row, self._reader) for row in self._manager.all()]

    def count(self) -> int:
        return self._manager.count()

    def __iter__(self) -> Iterator[Any]:
        return iter(self.all())


class SeenPage:
    """A page of rows, as one reader may see them."""

    def __init__(self, page: Page[Any], reader: Reader) -> None:
        self._page, self._reader = page, reader
        self.object_list = seen(page.object_list, reader)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._page, name)

    def __iter__(self) -> Iterator[Any]:
        return iter(self.object_list)

    def __len__(self) -> int:
        return len(self.object_list)

    def __getitem__(self, at: int | slice) -> Any:
        return self.object_list[at]
