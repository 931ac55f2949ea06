"""Rigs and their revisions."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.one_row import OneRow
from api.serializers import DAY, AnyField, Document, ForceField, LengthField, Strict, limits
from rigs import selectors
from rigs.metrology.bounds import OF_REVISION
from rigs.models import Rig, RigRevision
from rigs.models.rigs import DESCRIBED_BY, WHERE_IT_STANDS
from rigs.registering import register_rig, revise_rig

EXAMPLE_REVISION = {
    "made_on": "2025-10-04",
    "load_generation": "hand winch",
    "load_path": "bollard, line, bollard, scale in series",
    "indicator": "digital scale",
    "peak_capture": "peak hold",
    "resolution": "0.1 lbf",
    "capacity": "110 lbf",
    "first_grip": "bollard",
    "second_grip": "bollard",
    "grip_cover": "cork tape",
    "free_length": "60 cm",
    "time_to_break_s": 20,
    "place": "garage",
    "latitude_deg": 55.2,
}


class RevisionDocument(Document):
    """One state of a rig. Where it stands and its notes are for its owner and moderators only."""

    resolution = ForceField("resolution", OF_REVISION["resolution_N"])
    capacity = ForceField("capacity", OF_REVISION["capacity_N"], required=False, allow_null=True)
    free_length = LengthField(
        "free_length", OF_REVISION["free_length_m"], required=False, allow_null=True
    )
    url = serializers.HyperlinkedIdentityField(view_name="api:revision")

    class Meta:
        model = RigRevision
        fields = [
            "id",
            "url",
            "number",
            "made_on",
            "what_changed",
            "why",
            *DESCRIBED_BY,
            *WHERE_IT_STANDS,
            "created_at",
            "version",
            "standing",
        ]
        read_only_fields = [
            "number",
            "what_changed",
            "why",
            "created_at",
            "version",
            "standing",
        ]
        extra_kwargs = {
            "made_on": DAY,
            **{column: limits(bounds) for column, bounds in OF_REVISION.items()},
        }


class NextRevisionDocument(RevisionDocument):
    """What changed of a rig and why; what is not said stays as it was."""

    class Meta(RevisionDocument.Meta):
        read_only_fields = ["number", "created_at", "version", "standing"]
        extra_kwargs = {
            **RevisionDocument.Meta.extra_kwargs,
            "what_changed": {"required": True, "allow_blank": False},
            "why": {"required": True, "allow_blank": False},
        }

    def get_fields(self) -> dict[str, AnyField]:
        fields = super().get_fields()
        for name, field in fields.items():
            if not field.read_only:
                field.required = name in ("made_on", "what_changed", "why")
        return fields


class RigDocument(Strict):
    """A rig with the history of its revisions, which reads as a story."""

    id = serializers.IntegerField(read_only=True)
    url = serializers.HyperlinkedIdentityField(view_name="api:rig")
    name = serializers.CharField(max_length=120)
    owner = serializers.CharField(source="owner.handle", read_only=True)
    revision = RevisionDocument(write_only=True)
    revisions = RevisionDocument(many=True, read_only=True)

    def create(self, validated_data: dict[str, Any]) -> Rig:
        first = RigRevision(**validated_data["revision"])
        return register_rig(self.context["request"].user, validated_data["name"], first)


@extend_schema(tags=["rigs"])
class Rigs(generics.ListCreateAPIView[Rig]):
    """Every rig."""

    serializer_class = RigDocument
    orderings: ClassVar = {
        "id": "pk",
    }
    queryset = selectors.rigs()

    @extend_schema(
        examples=[
            OpenApiExample(
                "A hand winch with a hanging scale",
                {"name": "garage winch", "revision": EXAMPLE_REVISION},
                request_only=True,
            )
        ]
    )
    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Register a rig with its first revision."""
        return super().post(request, *args, **kwargs)


@extend_schema(tags=["rigs"])
class OneRig(OneRow[Rig]):
    """One rig with all its revisions."""

    serializer_class = RigDocument
    queryset = selectors.rigs()


@extend_schema(tags=["rigs"])
class Revisions(generics.ListCreateAPIView[RigRevision]):
    """The revisions of a rig, oldest first."""

    queryset = selectors.current_revisions()

    def get_serializer_class(self) -> type[RevisionDocument]:
        return NextRevisionDocument if self.request.method == "POST" else RevisionDocument

    def get_queryset(self) -> QuerySet[RigRevision]:
        rig = generics.get_object_or_404(selectors.rigs(), pk=self.kwargs["pk"])
        return super().get_queryset().filter(rig=rig)

    @extend_schema(
        examples=[
            OpenApiExample(
                "A new cover on the bollards",
                {
                    "made_on": "2025-12-01",
                    "what_changed": "rubber tape in place of cork on both bollards",
                    "why": "braid slid on the cork",
                    "grip_cover": "rubber tape",
                },
                request_only=True,
            )
        ]
    )
    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Record a change of a rig as its next revision; what isn't named stays as it was."""
        return super().post(request, *args, **kwargs)

    def perform_create(self, serializer: Any) -> None:
        assert self.request.user.is_authenticated
        rig = generics.get_object_or_404(selectors.rigs(), pk=self.kwargs["pk"])
        changes = dict(serializer.validated_data)
        serializer.instance = revise_rig(
            self.request.user,
            rig,
            changes.pop("made_on"),
            changes.pop("what_changed"),
            changes.pop("why"),
            changes=changes,
        )


@extend_schema(tags=["rigs"])
class OneRevision(OneRow[RigRevision]):
    """One revision of a rig."""

    serializer_class = RevisionDocument
    queryset = selectors.revisions()
