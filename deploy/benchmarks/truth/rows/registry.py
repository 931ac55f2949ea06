"""Every row of the table, in its order."""

from __future__ import annotations

from deploy.benchmarks.truth.row import Row
from deploy.benchmarks.truth.rows import (
    club_rounds,
    joins,
    lines,
    one_stage,
    pool,
    rig,
    scenario,
    tester,
    whole,
)

ROWS: tuple[Row, ...] = (
    *joins.ROWS,
    *tester.ROWS,
    *pool.ROWS,
    *lines.ROWS,
    *one_stage.ROWS,
    *rig.ROWS,
    *scenario.ROWS,
    *club_rounds.ROWS,
    *whole.ROWS,
)


def rows_named(part: str) -> list[Row]:
    """Those with this in their name or case."""
    return [row for row in ROWS if part.lower() in row.key.lower()]
