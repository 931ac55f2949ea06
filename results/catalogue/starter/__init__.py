"""The starter catalogue: joins by their trade names with how they are tied, and kinds of line.

It is the one home of how a join is tied, for a service on its first day and for the demo. The
files beside this one hold it: common practice, no source, in our own words.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.db import transaction

from results.models import Connection, ConnectionAlias, TieParameter
from rigs.models import Line

Document = dict[str, Any]

_FOLDER = Path(__file__).parent
_OF_JOINS = ("line_to_line.toml", "line_to_terminal.toml", "loops_splices_crimps.toml")
_OF_LINES = "lines.toml"


@dataclass(frozen=True)
class Laid:
    """How many joins and lines were new."""

    joins: int
    lines: int


@cache
def joins() -> dict[str, Document]:
    """Each join by its name, in the words of the API: a step of its description is a line."""
    found = [entry for name in _OF_JOINS for entry in _read(name)["join"]]
    return {entry["name"]: _document(entry) for entry in found}


@cache
def lines() -> tuple[Document, ...]:
    """Lines without a maker: name, material, and diameter in metres and as written."""
    return tuple(
        {
            "name": f"{entry['name']}, {diameter:.2f} mm",
            "material": entry["material"],
            "diameter_m": round(diameter / 1000, 6),
            "diameter_written": f"{diameter:.2f} mm",
        }
        for entry in _read(_OF_LINES)["line"]
        for diameter in entry["diameters_mm"]
    )


def lay_starter() -> Laid:
    """Put what is missing of the starter catalogue into the store, accepted.

    What is there by name, or by an alias, is left as it is, so that a second time changes
    nothing. One transaction; inserts rows and locks none.
    """
    with transaction.atomic():
        new_joins = sum(map(_lay_join, joins().values()))
        known = _folded(Line.objects.values_list("name", flat=True))
        new_lines = [one for one in lines() if one["name"].casefold() not in known]
        Line.objects.bulk_create(Line(**one, accepted=True) for one in new_lines)
    return Laid(new_joins, len(new_lines))


def _lay_join(document: Document) -> bool:
    taken = _folded(Connection.objects.values_list("name", flat=True))
    taken |= _folded(ConnectionAlias.objects.values_list("name", flat=True))
    if document["name"].casefold() in taken:
        return False
    own = {name: document[name] for name in ("name", "kind", "description", "tools")}
    connection = Connection.objects.create(
        **own, slim=document["slim"], quick=document["quick"], accepted=True
    )
    free = [name for name in document["aliases"] if name.casefold() not in taken]
    ConnectionAlias.objects.bulk_create(
        ConnectionAlias(connection=connection, name=name) for name in free
    )
    TieParameter.objects.bulk_create(
        TieParameter(connection=connection, **parameter) for parameter in document["parameters"]
    )
    return True


def _document(entry: Document) -> Document:
    return {
        "name": entry["name"],
        "kind": entry["kind"],
        "aliases": entry.get("aliases", []),
        "description": "\n".join(entry["steps"]),
        "tools": entry.get("tools", ""),
        "slim": entry.get("slim"),
        "quick": entry.get("quick"),
        "parameters": [
            {"name": name, "type": "integer", "lowest": lowest, "highest": highest}
            for name, (lowest, highest) in entry.get("counted", {}).items()
        ],
    }


def _folded(names: Any) -> set[str]:
    return {name.casefold() for name in names}


def _read(name: str) -> Document:
    return tomllib.loads((_FOLDER / name).read_text(encoding="utf-8"))
