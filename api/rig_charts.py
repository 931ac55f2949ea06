"""Whether a rig can be believed: its charts of straight line, and what each change of it moved."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from api.intervals import Interval
from api.serializers import Link, Shown
from results.public.seeing import raw
from results.rig_checks.control_charts import Series, charted
from results.rig_checks.revision_comparison import bridges_of
from rigs import selectors
from rigs.models import Rig

CHARTS = {"straight line": "pages:watch-straight", "join": "pages:watch-join"}


class ChangeDocument(Shown):
    """A change in percent with its 95 percent interval; those since the first hold together."""

    percent = serializers.FloatField()
    interval = Interval(ends=("lower", "upper"))
    lower = serializers.FloatField()
    upper = serializers.FloatField()


class WatchedSessionDocument(Shown):
    """One session of a series; whether a chart signals at it."""

    session = Link("api:session")
    pulled_on = serializers.DateField(source="session.pulled_on")
    mean_N = serializers.FloatField()
    cv = serializers.FloatField()
    pulls = serializers.IntegerField(source="n")
    since_first = ChangeDocument(allow_null=True)
    signals = serializers.BooleanField()
    sets = serializers.ListField(child=serializers.URLField())


class SeriesDocument(Shown):
    """The same line or the same tie, session after session on one revision (ISO 7870).

    Limits come from the rig's own scatter from day to day, shrunk to that of all rigs. In twenty
    sessions a steady rig signals in 1 to 3 of 100 cases, and in about 11 where its days scatter
    three times as much as usual and single ones stand far apart.

    ``per_session`` is the mean change from one session to the next, null below three.
    """

    kind = serializers.ChoiceField(choices=["straight line", "join"])
    what = serializers.CharField()
    revision = serializers.IntegerField(source="revision.number")
    chart = serializers.SerializerMethodField(help_text="SVG; .png and -dark.svg stand beside it")
    per_session = ChangeDocument(source="watch.per_session", default=None, allow_null=True)
    why_not = serializers.CharField(help_text="why there is nothing to chart yet")
    sessions = serializers.SerializerMethodField()
    affected_sets = serializers.SerializerMethodField()

    def get_chart(self, series: Series) -> str:
        source = series.points[0].sources[0]
        return str(reverse(CHARTS[series.kind], [source], request=self.context["request"]))

    @extend_schema_field(WatchedSessionDocument(many=True))
    def get_sessions(self, series: Series) -> list[Any]:
        sessions = list(self._sessions(series))
        return list(WatchedSessionDocument(sessions, many=True, context=self.context).data)

    def get_affected_sets(self, series: Series) -> list[str]:
        return [self._address(pull_set.pk) for pull_set in series.affected]

    def _sessions(self, series: Series) -> Iterator[dict[str, Any]]:
        for row in series.rows:
            yield {
                **vars(raw(row.point)),
                "since_first": row.change,
                "signals": row.signals,
                "sets": [self._address(pull_set.pk) for pull_set in row.point.sets],
            }

    def _address(self, pull_set_id: int) -> str:
        return str(reverse("api:pull-set", [pull_set_id], request=self.context["request"]))


class EquivalenceDocument(Shown):
    """After over before with its 90 percent interval; the margin is 5 percent either way.

    Between sessions the interval allows for the rig's own scatter from day to day.
    """

    verdict = serializers.ChoiceField(choices=["same", "moved", "can't tell yet"])
    ratio = serializers.FloatField()
    interval = Interval(ends=("lower", "upper"))
    lower = serializers.FloatField()
    upper = serializers.FloatField()
    p_same = serializers.FloatField()
    more_pulls = serializers.IntegerField(allow_null=True)


class ComparedDocument(Shown):
    """The last pulls before a change against the first after it."""

    kind = serializers.ChoiceField(choices=["straight line", "join"])
    what = serializers.CharField()
    before = Link("api:session", source="before.point.session")
    after = Link("api:session", source="after.point.session")
    result = EquivalenceDocument(allow_null=True)
    told = EquivalenceDocument(source="result", allow_null=True)
    why_not = serializers.CharField()


class BridgeDocument(Shown):
    """A change of the rig, and whether its readings moved with it."""

    from_revision = serializers.IntegerField(source="before.number")
    to_revision = serializers.IntegerField(source="after.number")
    made_on = serializers.DateField(source="after.made_on")
    what_changed = serializers.CharField(source="after.what_changed")
    why = serializers.CharField(source="after.why")
    verdict = serializers.ChoiceField(choices=["same", "moved", "can't tell yet"])
    advice = serializers.CharField()
    comparisons = ComparedDocument(many=True)


class OfRig(generics.GenericAPIView[Rig]):
    """Views of one rig."""

    queryset = selectors.rigs()
    pagination_class = None


class Watch(OfRig):
    """Has the rig drifted?"""

    serializer_class = SeriesDocument

    @extend_schema(
        tags=["rigs"], operation_id="rigs_watch", responses={200: SeriesDocument(many=True)}
    )
    def get(self, _request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Straight-line and join charts by session, with the change and the sets affected."""
        return Response(self.get_serializer(charted(self.get_object()), many=True).data)


class Bridges(OfRig):
    """Did a change move the readings?"""

    serializer_class = BridgeDocument

    @extend_schema(
        tags=["rigs"], operation_id="rigs_bridges", responses={200: BridgeDocument(many=True)}
    )
    def get(self, _request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Each change of the rig, newest first, with what was pulled on both sides of it."""
        return Response(self.get_serializer(bridges_of(self.get_object()), many=True).data)


urlpatterns = [
    path("rigs/<int:pk>/watch", Watch.as_view(), name="rig-watch"),
    path("rigs/<int:pk>/bridges", Bridges.as_view(), name="rig-bridges"),
]
