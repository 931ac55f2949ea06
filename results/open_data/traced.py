"""A file of the archive of traces, written a row group at a time."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from django.db.models import QuerySet
from numpy.typing import NDArray

from results.models import Trace
from results.open_data.fields import Row
from results.open_data.trace_columns import TRACES
from results.open_data.writing import ARROW
from results.public.readers import Reader
from rigs.licence import SHARED_DATA
from rigs.metrology.traces.encoding import clock_decimals, decode
from rigs.metrology.units import FORCE_UNITS

TRACES_AT_ONCE = 100
SAMPLES_AT_ONCE = 1_000_000
"""Of a row group: writer and reader hold one at a time."""
FINEST_DECIMALS = 9
"""Of a force: beyond what an upload may be written with."""
_SAMPLES = pa.list_(pa.int64())

ENCODINGS = {
    f"{name}.list.element": "DELTA_BINARY_PACKED" for name in ("time_ticks", "force_steps")
}
"""Differences of whole numbers, packed in as many bits as they need: the samples of a load cell
change by a few steps, and its clock by the same tick each time."""


@dataclass(frozen=True)
class Written:
    """What a file holds: the pulls of its traces, in order, and how many samples."""

    pulls: Sequence[int]
    samples: int


def write_traces(traces: QuerySet[Trace], path: Path) -> Written:
    """Write traces as Parquet, in the order of their pulls; holds one row group in memory."""
    pulls, samples = array("q"), 0
    with pq.ParquetWriter(
        path, _schema(), compression="zstd", use_dictionary=["unit"], column_encoding=ENCODINGS
    ) as parquet:
        for rows in _groups(_rows(traces)):
            parquet.write_batch(_batch(rows))
            pulls.extend(row[0] for row in rows)
            samples += sum(row[-1].size for row in rows)
    return Written(pulls, samples)


def _schema() -> pa.Schema:
    kinds = {**ARROW, "array": _SAMPLES}
    fields = [
        pa.field(column.name, kinds[column.type], metadata={"description": column.description})
        for column in TRACES.columns
    ]
    about = {"description": TRACES.description, "licence": SHARED_DATA.identifier}
    return pa.schema(fields, metadata=about)


def _rows(traces: QuerySet[Trace]) -> Iterator[Row]:
    stranger = Reader()
    whose = traces.select_related("pull__pull_set", "pull__baseline").order_by("pk")
    for trace in whose.iterator(TRACES_AT_ONCE):
        time_s, force = decode(bytes(stranger.value(trace, "samples")))
        unit = stranger.value(trace, "unit")
        pull = trace.pull
        part = pull.pull_set or pull.baseline
        clock, decimals = clock_decimals(time_s), _decimals(stranger.value(trace, "step"))
        yield (
            trace.pk,
            pull.pull_set_id,
            pull.baseline_id,
            part and part.session_id,
            unit,
            FORCE_UNITS[unit],
            force.size,
            stranger.value(trace, "peak_N"),
            clock,
            decimals,
            _counts(time_s - time_s[0], clock),
            _counts(force, decimals),
        )


def _decimals(step: float) -> int:
    """The decimals that a step is written with."""
    exponent = Decimal(repr(step)).normalize().as_tuple().exponent
    return min(FINEST_DECIMALS, max(0, -int(exponent)))


def _counts(values: NDArray[np.float64], decimals: int) -> NDArray[np.int64]:
    return np.rint(values * 10.0**decimals).astype(np.int64)


def _groups(rows: Iterable[Row]) -> Iterator[list[Row]]:
    group: list[Row] = []
    samples = 0
    for row in rows:
        group.append(row)
        samples += row[-1].size
        if samples >= SAMPLES_AT_ONCE:
            yield group
            group, samples = [], 0
    if group:
        yield group


def _batch(rows: Sequence[Row]) -> pa.RecordBatch:
    schema = _schema()
    columns = zip(*rows, strict=True)
    arrays = [
        _lists(column) if field.type == _SAMPLES else pa.array(column, type=field.type)
        for column, field in zip(columns, schema, strict=True)
    ]
    return pa.RecordBatch.from_arrays(arrays, schema=schema)


def _lists(series: Sequence[NDArray[np.int64]]) -> pa.Array:
    ends = np.cumsum([0, *(each.size for each in series)], dtype=np.int32)
    return pa.ListArray.from_arrays(ends, np.concatenate(series))
