"""Joins on one line pair, ranked in groups that nothing separates."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.intervals import Interval
from api.pools import PoolDocument
from api.serializers import Choice, Filters, Shown, ShownRow
from results.models import DirectComparison, Pool
from results.pools import selectors
from results.pools.conclusions import Evidence, can_be_ranked, conclusions, with_adjusted_p
from results.pools.ranking import chances, places
from rigs.models import Material


class LinePair(Filters):
    """The line pair and conditions of a ranking: wet or dry, static or shock."""

    main = Choice(Material.choices, source="main_material")
    leader = Choice(
        Material.choices,
        source="leader_material",
        required=False,
        help_text="left out where a terminal is given",
    )
    terminal = serializers.CharField(
        required=False, help_text="hook or ring, left out where a leader is given"
    )
    wet = serializers.BooleanField(default=False, help_text="wetted or soaked; else dry")
    shock = serializers.BooleanField(default=False, help_text="loaded by shock; else slowly")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        pair = {"leader_material": "", "terminal": ""} | attrs
        if bool(pair["leader_material"]) == bool(pair["terminal"]):
            raise serializers.ValidationError({"leader": gettext("a leader, or else a terminal")})
        return pair


class ChanceDocument(Shown):
    """How sure the place is by the pools alone."""

    better = serializers.FloatField(help_text="mean certainty of being ahead of another join")
    best = serializers.FloatField(help_text="probability that no other is stronger")
    contradicted_by = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="ids of pools whose joins 'conclusions' say are stronger, though by these "
        "probabilities this one is: then direct comparisons say otherwise than the pools, and are "
        "the surer",
    )


class PlaceDocument(Shown):
    """A join's rank, from ``first`` to ``last``: the ranks that it may have."""

    first = serializers.IntegerField()
    last = serializers.IntegerField()
    groups = serializers.ListField(
        child=serializers.IntegerField(),
        help_text="joins share a group where nothing separates them",
    )
    chance = ChanceDocument()
    pool = PoolDocument()


class ConclusionDocument(Shown):
    """What is concluded of two joins: from this alone follow places and groups."""

    stronger = serializers.IntegerField(help_text="id of the pool whose join is the stronger")
    weaker = serializers.IntegerField(help_text="id of the other pool")
    evidence = serializers.ChoiceField(
        [each.value for each in Evidence],
        help_text="what decides: comparisons by testers who tied both, or the two pools, whichever "
        "has the narrower interval",
    )
    difference = serializers.FloatField(help_text="of the logarithms of the efficiencies")
    interval = Interval("ci", help_text="95 percent interval of the difference alone")
    p = serializers.FloatField(help_text="of this difference alone")
    p_holm = serializers.FloatField(help_text="adjusted for all pairs of the line pair (Holm 1979)")
    differs = serializers.BooleanField(
        help_text="whether the two are separated: p_holm is at most 0.05"
    )


class DirectDocument(ShownRow):
    """Joins pulled on the same rig and day: differences on the log scale between pools by id."""

    figures = serializers.DictField(
        help_text="'p' and the interval of each difference are of it alone; 'p_holm' is that of "
        "the ranking's 'conclusions': joins differ where it is at most 0.05. "
        "'correlation' is that of the pooled figures, by pool, from the testers they share"
    )

    class Meta:
        model = DirectComparison
        fields = ["computed_at", "why_not", "figures"]


class RankingDocument(Shown):
    """Joins with a pooled figure in order, and those that have none yet."""

    places = PlaceDocument(many=True)
    unranked = PoolDocument(
        many=True, help_text="without a figure, as with fewer than three testers: shown, not ranked"
    )
    conclusions = ConclusionDocument(
        many=True, help_text="one of each two joins that can be compared"
    )
    direct = DirectDocument(allow_null=True, help_text="contrasts within one baseline")


class Ranking(generics.GenericAPIView[Pool]):
    """Which join from this main line to that leader or terminal?"""

    serializer_class = RankingDocument
    queryset = selectors.pools()
    pagination_class = None

    @extend_schema(
        tags=["pools"],
        operation_id="pools_ranking",
        parameters=[LinePair],
        responses={200: RankingDocument},
    )
    def get(self, request: Request) -> Response:
        """Joins of one line pair ranked, the strongest first.

        Joins share a group where nothing separates them.
        """
        pools = list(self.get_queryset().filter(**LinePair.conditions(request)))
        direct = selectors.direct_comparison(LinePair.conditions(request))
        concluded = conclusions(pools, direct)
        likely = chances(pools, direct, concluded)
        placed = [
            {**vars(each), "chance": likely[each.pool.pk]} for each in places(pools, concluded)
        ]
        ranking = {
            "places": placed,
            "unranked": [pool for pool in pools if not can_be_ranked(pool)],
            "conclusions": list(concluded.values()),
            "direct": with_adjusted_p(direct, concluded),
        }
        return Response(self.get_serializer(ranking).data)
