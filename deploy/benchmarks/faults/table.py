"""What the benchmark prints: one row a fault."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field


@dataclass
class Audit:
    """Sessions by what became of them, and pools by whether their figures are right."""

    accepted: int = 0
    in_pool: int = 0
    held: int = 0
    marked_failed: int = 0
    lost: int = 0
    twice: int = 0
    compared: int = 0
    differing: int = 0
    unfinished: int = 0
    newest_version: int = 0
    complaints: list[str] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Whether nothing is lost, double, different or left undone."""
        return not (self.lost or self.twice or self.differing or self.unfinished)


@dataclass(frozen=True)
class ResultRow:
    """A fault, how often it struck, and what was found after it."""

    fault: str
    repeats: int
    refusals: str
    audit: Audit
    recovery_s: float
    note: str = ""

    @property
    def is_clean(self) -> bool:
        """Whether the fault struck as it should, and the audit found nothing amiss."""
        return self.audit.is_clean and not math.isnan(self.recovery_s)


COLUMNS = (
    "fault", "struck", "answered 202", "in pool", "held", "failed", "lost", "twice",
    "figures compared", "differing", "left undone", "recovery, s", "answers but 202; remarks",
)  # fmt: skip


def cells(row: ResultRow) -> list[str]:
    """A row in words."""
    found = row.audit
    counts = (
        row.repeats, found.accepted, found.in_pool, found.held, found.marked_failed, found.lost,
        found.twice, found.compared, found.differing, found.unfinished,
    )  # fmt: skip
    remarks = "; ".join(part for part in (row.refusals, row.note) if part)
    return [row.fault, *map(str, counts), f"{row.recovery_s:.1f}", remarks]


def markdown(rows: Sequence[ResultRow]) -> Iterator[str]:
    """The table, line by line."""
    yield f"| {' | '.join(COLUMNS)} |"
    yield "|---" + "|---:" * (len(COLUMNS) - 2) + "|---|"
    for row in rows:
        yield f"| {' | '.join(cells(row))} |"
