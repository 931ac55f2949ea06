"""Writing a table as CSV and as Parquet at once, from one reading, a batch of rows at a time."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from results.open_data.fields import Row, Table
from results.public.csv_cells import safe

# The first array makes pyarrow import pandas where that is installed. Done here, while a process
# starts: another thread that draws a chart meanwhile would find half of it, and fail.
pa.array([0])

ROWS_AT_ONCE = 20_000
ARROW = {
    "integer": pa.int64(),
    "number": pa.float64(),
    "string": pa.string(),
    "boolean": pa.bool_(),
    "date": pa.date32(),
    "datetime": pa.timestamp("us", tz="UTC"),
    "object": pa.string(),
}


def write(table: Table, folder: Path) -> int:
    """Write ``<name>.csv`` and ``<name>.parquet`` into a folder; returns the number of rows.

    A missing value is an empty cell in the one and null in the other. Text that a spreadsheet
    would run is guarded by an apostrophe in the CSV alone.
    """
    schema = pa.schema(
        [
            pa.field(column.name, ARROW[column.type], metadata={"description": column.description})
            for column in table.columns
        ]
    )
    written = 0
    with (
        (folder / f"{table.name}.csv").open("w", encoding="utf-8", newline="") as sheet,
        pq.ParquetWriter(folder / f"{table.name}.parquet", schema, compression="zstd") as parquet,
    ):
        cells = csv.writer(sheet, lineterminator="\r\n")
        cells.writerow([column.name for column in table.columns])
        for rows in _batches(table.rows()):
            cells.writerows([[_cell(value) for value in row] for row in rows])
            parquet.write_batch(_arrow(rows, schema))
            written += len(rows)
    return written


def _batches(rows: Iterable[Row]) -> Iterator[list[Row]]:
    found = iter(rows)
    while batch := [tuple(_or_null(value) for value in row) for row in islice(found, ROWS_AT_ONCE)]:
        yield batch


def _or_null(value: Any) -> Any:
    return None if value == "" else value


def _arrow(rows: Sequence[Row], schema: pa.Schema) -> pa.RecordBatch:
    columns = zip(*rows, strict=True)
    arrays = [
        pa.array(column, type=field.type) for column, field in zip(columns, schema, strict=True)
    ]
    return pa.RecordBatch.from_arrays(arrays, schema=schema)


def _cell(value: Any) -> Any:
    """A value as Table Schema writes it: numbers to the last digit, days and times by ISO 8601."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.isoformat(timespec="microseconds").replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    return safe(value)
