"""The panel's tables: shares with exact limits, and the shift of what was accepted."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import beta

from deploy.benchmarks.screening.panel import KINDS

BEFORE = Path(__file__).with_name("before.csv")
"""The panel as it came out before screening was rebuilt, by ``--save``."""
COLUMNS = ("kind", "way", "cases", "held", "marked", "waiting", "median", "p95", "most")
OF_THE_CALIBRATION = {
    "calibration missing",
    "calibration stale",
    "beyond the calibration",
    "calibration poor",
}
"""Marks that half of the panel's rigs get for what they are, whatever is pulled on them."""
Row = dict[str, Any]


@dataclass(frozen=True)
class Summary:
    """Counts of one kind; the shifts are of cases in which something counts, in percent.

    A case is ``marked`` where a check marks it for more than its rig's calibration.
    """

    kind: str
    way: str
    cases: int
    held: int
    marked: int
    waiting: int
    median: float | None
    p95: float | None
    most: float | None

    @property
    def shifts(self) -> str:
        """Median, 95th percentile and most; a dash where nothing was accepted."""
        if self.median is None or self.p95 is None or self.most is None:
            return "-"
        return f"{self.median:.1f} / {self.p95:.1f} / {self.most:.1f}"


def interval(found: int, of: int) -> tuple[float, float]:
    """Exact 95 percent interval of a share (Clopper & Pearson 1934)."""
    low = float(beta.ppf(0.025, found, of - found + 1)) if found else 0.0
    high = float(beta.ppf(0.975, found + 1, of - found)) if found < of else 1.0
    return low, high


def share(found: int, of: int) -> str:
    """A share in percent with its interval."""
    low, high = interval(found, of)
    return f"{100 * found / of:.0f} ({100 * low:.0f}-{100 * high:.0f})"


def summaries(rows: Iterable[Row]) -> list[Summary]:
    """One summary a kind and way, in the order of the list of kinds."""
    found = [row for row in rows if row["kind"] in KINDS]
    return [
        _summary(name, way, chosen)
        for way in ("rows", "whole")
        for name in KINDS
        if (chosen := [row for row in found if row["kind"] == name and _way(row) == way])
    ]


def print_table(rows: Sequence[Row], *, with_checks: bool) -> None:
    """A Markdown table, each kind beside what it was before."""
    before = {(one.kind, one.way): one for one in read(BEFORE)}
    print(
        "| kind | should | way | cases | held % | before | marked % | before | waiting % "
        "| shift of accepted: median / p95 / most % | before |" + " checks |" * with_checks
    )
    print("|---" * (11 + with_checks) + "|")
    for one in summaries(rows):
        was = before.get((one.kind, one.way))
        chosen = [row for row in rows if row["kind"] == one.kind and _way(row) == one.way]
        cells = [
            one.kind,
            "not be held" if KINDS[one.kind].group.is_honest else KINDS[one.kind].group,
            one.way,
            str(one.cases),
            share(one.held, one.cases),
            share(was.held, was.cases) if was else "",
            share(one.marked, one.cases),
            share(was.marked, was.cases) if was else "",
            share(one.waiting, one.cases),
            one.shifts,
            was.shifts if was else "",
            *([_checks(chosen)] if with_checks else []),
        ]
        print(f"| {' | '.join(cells)} |")


def read(path: Path) -> list[Summary]:
    """Summaries that were saved."""
    if not path.exists():
        return []
    with path.open(newline="") as file:
        return [_read_row(row) for row in csv.DictReader(file)]


def save(path: Path, rows: Iterable[Row]) -> None:
    """Summaries as CSV."""
    with path.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for one in summaries(rows):
            values = (getattr(one, column) for column in COLUMNS)
            writer.writerow(_written(value) for value in values)


def _way(row: Row) -> str:
    return "whole" if row["whole"] else "rows"


def _summary(name: str, way: str, rows: Sequence[Row]) -> Summary:
    shifts = np.abs([row["shift"] for row in rows if row["shift"] is not None])
    return Summary(
        kind=name,
        way=way,
        cases=len(rows),
        held=sum(row["held"] for row in rows),
        marked=sum(bool(set(row["marks"]) - OF_THE_CALIBRATION) for row in rows),
        waiting=sum(row["waiting"] for row in rows),
        median=float(np.median(shifts)) if shifts.size else None,
        p95=float(np.quantile(shifts, 0.95)) if shifts.size else None,
        most=float(shifts.max()) if shifts.size else None,
    )


def _checks(rows: Sequence[Row]) -> str:
    counted = Counter(name for row in rows for name in row["checks"])
    return ", ".join(f"{name} {count}" for name, count in counted.most_common(4))


def _read_row(row: dict[str, str]) -> Summary:
    cases, held, marked, waiting = (int(row[name]) for name in COLUMNS[2:6])
    median, p95, most = (float(row[name]) if row[name] else None for name in COLUMNS[6:])
    return Summary(row["kind"], row["way"], cases, held, marked, waiting, median, p95, most)


def _written(value: str | int | float | None) -> str:
    if value is None:
        return ""
    return f"{value:.2f}" if isinstance(value, float) else str(value)
