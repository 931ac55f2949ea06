"""The joins of one line pair side by side: how sure their order is, and who pulled several."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_safe

from results.models import DirectComparison, Pool
from results.pages.own_line import own_line_of
from results.pages.showing import render
from results.pools import selectors
from results.pools.conclusions import Conclusion, Conclusions, Evidence, conclusions
from results.pools.figures import Figures
from results.pools.ranking import Chance, chances, places
from results.statistics.pool_fit import LEAST_TESTERS

YES = {"true": True, "false": False, "": False}


@dataclass(frozen=True)
class Ranked:
    """A join with its place and how likely it is the best."""

    pool: Pool
    first: int
    last: int
    chance: Chance
    contradicted_by: Sequence[Pool]


@dataclass(frozen=True)
class Contrast:
    """Two joins on the same rig and day, and the same difference from their pools; as ratios.

    ``agree`` is None where the two can't be set against one another. The interval is of this
    difference alone. ``differs`` is what is concluded of the two, and ``by_pools`` that their pools
    decide about it, being surer.
    """

    stronger: Pool
    weaker: Pool
    ratio: float
    low: float
    high: float
    together: int
    of_pools: float | None
    agree: bool | None
    differs: bool
    by_pools: bool


def query_of(pool: Pool) -> str:
    """What asks for a pool's line pair, here and of the API."""
    leader = {"leader": pool.leader_material} if pool.leader_material else {}
    terminal = {"terminal": pool.terminal} if pool.terminal else {}
    conditions = {"wet": str(pool.wet).lower(), "shock": str(pool.shock).lower()}
    return urlencode({"main": pool.main_material} | leader | terminal | conditions)


def pools_asked_for(request: HttpRequest) -> list[Pool]:
    """The pools of the requested line pair; raises Http404 where there are none."""
    asked = request.GET
    try:
        wet, shock = (YES[asked.get(name, "")] for name in ("wet", "shock"))
    except KeyError:
        raise Http404 from None
    found = selectors.pools().filter(
        main_material=asked.get("main", ""),
        leader_material=asked.get("leader", ""),
        terminal=asked.get("terminal", ""),
        wet=wet,
        shock=shock,
    )
    pools = list(found)
    if not pools:
        raise Http404
    return pools


@require_safe
def line_pair(request: HttpRequest) -> HttpResponse:
    """All joins of one line pair, ranked with the uncertainty of the ranking."""
    pools = pools_asked_for(request)
    first = pools[0]
    comparison = selectors.direct_comparison(selectors.line_pair_of(first))
    concluded = conclusions(pools, comparison)
    likely = chances(pools, comparison, concluded)
    by_id = {pool.pk: pool for pool in pools}
    return render(
        request,
        "pages/pools/line_pair.html",
        {
            "first": first,
            "own_line": own_line_of(request, pools),
            "query": query_of(first),
            "permanent": f"{request.path}?{query_of(first)}",
            "picture": f"{reverse('pages:joins-chart-png')}?{query_of(first)}" if likely else "",
            "ranked": [
                Ranked(
                    place.pool,
                    place.first,
                    place.last,
                    chance,
                    [by_id[pk] for pk in chance.contradicted_by],
                )
                for place in places(pools, concluded)
                if (chance := likely.get(place.pool.pk)) is not None
            ],
            "unranked": [pool for pool in pools if pool.pk not in likely],
            "comparison": comparison,
            "contrasts": contrasts_of(comparison, pools, concluded),
            "least_testers": LEAST_TESTERS,
        },
    )


CONTRASTED = ("first", "second", "difference", "ci_low", "ci_high", "p", "together")


def contrasts_of(
    comparison: DirectComparison | None, pools: Sequence[Pool], concluded: Conclusions
) -> Sequence[Contrast]:
    """Each pair of these pools' joins that was compared, the largest difference first."""
    by_id = {pool.pk: pool for pool in pools}
    contrasts = [
        _contrast(each, by_id, concluded[frozenset((each["first"], each["second"]))])
        for each in map(Figures, comparison.figures.get("differences", ()) if comparison else ())
        if each.has(*CONTRASTED) and each["first"] in by_id and each["second"] in by_id
    ]
    return sorted(contrasts, key=lambda contrast: -contrast.ratio)


def _contrast(
    pair: Mapping[str, Any], pools: Mapping[int, Pool], concluded: Conclusion
) -> Contrast:
    """With the join first that is concluded to be the stronger."""
    sign = 1 if concluded.stronger == pair["first"] else -1
    ends = sorted((sign * pair["ci_low"], sign * pair["ci_high"]))
    first, second = pools[pair["first"]], pools[pair["second"]]
    pooled = pair.get("of_pools")
    return Contrast(
        stronger=first if sign == 1 else second,
        weaker=second if sign == 1 else first,
        ratio=math.exp(sign * pair["difference"]),
        low=math.exp(ends[0]),
        high=math.exp(ends[1]),
        together=pair["together"],
        of_pools=math.exp(sign * pooled["difference"]) if pooled else None,
        agree=abs(pair["difference"] - pooled["difference"]) < 2 * pooled["se"] if pooled else None,
        differs=concluded.differs,
        by_pools=concluded.evidence is Evidence.POOLS,
    )
