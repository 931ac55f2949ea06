"""Correct and void calibrations and revisions that were entered wrongly."""

from __future__ import annotations

from typing import Any

from django.urls import path
from django.utils.translation import gettext
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers, status
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.calibrations import EXAMPLE, CalibrationDocument
from api.rigs import NextRevisionDocument, RevisionDocument
from api.serializers import AnyField, ShownRow, Strict
from results.normalising.reprocess import (
    correct_calibration_and_reprocess,
    correct_revision_and_reprocess,
    void_calibration_and_reprocess,
    void_unused_revision,
)
from rigs import selectors
from rigs.correcting import LONGEST_REASON
from rigs.models import Calibration, CalibrationReading, RevisionChange, RigRevision
from rigs.permissions import may
from rigs.refusals import Forbidden


class ReasonDocument(Strict):
    """What was wrong, for readers of the history."""

    reason = serializers.CharField(max_length=LONGEST_REASON)


class CorrectedCalibrationDocument(CalibrationDocument):
    """A calibration as it should have been entered, and what was wrong."""

    reason = serializers.CharField(max_length=LONGEST_REASON, write_only=True)

    class Meta(CalibrationDocument.Meta):
        fields = ["reason", *CalibrationDocument.Meta.fields]

    def create(self, validated_data: dict[str, Any]) -> Calibration:
        readings = [CalibrationReading(**reading) for reading in validated_data.pop("readings")]
        return correct_calibration_and_reprocess(
            self.context["request"].user,
            self.context["calibration"],
            validated_data.pop("made_on"),
            readings,
            validated_data.pop("reason"),
            **validated_data,
        )


class CorrectedRevisionDocument(NextRevisionDocument):
    """Corrected columns of a revision, and what was wrong; the others stay as they are."""

    reason = serializers.CharField(max_length=LONGEST_REASON, write_only=True)

    class Meta(NextRevisionDocument.Meta):
        fields = ["reason", *NextRevisionDocument.Meta.fields]

    def get_fields(self) -> dict[str, AnyField]:
        fields = super().get_fields()
        for name, field in fields.items():
            field.required = name == "reason"
        return fields


class RevisionChangeDocument(ShownRow):
    """A version of a revision that was corrected or voided: what it was, who ended it and why."""

    by = serializers.CharField(source="by.contributor.handle")
    was = serializers.DictField(help_text="columns by name; where the rig stood is not kept")

    class Meta:
        model = RevisionChange
        fields = ["version", "voided", "was", "by", "reason", "at"]


class OfCalibration(generics.GenericAPIView[Calibration]):
    """Actions on one calibration."""

    permission_classes = [IsAuthenticated]
    pagination_class = None  # of one rig's part there are few
    queryset = selectors.calibrations()


class OfRevision(generics.GenericAPIView[RigRevision]):
    """Actions on one revision."""

    permission_classes = [IsAuthenticated]
    pagination_class = None  # of one rig's part there are few
    queryset = selectors.revisions()


class CalibrationVersions(OfCalibration):
    """Entering a calibration as it should have been."""

    serializer_class = CorrectedCalibrationDocument

    @extend_schema(
        tags=["rigs"],
        operation_id="calibrations_correct",
        responses={201: CalibrationDocument},
        examples=[
            OpenApiExample(
                "The masses were in pounds",
                {"reason": "the weights are marked in pounds, not in kilograms", **EXAMPLE},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Replace a calibration of one's own by a corrected one; the earlier one stays readable.

        What was worked out by it is worked out again. Sent a second time, it answers the same.
        """
        context = {"request": request, "calibration": self.get_object()}
        sent = CorrectedCalibrationDocument(data=request.data, context=context)
        sent.is_valid(raise_exception=True)
        made = selectors.calibrations().get(pk=sent.save().pk)
        document = CalibrationDocument(made, context={"request": request}).data
        return Response(
            document, status.HTTP_201_CREATED, headers={"Location": str(document["url"])}
        )


class CalibrationVoiding(OfCalibration):
    """Taking a calibration out of use."""

    serializer_class = ReasonDocument

    @extend_schema(
        tags=["rigs"],
        operation_id="calibrations_void",
        responses={200: CalibrationDocument},
        examples=[
            OpenApiExample(
                "Another rig's", {"reason": "these were readings of my old rig"}, request_only=True
            )
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Void a calibration of one's own: it stays readable and is used no more.

        What was worked out by it is worked out again, by the calibration before it if there is
        one. Sent a second time, it changes nothing.
        """
        assert request.user.is_authenticated
        calibration = self.get_object()
        void_calibration_and_reprocess(request.user, calibration, _reason(request))
        now = selectors.calibrations().get(pk=calibration.pk)
        return Response(CalibrationDocument(now, context={"request": request}).data)


class RevisionVersions(OfRevision):
    """The earlier versions of a revision, and the way to correct it."""

    serializer_class = CorrectedRevisionDocument

    @extend_schema(
        tags=["rigs"],
        operation_id="revisions_versions",
        responses={200: RevisionChangeDocument(many=True)},
    )
    def get(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """What was corrected and voided of it: for its owner, and for moderators."""
        revision = self.get_object()
        if not may(request.user, "rigs.locate_rig", revision.rig):
            raise Forbidden(
                gettext("The history of a revision is open to its owner and to moderators.")
            )
        changes = revision.changes.select_related("by__contributor").order_by("version")
        return Response(
            RevisionChangeDocument(changes, many=True, context={"request": request}).data
        )

    @extend_schema(
        tags=["rigs"],
        operation_id="revisions_correct",
        responses={200: RevisionDocument},
        examples=[
            OpenApiExample(
                "A scale with coarser steps",
                {"reason": "the scale shows halves of a pound", "resolution": "0.5 lbf"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Correct a revision of one's own in place: its sessions and calibrations stay on it.

        For what was entered wrongly; a change of the rig itself is its next revision. What the
        correction touches is worked out again. Sent a second time, it changes nothing.
        """
        assert request.user.is_authenticated
        revision = self.get_object()
        sent = CorrectedRevisionDocument(data=request.data, context={"request": request})
        sent.is_valid(raise_exception=True)
        changes = dict(sent.validated_data)
        reason = changes.pop("reason")
        now = correct_revision_and_reprocess(request.user, revision, changes, reason)
        return Response(RevisionDocument(now, context={"request": request}).data)


class RevisionVoiding(OfRevision):
    """Taking a revision out of use."""

    serializer_class = ReasonDocument

    @extend_schema(
        tags=["rigs"],
        operation_id="revisions_void",
        responses={200: RevisionDocument},
        examples=[
            OpenApiExample("Never so", {"reason": "I never fitted these grips"}, request_only=True)
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Void a revision of one's own that no current session stands on; its number stays taken.

        409 while sessions stand on it: correct it, or amend or withdraw them before. 409 for the
        only revision of a rig. Sent a second time, it changes nothing.
        """
        assert request.user.is_authenticated
        revision = self.get_object()
        void_unused_revision(request.user, revision, _reason(request))
        now = selectors.revisions().get(pk=revision.pk)
        return Response(RevisionDocument(now, context={"request": request}).data)


def _reason(request: Request) -> str:
    sent = ReasonDocument(data=request.data)
    sent.is_valid(raise_exception=True)
    return str(sent.validated_data["reason"])


urlpatterns = [
    path(
        "calibrations/<int:pk>/versions",
        CalibrationVersions.as_view(),
        name="calibration-versions",
    ),
    path("calibrations/<int:pk>/voiding", CalibrationVoiding.as_view(), name="calibration-voiding"),
    path("revisions/<int:pk>/versions", RevisionVersions.as_view(), name="revision-versions"),
    path("revisions/<int:pk>/voiding", RevisionVoiding.as_view(), name="revision-voiding"),
]
