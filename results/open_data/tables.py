"""All tables of the package, those that others point to first."""

from __future__ import annotations

from results.open_data.equipment import CALIBRATIONS, CONNECTIONS, LINES, REVISIONS
from results.open_data.pooled import POOL_SETS, POOLS, SELECTION
from results.open_data.pulled import BASELINES, PULL_SETS, PULLS, SESSIONS

TABLES = (
    REVISIONS,
    CALIBRATIONS,
    LINES,
    CONNECTIONS,
    SESSIONS,
    BASELINES,
    PULL_SETS,
    PULLS,
    POOLS,
    POOL_SETS,
    SELECTION,
)
