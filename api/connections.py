"""The catalogue of connections: trade name, other names, how each is tied."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import QuerySet
from django.utils.translation import gettext
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.lines import ACCEPTED, AcceptanceDocument
from api.one_row import OneRow
from api.serializers import Choice, Document, Filters
from results.catalogue.connections import (
    accept_connection,
    connections_visible_to,
    propose_connection,
)
from results.models import Connection, TieParameter

EXAMPLE = {
    "name": "Double uni",
    "kind": "line to line",
    "description": "Two uni knots, each tied around the other line, drawn together.",
    "tools": "none",
    "slim": False,
    "quick": True,
    "aliases": ["Uni to uni"],
    "parameters": [
        {"name": "turns_main", "type": "integer", "lowest": 1, "highest": 20},
        {"name": "turns_leader", "type": "integer", "lowest": 1, "highest": 20},
    ],
}


class TieParameterDocument(Document):
    """One thing to say of how it is tied; only a choice lists its words."""

    choices = serializers.ListField(
        child=serializers.CharField(max_length=60), max_length=50, required=False
    )

    class Meta:
        model = TieParameter
        fields = ["name", "type", "unit", "lowest", "highest", "choices"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        lowest, highest = attrs.get("lowest"), attrs.get("highest")
        if lowest is not None and highest is not None and lowest > highest:
            raise serializers.ValidationError(
                {"highest": gettext("at least the lowest, %(lowest)s") % {"lowest": f"{lowest:g}"}}
            )
        is_choice = attrs["type"] == TieParameter.Type.CHOICE
        if is_choice != bool(attrs.get("choices")):
            expected = (
                gettext("one word or more")
                if is_choice
                else gettext("nothing: only a choice lists words")
            )
            raise serializers.ValidationError({"choices": expected})
        return attrs


class Names(serializers.ListField):
    """Plain names, of rows that hold a name each."""

    def to_representation(self, data: Any) -> list[str]:
        return [row.name for row in data.all()]


class ConnectionDocument(Document):
    """A join by its trade name."""

    aliases = Names(
        child=serializers.CharField(max_length=120),
        max_length=20,
        required=False,
        help_text="its other names",
    )
    parameters = TieParameterDocument(many=True, required=False)
    proposed_by = serializers.CharField(
        source="proposed_by.handle", default=None, allow_null=True, read_only=True
    )
    url = serializers.HyperlinkedIdentityField(view_name="api:connection")

    class Meta:
        model = Connection
        fields = [
            "id",
            "url",
            "name",
            "kind",
            "description",
            "tools",
            "slim",
            "quick",
            "aliases",
            "parameters",
            "proposed_by",
            "accepted",
        ]
        read_only_fields = ["accepted"]

    def create(self, validated_data: dict[str, Any]) -> Connection:
        aliases = validated_data.pop("aliases", [])
        parameters = [
            TieParameter(**parameter) for parameter in validated_data.pop("parameters", [])
        ]
        by = self.context["request"].user
        return propose_connection(by, Connection(**validated_data), aliases, parameters)


class ConnectionFilters(Filters):
    """Which connections."""

    kind = Choice(Connection.Kind.choices, required=False)


@extend_schema(tags=["catalogue"])
class Connections(generics.ListCreateAPIView[Connection]):
    """The catalogue of connections."""

    serializer_class = ConnectionDocument
    orderings: ClassVar = {
        "id": "pk",
        "name": "name",
    }
    queryset = Connection.objects.none()

    def get_queryset(self) -> QuerySet[Connection]:
        connections = connections_visible_to(self.request.user)
        return connections.filter(**ConnectionFilters.conditions(self.request))

    @extend_schema(parameters=[ConnectionFilters])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Accepted connections, and one's own proposals."""
        return super().get(request, *args, **kwargs)

    @extend_schema(examples=[OpenApiExample("A join of two lines", EXAMPLE, request_only=True)])
    def post(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Propose a connection; everyone can use it once a moderator accepts it."""
        return super().post(request, *args, **kwargs)


@extend_schema(tags=["catalogue"])
class OneConnection(OneRow[Connection]):
    """One connection."""

    serializer_class = ConnectionDocument
    queryset = Connection.objects.none()

    def get_queryset(self) -> QuerySet[Connection]:
        return connections_visible_to(self.request.user)

    @extend_schema(request=AcceptanceDocument, examples=[ACCEPTED])
    def patch(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Accept a proposed connection: moderators only."""
        AcceptanceDocument(data=request.data).is_valid(raise_exception=True)
        accept_connection(request.user, self.get_object())
        return self.retrieve(request, *args, **kwargs)
