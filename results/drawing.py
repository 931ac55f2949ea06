"""Drawing a pool: its forest plot, stored with the version it shows."""

from __future__ import annotations

from results.models import PoolVersion


def draw_forest(version: PoolVersion) -> None:
    """Draw the forest plot of a version, light and dark, and store both."""
