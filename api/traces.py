"""Traces: force over time of the pulls of a set, sample by sample, and what follows from each."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers

from api.serializers import Shown, ShownRow
from results.intake.selectors import sessions_visible_to
from results.intake.traces import samples_of
from results.models import PullSet, Trace


class SlipDocument(Shown):
    """A fall of the force with a higher peak after it."""

    time_s = serializers.FloatField(help_text="second at which it began")
    from_N = serializers.FloatField(help_text="newtons before")
    to_N = serializers.FloatField(help_text="newtons after")


class HoldDocument(Shown):
    """The longest time on the way up in which force did not rise; what it loses is creep."""

    time_s = serializers.FloatField(help_text="second at which it began")
    seconds = serializers.FloatField(help_text="how long it took")
    from_N = serializers.FloatField(help_text="newtons before")
    to_N = serializers.FloatField(help_text="newtons after")


class TraceDocument(ShownRow):
    """The trace of one pull; newtons are of the reading, before any calibration."""

    pull = serializers.IntegerField(source="pull.number", help_text="its number within the set")
    failure_mode = serializers.CharField(source="pull.failure_mode")
    slips = serializers.SerializerMethodField()
    hold = serializers.SerializerMethodField()
    time_s = serializers.SerializerMethodField(help_text="seconds, as the logger counted them")
    force = serializers.SerializerMethodField(help_text="as many forces, in the unit")

    class Meta:
        model = Trace
        fields = [
            "pull",
            "failure_mode",
            "count",
            "unit",
            "step",
            "started_at",
            "peak_N",
            "loading_rate_N_per_s",
            "time_to_break_s",
            "slips",
            "hold",
            "stiffening",
            "zero_before_N",
            "zero_after_N",
            "u_zero_N",
            "missed_peak_N",
            "u_missed_peak_N",
            "noise_excess_N",
            "time_s",
            "force",
        ]

    @extend_schema_field(SlipDocument(many=True))
    def get_slips(self, trace: Trace) -> list[dict[str, float]]:
        return [dict(zip(("time_s", "from_N", "to_N"), slip, strict=True)) for slip in trace.slips]

    @extend_schema_field(HoldDocument(allow_null=True))
    def get_hold(self, trace: Trace) -> dict[str, float] | None:
        names = ("time_s", "seconds", "from_N", "to_N")
        return dict(zip(names, trace.hold, strict=True)) if trace.hold else None

    @extend_schema_field(serializers.ListField(child=serializers.FloatField()))
    def get_time_s(self, trace: Trace) -> list[float]:
        return samples_of(trace)[0]

    @extend_schema_field(serializers.ListField(child=serializers.FloatField()))
    def get_force(self, trace: Trace) -> list[float]:
        return samples_of(trace)[1]


@extend_schema(tags=["sessions"])
class Traces(generics.ListAPIView[Trace]):
    """Every trace of a set, in the order of its pulls; pulls without one are not here."""

    serializer_class = TraceDocument
    queryset = Trace.objects.none()

    def get_queryset(self) -> QuerySet[Trace]:
        if getattr(self, "swagger_fake_view", False):
            return Trace.objects.none()
        visible = sessions_visible_to(self.request.user)
        sets = PullSet.objects.filter(session__in=visible.values("pk"))
        pull_set: Any = get_object_or_404(sets, pk=self.kwargs["pk"])
        traces = Trace.objects.filter(pull__pull_set=pull_set)
        return traces.select_related("pull__pull_set__session").order_by("pull__number")


urlpatterns = [
    path("pull-sets/<int:pk>/traces", Traces.as_view(), name="traces"),
]
