"""What a pool's page opens with: three plain sentences, with the loads of a reader's own line."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from django.utils.translation import gettext as _

from results.models import PoolVersion
from results.pages.figures import between, percent
from results.pages.own_line import OwnLine
from results.statistics.planning import narrowing_by_a_tester

Load = Callable[..., str]

WELL_KNOWN, FAIRLY_KNOWN = 0.02, 0.05
"""Half-widths of the interval, of the figure, that pages call well and fairly well known."""


def opening(version: PoolVersion, own_line: OwnLine) -> list[str]:
    """Three sentences: what a join keeps, what to expect of one's own, and how sure that is.

    Empty where the version has no figure.
    """
    if version.efficiency is None:
        return []
    load = partial(_load, own_line, version.pool_id)
    return [_kept(version, load), _expected(version, load), _how_sure(version, load)]


def _load(own_line: OwnLine, pool: int, *shares: float | None) -> str:
    """In brackets, to follow a share; empty where the reader's line or the share isn't known."""
    found = own_line.load(pool, *shares)
    return f" ({found})" if found else ""


def _kept(version: PoolVersion, load: Load) -> str:
    return _(
        "Averaged over its testers, a line with this join holds %(efficiency)s of what the same"
        " line holds without one."
    ) % {"efficiency": percent(version.efficiency) + load(version.efficiency)}


def _expected(version: PoolVersion, load: Load) -> str:
    if version.prediction_low is None and version.prediction_high is None:
        return _("What to expect of your own ties can't be said from these testers yet.")
    ends = (version.prediction_low, version.prediction_high)
    expected = between(*ends) + load(*ends)
    if version.held_by_nine is None:
        return _("If you tie it, expect a set of yours to average %(expected)s.") % {
            "expected": expected
        }
    return _(
        "If you tie it, expect a set of yours to average %(expected)s, and nine in ten of your"
        " ties to hold at least %(least)s."
    ) % {"expected": expected, "least": percent(version.held_by_nine) + load(version.held_by_nine)}


def _how_sure(version: PoolVersion, load: Load) -> str:
    low, high = version.interval_low, version.interval_high
    if low is None or high is None:
        return _("How sure the average is can't be said from these testers; more testers will.")
    half_width = (high - low) / 2 / float(version.efficiency or math.inf)
    if half_width <= WELL_KNOWN:
        known = _("The average is well known")
    elif half_width <= FAIRLY_KNOWN:
        known = _("The average is fairly well known")
    else:
        known = _("The average is not well known yet")
    return _(
        "%(known)s: 95%% confidence puts it between %(interval)s, and one more tester would narrow"
        " that by about %(by)s."
    ) % {
        "known": known,
        "interval": _ends(low, high) + load(low, high),
        "by": percent(narrowing_by_a_tester(version.testers), 0),
    }


def _ends(low: float, high: float) -> str:
    return _("%(low)s and %(high)s") % {"low": percent(low), "high": percent(high)}
