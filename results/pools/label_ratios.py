"""What the lines behind a pool hold of what their labels promise."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from statistics import median

from django.db.models import F

from results.models import NormalisedSet
from results.models.lifecycle import COUNTING


def label_ratios(pools: Collection[int]) -> dict[int, float]:
    """The median, over the sets that count in each pool, of straight strength over label.

    Of the reference line, by the baseline of each set. A pool none of whose lines has a label in
    the catalogue is left out.
    """
    rows = NormalisedSet.objects.filter(
        pool__in=pools,
        pull_set__state__in=COUNTING,
        baseline__line__accepted=True,
        baseline__line__label_strength_N__gt=0,
    )
    found = defaultdict(list)
    ratio = F("baseline_mean_N") / F("baseline__line__label_strength_N")
    for pool, held in rows.order_by().annotate(held=ratio).values_list("pool", "held"):
        found[pool].append(held)
    return {pool: median(ratios) for pool, ratios in found.items()}
