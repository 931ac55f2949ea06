"""Calibrations: a rig's readings under check weights, and the line fitted to them."""

from __future__ import annotations

from datetime import date
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.utils.translation import gettext
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.one_row import OneRow
from api.serializers import (
    DAY,
    LONGEST_WRITTEN,
    Choice,
    Document,
    Filters,
    ForceField,
    Link,
    MassField,
    Number,
    Shown,
    address_of,
    limits,
)
from results.normalising.reprocess import calibrate_and_reprocess
from results.public.readers import reader_of
from results.public.seeing import raw
from rigs import selectors
from rigs.calibration_report import class_of, curvature_of, due_and_expiry, notes_on
from rigs.metrology import bounds
from rigs.metrology.check_weight import tolerance_uncertainty
from rigs.metrology.units import UnitError, parse_volume
from rigs.models import Calibration, CalibrationChange, CalibrationReading, RigRevision

EXAMPLE = {
    "made_on": "2025-10-04",
    "points": [
        {"mass": "0 kg", "how_known": "bought as", "reading": "0.2 lbf"},
        {"mass": "5 kg", "tolerance": "10 g", "how_known": "bought as", "reading": "11.2 lbf"},
        {"mass": "10 kg", "tolerance": "20 g", "how_known": "bought as", "reading": "22.1 lbf"},
        {"mass": "20 kg", "tolerance": "40 g", "how_known": "bought as", "reading": "44.2 lbf"},
        {
            "mass": "15 l",
            "temperature_C": 12,
            "tolerance": "50 g",
            "how_known": "water by volume",
            "reading": "33.1 lbf",
            "direction": "falling",
        },
    ],
}


class CheckWeightField(MassField):
    """A check weight by its mass, or water by its volume; its mass then comes of that."""

    example = f"5 kg, 500 g, 2.5 lb, or 5 l of water ({bounds.WATER_m3.times(1000)} l)"

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        try:
            volume = parse_volume(data).cubic_metres if isinstance(data, str) else None
        except UnitError:
            volume = None
        if volume is None:
            return super().to_internal_value(data)
        if not bounds.WATER_m3.holds(volume) or len(data) > LONGEST_WRITTEN:
            raise serializers.ValidationError(
                gettext("%(value)s l of water") % {"value": bounds.WATER_m3.times(1000)}
            )
        return {"volume_m3": volume, self.written: data}


class ToleranceField(MassField):
    """The tolerance of a check weight, kept as the standard uncertainty it means."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        parsed = super().to_internal_value(data)
        tolerance = parsed[self.number]
        return {
            "u_mass_kg": None if tolerance is None else tolerance_uncertainty(tolerance),
            self.written: parsed[self.written],
        }

    def to_representation(self, instance: Any) -> dict[str, Any] | None:
        if instance.u_mass_kg is None or not instance.tolerance_written:
            return None
        tolerance = instance.u_mass_kg / tolerance_uncertainty(1.0)
        return {"written": instance.tolerance_written, self.symbol: tolerance}


class PointDocument(Document):
    """One check weight, and what the rig read."""

    mass = CheckWeightField("mass", bounds.MASS_kg)
    tolerance = ToleranceField("tolerance", bounds.TOLERANCE_kg, required=False, allow_null=True)
    reading = ForceField("reading", bounds.CALIBRATION_READING_N)
    force_N = serializers.FloatField(read_only=True)
    residual_N = serializers.SerializerMethodField()

    class Meta:
        model = CalibrationReading
        fields = [
            "mass",
            "tolerance",
            "u_mass_kg",
            "temperature_C",
            "how_known",
            "direction",
            "reading",
            "force_N",
            "residual_N",
        ]
        read_only_fields = ["u_mass_kg"]
        extra_kwargs = {"temperature_C": limits(bounds.WATER_TEMPERATURE_C)}

    def get_residual_N(self, point: CalibrationReading) -> float:
        line = point.calibration
        return point.reading_N - (line.offset_N + line.gain * point.force_N)


class ErrorsAtForceDocument(Shown):
    """Errors under one check weight, in percent of it (the zero error of the highest)."""

    force_N = serializers.FloatField()
    rising_readings = serializers.IntegerField()
    indication = serializers.FloatField()
    repeatability = serializers.FloatField()
    reversibility = serializers.FloatField(
        allow_null=True, help_text="hysteresis: falling less rising"
    )
    zero = serializers.FloatField(allow_null=True, help_text="after unloading")
    resolution = serializers.FloatField()
    force_class = serializers.FloatField(allow_null=True)


class ReadingClassDocument(Shown):
    """The class of ISO 7500-1 that the readings meet, null for none, and why not a better one."""

    force_class = serializers.FloatField(allow_null=True)
    why_not_better = serializers.ListField(child=serializers.CharField())
    forces = ErrorsAtForceDocument(many=True)


class CurvatureDocument(Shown):
    """A quadratic beside the line: is the rig straight?"""

    p_value = serializers.FloatField(help_text="of a straight rig")
    bend_percent = serializers.FloatField(help_text="at mid range, of the range of readings")


class EndedDocument(Shown):
    """How a calibration ended."""

    by = serializers.CharField(source="by.contributor.handle")
    at = serializers.DateTimeField()
    reason = serializers.CharField()


def _change_of(calibration: Calibration) -> CalibrationChange | None:
    return getattr(raw(calibration), "change", None)


class CalibrationFilters(Filters):
    """Which calibrations of a revision."""

    standing = Choice(Calibration.Standing.choices, required=False)


class CalibrationDocument(Document):
    """A calibration: check weights in, the fitted line and its uncertainties out."""

    latitude_deg = Number(**limits(bounds.LATITUDE_deg), required=False, write_only=True)
    height_m = Number(**limits(bounds.HEIGHT_m), required=False, write_only=True)
    points = PointDocument(many=True, source="readings")
    url = serializers.HyperlinkedIdentityField(view_name="api:calibration")
    revision = Link("api:revision")
    reading_class = serializers.SerializerMethodField(help_text="ISO 7500-1")
    curvature = serializers.SerializerMethodField()
    due_on = serializers.SerializerMethodField(help_text="a year on")
    expires_on = serializers.SerializerMethodField(help_text="not used after that day")
    residual_plot = serializers.HyperlinkedIdentityField(view_name="pages:residuals")
    notes = serializers.SerializerMethodField()
    replaced_by = serializers.SerializerMethodField(help_text="the one that corrects it")
    ended = serializers.SerializerMethodField(
        help_text="who replaced or voided it and why: for its owner and moderators, or null"
    )

    class Meta:
        model = Calibration
        computed = [
            "local_gravity",
            "gain",
            "offset_N",
            "u_gain",
            "u_offset_N",
            "correlation",
            "residual_sd_N",
            "degrees_of_freedom",
            "lowest_N",
            "highest_N",
            "created_at",
        ]
        fields = [
            "id",
            "url",
            "revision",
            "made_on",
            "note",
            "latitude_deg",
            "height_m",
            *computed,
            "reading_class",
            "curvature",
            "due_on",
            "expires_on",
            "residual_plot",
            "notes",
            "points",
            "standing",
            "replaced_by",
            "ended",
        ]
        read_only_fields = [*computed, "standing"]
        extra_kwargs = {"made_on": DAY}

    @extend_schema_field(ReadingClassDocument(allow_null=True))
    def get_reading_class(self, calibration: Calibration) -> dict[str, Any] | None:
        met = class_of(raw(calibration))
        if met is None:
            return None
        document = dict(ReadingClassDocument(met).data)
        if not self._reads_all_of(calibration):
            del document["forces"], document["why_not_better"]
        return document

    @extend_schema_field(CurvatureDocument(allow_null=True))
    def get_curvature(self, calibration: Calibration) -> dict[str, Any] | None:
        bend = curvature_of(raw(calibration))
        return None if bend is None else dict(CurvatureDocument(bend).data)

    def get_due_on(self, calibration: Calibration) -> date:
        return due_and_expiry(calibration)[0]

    def get_expires_on(self, calibration: Calibration) -> date:
        return due_and_expiry(calibration)[1]

    def get_notes(self, calibration: Calibration) -> list[str]:
        return list(notes_on(raw(calibration)))

    def _reads_all_of(self, calibration: Calibration) -> bool:
        return reader_of(self.context["request"]).reads_all_of(raw(calibration))

    @extend_schema_field({"type": "string", "format": "uri", "nullable": True})
    def get_replaced_by(self, calibration: Calibration) -> str | None:
        change = _change_of(calibration)
        if change is None or change.successor_id is None:
            return None
        successor: int = change.successor_id
        return address_of("api:calibration", self.context["request"]) % successor

    @extend_schema_field(EndedDocument(allow_null=True))
    def get_ended(self, calibration: Calibration) -> dict[str, Any] | None:
        change = _change_of(calibration)
        if change is None or not self._reads_all_of(calibration):
            return None
        return dict(EndedDocument(change, context=self.context).data)

    def create(self, validated_data: dict[str, Any]) -> Calibration:
        readings = [CalibrationReading(**reading) for reading in validated_data.pop("readings")]
        by, revision = self.context["request"].user, self.context["revision"]
        return calibrate_and_reprocess(
            by, revision, validated_data.pop("made_on"), readings, **validated_data
        )


@extend_schema(tags=["rigs"])
class Calibrations(generics.ListCreateAPIView[Calibration]):
    """The calibrations of a rig's revision, newest first, and the way to send one."""

    serializer_class = CalibrationDocument
    orderings: ClassVar = {
        "id": "pk",
        "made_on": "made_on",
    }
    queryset = selectors.calibrations()

    def revision(self) -> RigRevision:
        return generics.get_object_or_404(selectors.revisions(), pk=self.kwargs["pk"])

    def get_queryset(self) -> QuerySet[Calibration]:
        asked = CalibrationFilters.conditions(self.request)
        asked.setdefault("standing", Calibration.Standing.CURRENT)
        return super().get_queryset().filter(revision=self.revision(), **asked)

    def get_serializer_context(self) -> dict[str, Any]:
        context = dict(super().get_serializer_context())
        if self.request is not None and self.request.method == "POST":
            context["revision"] = self.revision()
        return context

    @extend_schema(parameters=[CalibrationFilters])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Calibrations in use; with ``standing`` those replaced or voided."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        examples=[OpenApiExample("Check weights, read in pounds", EXAMPLE, request_only=True)]
    )
    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Send readings under at least three different check weights."""
        return super().post(request, *args, **kwargs)


@extend_schema(tags=["rigs"])
class OneCalibration(OneRow[Calibration]):
    """One calibration with its readings and their residuals."""

    serializer_class = CalibrationDocument
    queryset = selectors.calibrations()
