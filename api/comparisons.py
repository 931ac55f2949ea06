"""A tester's own sets beside everyone else's."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.intervals import FromLog, Interval
from api.serializers import Shown
from results.models import Pool
from results.pools import selectors
from results.pools.tester_vs_pool import compare_with_pool
from rigs.permissions import contributor_of


class OwnDocument(Shown):
    """One's own sets of this tie."""

    efficiency = serializers.FloatField(source="own_efficiency")
    sets = serializers.IntegerField(source="own.sets")
    sessions = serializers.IntegerField(source="own.sessions")
    pulls = serializers.IntegerField(source="own_pulls")


class OthersDocument(Shown):
    """The pool without oneself."""

    testers = serializers.IntegerField()
    sessions = serializers.IntegerField()
    sets = serializers.IntegerField(source="k")
    efficiency = FromLog(source="mu")
    interval = Interval("ci", number=FromLog)
    prediction = Interval("prediction", number=FromLog)
    interval_low = FromLog(source="ci_low")
    interval_high = FromLog(source="ci_high")
    prediction_low = FromLog()
    prediction_high = FromLog()


class DifferenceDocument(Shown):
    """Own efficiency over the others', and one's place among testers."""

    ratio = serializers.FloatField(source="comparison.ratio")
    ratio_interval = Interval("comparison.ratio")
    ratio_low = serializers.FloatField(source="comparison.ratio_low")
    ratio_high = serializers.FloatField(source="comparison.ratio_high")
    differs = serializers.BooleanField(
        source="comparison.differs", help_text="whether the interval leaves one out"
    )
    place = serializers.ChoiceField(
        choices=["below", "within", "above"],
        source="comparison.place",
        help_text="of the range expected of a tester",
    )
    share_below = serializers.FloatField(
        source="comparison.share_below", help_text="share of testers expected to come out lower"
    )
    shrunken = serializers.FloatField(
        source="shrunken.value",
        help_text="own efficiency, drawn to the pool by its weight, averaged over how much testers "
        "and their sessions may differ",
    )
    shrunken_interval = Interval(ends=("shrunken.low", "shrunken.high"))
    shrunken_low = serializers.FloatField(source="shrunken.low")
    shrunken_high = serializers.FloatField(source="shrunken.high")
    weight = serializers.FloatField(source="shrunken.weight")


class ScatterDocument(Shown):
    """Own scatter against the others': Mandel's k, and F."""

    k = serializers.FloatField()
    k_critical_5_percent = serializers.FloatField()
    k_critical_1_percent = serializers.FloatField()
    f = serializers.FloatField()
    probability = serializers.FloatField()
    ratio = serializers.FloatField()
    ratio_interval = Interval("ratio")
    ratio_low = serializers.FloatField()
    ratio_high = serializers.FloatField()


class ComponentDocument(Shown):
    """A part of the variance of ln(load), with its interval."""

    variance = serializers.FloatField()
    interval = Interval(ends=("low", "high"))
    low = serializers.FloatField()
    high = serializers.FloatField()
    sd = serializers.FloatField()
    separated = serializers.BooleanField(help_text="whether the interval leaves zero out")


class FurtherPullsDocument(Shown):
    """How many more pulls separate the scatter of the tie from that of the rig."""

    of_join = serializers.IntegerField()
    of_straight_line = serializers.IntegerField()


class SplitDocument(Shown):
    """Rig and line, the tie, anyone's tie of this join, and one's own tying beyond that."""

    rig_and_line = ComponentDocument()
    tie = ComponentDocument()
    join = ComponentDocument()
    tying = ComponentDocument()
    further = FurtherPullsDocument(allow_null=True)


class PlanDocument(Shown):
    """Total own sessions needed to detect a difference with 80 percent power."""

    difference = serializers.FloatField()
    sessions = serializers.IntegerField(allow_null=True)
    why_not = serializers.CharField()


class ComparisonDocument(Shown):
    """Own tying against the pool without oneself. Efficiencies are ratios, intervals 95 percent."""

    own = OwnDocument(source="*")
    others = OthersDocument()
    comparison = DifferenceDocument(source="*")
    scatter = ScatterDocument()
    split = SplitDocument()
    told = serializers.FloatField(source="detectable")
    detectable = serializers.FloatField(
        help_text="least difference the sessions so far would show four times in five",
    )
    plans = PlanDocument(many=True)


class Comparison(generics.GenericAPIView[Pool]):
    """Oneself beside a pool."""

    serializer_class = ComparisonDocument
    permission_classes = [IsAuthenticated]
    queryset = selectors.pools()

    @extend_schema(
        tags=["pools"], operation_id="pools_comparison", responses={200: ComparisonDocument}
    )
    def get(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """One's own tying against everyone else's of the same tie; 409 says what is missing."""
        compared = compare_with_pool(contributor_of(request.user), self.get_object())
        return Response(self.get_serializer(compared).data)
