"""Lines: the products that are joined and pulled."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.one_row import OneRow
from api.serializers import Choice, Document, Filters, ForceField, LengthField, Strict
from results.catalogue.selectors import lines_visible_to
from rigs.metrology import bounds
from rigs.models import Line, Material
from rigs.registering import accept_line, propose_line

EXAMPLE = {
    "name": "veyra-mono-35",
    "material": "nylon monofilament",
    "label_strength": "15 lbf",
    "label_basis": "test",
    "diameter": "0.35 mm",
}


class LineDocument(Document):
    """A line as sold."""

    label_strength = ForceField(
        "label_strength", bounds.LABEL_STRENGTH_N, required=False, allow_null=True
    )
    diameter = LengthField("diameter", bounds.DIAMETER_m, required=False, allow_null=True)
    proposed_by = serializers.CharField(
        source="proposed_by.handle", default=None, allow_null=True, read_only=True
    )
    url = serializers.HyperlinkedIdentityField(view_name="api:line")

    class Meta:
        model = Line
        fields = [
            "id",
            "url",
            "name",
            "material",
            "label_strength",
            "label_basis",
            "diameter",
            "proposed_by",
            "accepted",
        ]
        read_only_fields = ["accepted"]

    def create(self, validated_data: dict[str, Any]) -> Line:
        return propose_line(self.context["request"].user, Line(**validated_data))


class AcceptanceDocument(Strict):
    """A moderator's yes to a proposal."""

    accepted = serializers.ChoiceField(choices=[True])


ACCEPTED = OpenApiExample("Accepted", {"accepted": True}, request_only=True)


class LineFilters(Filters):
    """Which lines."""

    material = Choice(Material.choices, required=False)


@extend_schema(tags=["catalogue"])
class Lines(generics.ListCreateAPIView[Line]):
    """The catalogue of lines."""

    serializer_class = LineDocument
    orderings: ClassVar = {
        "id": "pk",
        "name": "name",
    }
    queryset = Line.objects.none()

    def get_queryset(self) -> QuerySet[Line]:
        lines = lines_visible_to(self.request.user)
        return lines.filter(**LineFilters.conditions(self.request))

    @extend_schema(parameters=[LineFilters])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Accepted lines, and one's own proposals."""
        return super().get(request, *args, **kwargs)

    @extend_schema(examples=[OpenApiExample("A nylon line", EXAMPLE, request_only=True)])
    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Propose a line; its proposer can use it at once, everyone once a moderator accepts it."""
        return super().post(request, *args, **kwargs)


@extend_schema(tags=["catalogue"])
class OneLine(OneRow[Line]):
    """One line."""

    serializer_class = LineDocument
    queryset = Line.objects.none()

    def get_queryset(self) -> QuerySet[Line]:
        return lines_visible_to(self.request.user)

    @extend_schema(request=AcceptanceDocument, examples=[ACCEPTED])
    def patch(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Accept a proposed line: moderators only."""
        AcceptanceDocument(data=request.data).is_valid(raise_exception=True)
        accept_line(request.user, self.get_object())
        return self.retrieve(request, *args, **kwargs)
