"""Drawing a pool: its forest plot, stored with the version it shows."""

from __future__ import annotations

import math

import numpy as np
import structlog
from django.db import transaction

from results.charts.forest_plot import Forest, ForestRow, PooledRow, darkened, svg
from results.http_cache.cache_marks import next_edition
from results.models import Edition, Pool, PoolVersion
from results.pools.estimate import efficiency_of
from results.pools.figures import Figures, NotComputed, figures_of
from results.pools.pool_data import Members, log_ratios, members_of
from results.pools.selectors import sets_of
from results.statistics.tester_means import MeansByTester, means_by_tester
from rigs.models import Contributor

MOST_ROWS = 40
"""A drawing shows the rows with the most pulls; the table behind it has them all."""

log = structlog.get_logger(__name__)


def draw_forest(version: PoolVersion) -> None:
    """Draw the forest plot of a version, light and dark, and store both.

    A pool without sets is not drawn, nor a version that was computed without what is drawn. Nor
    is one whose drawing fails: its figures stand, and the page shows their table alone.
    """
    try:
        forest = forest_of(version)
        if forest is None:
            return
        light = svg(forest)
    except NotComputed:
        return
    except Exception:
        log.exception("forest plot not drawn", pool=version.pool_id, version=version.number)
        return
    version.forest_light, version.forest_dark = light, darkened(light)
    with transaction.atomic():
        version.save(update_fields=["forest_light", "forest_dark"])
        next_edition(Edition.Subject.DRAWINGS)


def forest_of(version: PoolVersion) -> Forest | None:
    """What the plot of a version shows: testers and the pool, or where none is pooled, the sets."""
    rows = _testers(version) if version.figures else _sets(version.pool)
    if not rows:
        return None
    shown = sorted(rows, key=lambda row: row[0], reverse=True)[:MOST_ROWS]
    pool = version.pool
    return Forest(
        title=pool.tie,
        subtitle=(f"{pool.line_pair}, {pool.conditions}", _counts(version, len(rows))),
        rows=sorted((row for _, row in shown), key=lambda row: row.value, reverse=True),
        pooled=_pooled(figures_of(version)) if version.figures else None,
    )


def _testers(version: PoolVersion) -> list[tuple[int, ForestRow]]:
    """The pulls and the row of each tester, and of each other who tied for one of them."""
    members, effects = members_of(version.pool_id), figures_of(version)["tester_effects"]
    shrunken = dict(zip(effects["tester"], effects["value"], strict=True))
    means = _means(members, version)
    handles = Contributor.objects.in_bulk(np.unique(members.tester).tolist())
    tyers, first, of_tyer = np.unique(members.tyers.tyer, return_index=True, return_inverse=True)
    sets = np.bincount(of_tyer).tolist()
    pulls = np.bincount(of_tyer, members.pulls).astype(int).tolist()
    pulled_by = members.tester[first].tolist()
    rows = []
    for place, tester in enumerate(tyers.tolist()):
        who = handles[pulled_by[place]].handle
        row = ForestRow(
            label=f"{who if tester > 0 else f'tied for {who}'}, {_counted(sets[place], 'set')}",
            value=_percent(means.mean[place]),
            low=_percent_of_end(means.low[place]),
            high=_percent_of_end(means.high[place]),
            shrunken=_percent(shrunken[tester]) if tester in shrunken else None,
        )
        rows.append((pulls[place], row))
    return rows


def _means(members: Members, version: PoolVersion) -> MeansByTester:
    ratios, tyers = log_ratios(members), members.tyers
    return means_by_tester(
        ratios.y,
        ratios.own_variance,
        ratios.shared_variance,
        tyers.tyer,
        tyers.session,
        tyers.baseline,
        tau2_session=figures_of(version)["tau2_session"],
        tau2_set=figures_of(version)["tau2_set"],
        zero=members.errors,
        scale=tyers.scale,
    )


def _sets(pool: Pool) -> list[tuple[int, ForestRow]]:
    """The pulls and the row of each set."""
    rows = []
    for found in sets_of(pool):
        session = found.pull_set.session
        row = ForestRow(
            label=f"{session.contributor.handle}, {session.pulled_on:%Y-%m-%d}",
            value=100 * found.efficiency,
            low=None if found.interval_low is None else 100 * found.interval_low,
            high=None if found.interval_high is None else 100 * found.interval_high,
        )
        rows.append((found.counted, row))
    return rows


def _pooled(figures: Figures) -> PooledRow:
    return PooledRow(
        value=_percent(figures["mu"]),
        low=_percent_of_end(figures["ci_low"]),
        high=_percent_of_end(figures["ci_high"]),
        prediction_low=_percent_of_end(figures["prediction_low"]),
        prediction_high=_percent_of_end(figures["prediction_high"]),
    )


def _counts(version: PoolVersion, rows: int) -> str:
    """How much is behind the drawing, and how much of it is left out."""
    counts = ", ".join(
        (
            _counted(version.testers, "tester"),
            _counted(version.sets, "set"),
            _counted(version.pulls, "pull"),
        )
    )
    return f"{counts}; {MOST_ROWS} of {rows} rows" if rows > MOST_ROWS else counts


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _percent(on_log_scale: float) -> float:
    return 100 * math.exp(on_log_scale)


def _percent_of_end(on_log_scale: float | None) -> float | None:
    """None where the end is not estimable, or beyond all numbers."""
    found = None if on_log_scale is None else efficiency_of(on_log_scale)
    return None if found is None else 100 * found
