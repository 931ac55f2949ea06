"""Looking up the archive of traces: its months, and its files as they are served."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from results.models import TraceMonth, TraceMonthPart
from results.open_data.datapackage import CREATOR, PROFILES
from results.open_data.kept import PART_BYTES
from results.open_data.trace_columns import TRACES
from rigs.licence import SHARED_DATA


@dataclass(frozen=True)
class TraceFile:
    """A file of the archive: its size in bytes, its SHA-256, and its bytes a piece at a time."""

    name: str
    size: int
    sha256: str
    pieces: Iterator[bytes]


def months() -> list[TraceMonth]:
    """The months there are, the newest first."""
    return list(TraceMonth.objects.order_by("-month"))


def name_of(month: TraceMonth) -> str:
    """The name of a month's file."""
    return f"traces-{month.month:%Y-%m}.parquet"


def file_of(name: str) -> TraceFile | None:
    """A file of the archive by its name."""
    if name in TEXTS:
        body = TEXTS[name](months()).encode()
        return TraceFile(name, len(body), hashlib.sha256(body).hexdigest(), iter([body]))
    for month in months():
        if name_of(month) == name:
            return TraceFile(name, month.bytes, month.sha256, _pieces(month))
    return None


def _pieces(month: TraceMonth) -> Iterator[bytes]:
    """The bytes of this edition. Ends in an error where another takes its place meanwhile, so
    that no reader gets a piece of each."""
    for number in range(-(-month.bytes // PART_BYTES)):
        part = TraceMonthPart.objects.get(month=month, edition=month.edition, number=number)
        yield bytes(part.body)


def _descriptor(found: list[TraceMonth]) -> str:
    return json.dumps(
        {
            "$schema": f"{PROFILES}/datapackage.json",
            "name": "samespool-traces",
            "title": "Samespool: force over time of single pulls",
            "description": TRACES.description,
            "licenses": [
                {
                    "name": SHARED_DATA.identifier,
                    "path": SHARED_DATA.address,
                    "title": SHARED_DATA.name,
                }
            ],
            "contributors": [{"title": CREATOR}],
            "resources": [_resource(month) for month in found],
        },
        indent=1,
    )


def _resource(month: TraceMonth) -> dict[str, Any]:
    return {
        "$schema": f"{PROFILES}/dataresource.json",
        "name": f"traces-{month.month:%Y-%m}",
        "path": name_of(month),
        "format": "parquet",
        "mediatype": "application/vnd.apache.parquet",
        "version": str(month.edition),
        "created": f"{month.written_at:%Y-%m-%dT%H:%M:%SZ}",
        "bytes": month.bytes,
        "hash": f"sha256:{month.sha256}",
        "schema": TRACES.schema(),
    }


def _sums(found: list[TraceMonth]) -> str:
    return "".join(f"{month.sha256}  {name_of(month)}\n" for month in found)


def _taken_out(found: list[TraceMonth]) -> str:
    rows = (f"{month.month:%Y-%m},{pull}\n" for month in found for pull in month.taken_out)
    return "".join(["month,pull\n", *rows])


TEXTS: dict[str, Callable[[list[TraceMonth]], str]] = {
    "datapackage.json": _descriptor,
    "SHA256SUMS.txt": _sums,
    "taken-out.csv": _taken_out,
}
"""What lies beside the months: their schema and sums, and which pulls were taken out."""
