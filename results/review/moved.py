"""How far sets move their pools, as the queue, a case, a tester's bench and a warning say it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import structlog
from django.template.defaultfilters import floatformat
from django.utils.formats import get_format
from django.utils.translation import gettext

from results.models import NormalisedSet, Pool, PullSet
from results.models.lifecycle import COUNTING
from results.pools.influence import Moved, moved_together
from results.screening.thresholds import tuned
from results.statistics.screening.influence import half_width, influence_limit

log = structlog.get_logger(__name__)


def moved_by(shift: float | None) -> str:
    """How far a pool's figure moves, from the change of its log: ``+3.9%``.

    The one form of it on pages, with as many decimals as the figure itself.
    """
    if shift is None:
        return gettext("no pooled figure")
    written = f"{round(100 * math.expm1(shift), 1) + 0.0:+.1f}%"
    return written.replace(".", get_format("DECIMAL_SEPARATOR"))


@dataclass(frozen=True)
class Together:
    """Several sets of one pool that are to be released at once, and what they move together.

    ``moved`` is None where the pool can't be computed at the moment.
    """

    pool: Pool
    numbers: Sequence[int]
    moved: Moved | None

    @property
    def sets(self) -> int:
        """How many they are."""
        return len(self.numbers)

    @property
    def shift(self) -> float | None:
        """Change of the log of the pool's figure."""
        return self.moved.shift if self.moved else None

    @property
    def sentence(self) -> str:
        """For the moderator who is about to release them."""
        if self.moved is None:
            return gettext(
                "What these %(sets)d sets do together to %(pool)s can't be computed at the moment."
            ) % {"sets": self.sets, "pool": self.pool}
        before, shift = math.exp(self.moved.without.mu), self.moved.shift
        return gettext(
            "Released together, these %(sets)d sets move %(pool)s by %(moved)s, from %(before)s "
            "to %(after)s percent."
        ) % {
            "sets": self.sets,
            "pool": self.pool,
            "moved": moved_by(shift),
            "before": floatformat(100 * before, 1),
            "after": floatformat(100 * before * math.exp(shift), 1),
        }


def far_together(pull_sets: Sequence[PullSet]) -> list[Together]:
    """Pools that the release of these sets moves by more than counts at once, by the sum of them.

    Each case says what its set moves alone; linked sets that are each below the limit may add up
    to far more. Pools of one of the sets alone are left out, since its case says all of it, and
    so are pools that have no figure without them. Nothing is stored or locked.
    """
    by_pool: dict[int, list[NormalisedSet]] = {}
    for found in NormalisedSet.objects.filter(pull_set__in=pull_sets).exclude(
        pull_set__state__in=COUNTING
    ):
        by_pool.setdefault(found.pool_id, []).append(found)
    several = {pool_id: of for pool_id, of in by_pool.items() if len(of) > 1}
    pools = Pool.objects.select_related("connection").in_bulk(several)
    return [
        Together(pools[pool_id], numbers, moved)
        for pool_id, of in sorted(several.items())
        for numbers in [[one.pull_set_id for one in of]]
        for far, moved in [_moved_far(pool_id, numbers)]
        if far
    ]


def _moved_far(pool_id: int, ids: Sequence[int]) -> tuple[bool, Moved | None]:
    """Whether a moderator is to be warned, and of what; a pool that can't be computed warns."""
    try:
        moved = moved_together(pool_id, ids)
    except Exception:
        log.exception("the sum of releases was not computed", pool=pool_id)
        return True, None
    if moved is None:
        return False, None
    width = half_width(moved.without.se, moved.without.testers)
    return abs(moved.shift) > tuned(influence_limit)(width, 0), moved
