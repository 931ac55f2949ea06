"""What the package says of itself: ``datapackage.json`` and the README with its code book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from results.open_data.fields import Column, Table
from results.open_data.tables import TABLES
from results.open_data.trace_columns import TRACES
from rigs.licence import SHARED_DATA

PROFILES = "https://datapackage.org/profiles/2.0"
CREATOR = "Samespool contributors"
TITLE = "Samespool: pull tests of fishing-line joins"
ABOUT = (
    "Every public pull of joined and of straight fishing line, voids included, with the rigs they "
    "were made on and the pooled efficiencies of the joins. Not for lifting, climbing or life "
    "support."
)
WORDS = Path(__file__).with_name("OPEN_DATA.md")


@dataclass(frozen=True)
class ReleaseInfo:
    """Which release this is: its number, when it was made, and the snapshot of its pools."""

    number: int
    made_at: datetime
    snapshot: str


def descriptor(info: ReleaseInfo, files: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """The ``datapackage.json`` (Data Package 2.0) over files with ``bytes`` and ``sha256``."""
    return {
        "$schema": f"{PROFILES}/datapackage.json",
        "name": "samespool-open-data",
        "title": TITLE,
        "version": str(info.number),
        "created": f"{info.made_at:%Y-%m-%dT%H:%M:%SZ}",
        "id": info.snapshot,
        "description": ABOUT,
        "licenses": [
            {
                "name": SHARED_DATA.identifier,
                "path": SHARED_DATA.address,
                "title": SHARED_DATA.name,
            }
        ],
        "contributors": [{"title": CREATOR}],
        "resources": [
            *(_sheet(table, files[f"{table.name}.csv"]) for table in TABLES),
            *(_parquet(table, files[f"{table.name}.parquet"]) for table in TABLES),
        ],
    }


def _sheet(table: Table, file: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "$schema": f"{PROFILES}/dataresource.json",
        "name": table.name,
        "path": f"{table.name}.csv",
        "type": "table",
        "description": table.description,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": file["bytes"],
        "hash": f"sha256:{file['sha256']}",
        "schema": table.schema(),
    }


def _parquet(table: Table, file: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "$schema": f"{PROFILES}/dataresource.json",
        "name": f"{table.name}-parquet",
        "path": f"{table.name}.parquet",
        "type": "file",
        "description": f"The rows of {table.name}.csv.",
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "bytes": file["bytes"],
        "hash": f"sha256:{file['sha256']}",
    }


def readme(info: ReleaseInfo, rows: Mapping[str, int]) -> str:
    """The README of the package, then every table and column with its description."""
    return "\n".join(
        [
            WORDS.read_text(encoding="utf-8"),
            "# This release",
            "",
            f"Version {info.number} of {info.made_at:%Y-%m-%d %H:%M} UTC, "
            f"snapshot `{info.snapshot}`, shared under {SHARED_DATA.name} "
            f"({SHARED_DATA.identifier}, {SHARED_DATA.address}).",
            "",
            "# Code book",
            "",
            *(
                line
                for table in TABLES
                for line in _in_words(f"{table.name}, {rows[table.name]} rows", table)
            ),
            *_in_words("A month of the archive of traces, not in this archive", TRACES),
        ]
    )


def _in_words(heading: str, table: Table) -> list[str]:
    return [
        f"## {heading}",
        "",
        table.description,
        "",
        "| column | type | what stands in it |",
        "|---|---|---|",
        *(f"| {one.name} | {one.type} | {_meaning(table, one)} |" for one in table.columns),
        "",
    ]


def _meaning(table: Table, column: Column) -> str:
    parts = [column.description]
    if column.among:
        parts.append("one of: " + ", ".join(column.among))
    if column.name in table.points_to:
        parts.append("see {}.{}".format(*table.points_to[column.name]))
    return "; ".join(parts)
