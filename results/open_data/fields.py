"""Columns and tables of the package, as the Data Package standard describes them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, TypeAlias

Row: TypeAlias = tuple[Any, ...]


@dataclass(frozen=True)
class Column:
    """A column: its name, its type in Table Schema's terms, and its description.

    ``among`` lists the words that may stand in it, where they are few. ``source`` names what it is
    read from, where that has another name.
    """

    name: str
    type: str
    description: str
    among: tuple[str, ...] = ()
    required: bool = False
    source: str = ""

    def schema(self) -> dict[str, Any]:
        """The field descriptor of Table Schema."""
        constraints: dict[str, Any] = {"required": True} if self.required else {}
        if self.among:
            constraints["enum"] = list(self.among)
        field = {"name": self.name, "type": self.type, "description": self.description}
        return field | ({"constraints": constraints} if constraints else {})


@dataclass(frozen=True)
class Table:
    """A table and how to read it.

    ``rows`` reads the rows as tuples, in the order of the columns, a batch at a time; ``key``
    names the columns that identify a row, ``points_to`` maps a column to the table and column
    that it repeats.
    """

    name: str
    description: str
    columns: tuple[Column, ...]
    rows: Callable[[], Iterable[Row]]
    key: tuple[str, ...]
    points_to: dict[str, tuple[str, str]] = field(default_factory=dict)

    @property
    def sources(self) -> tuple[str, ...]:
        """What each column is read from."""
        return tuple(column.source or column.name for column in self.columns)

    def schema(self) -> dict[str, Any]:
        """The Table Schema of the table (Data Package 2.0)."""
        return {
            "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
            "fields": [column.schema() for column in self.columns],
            "missingValues": [""],
            **({"primaryKey": list(self.key)} if self.key else {}),
            "foreignKeys": [
                {"fields": [own], "reference": {"resource": table, "fields": [theirs]}}
                for own, (table, theirs) in self.points_to.items()
            ],
        }


def whole(name: str, description: str, source: str = "", *, required: bool = False) -> Column:
    """A whole number."""
    return Column(name, "integer", description, required=required, source=source)


def number(name: str, description: str) -> Column:
    """A number; its unit is in its name or its description."""
    return Column(name, "number", description)


def text(name: str, description: str, among: Iterable[str] = ()) -> Column:
    """Words."""
    return Column(name, "string", description, among=tuple(among))


def yes_no(name: str, description: str) -> Column:
    """``true`` or ``false``."""
    return Column(name, "boolean", description)
