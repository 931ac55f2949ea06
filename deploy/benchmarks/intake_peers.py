"""What ``deploy/bench intake`` serves: the service, two peers on the same table, and the floor.

The peers are what one writes first with Django REST Framework: a serializer for each pull, saved
one by one or in bulk. They store no session, keep no original and check no fact. The floor parses
the JSON and copies the rows.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse
from django.urls import path
from django.views.decorators.csrf import csrf_exempt
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from deploy.urls import urlpatterns as of_the_service
from results.models import Pull
from rigs.metrology.units import FORCE_UNITS

LBF = FORCE_UNITS["lbf"]


def flat(document: Any) -> Iterator[dict[str, Any]]:
    """The pulls of a session document, one after the other."""
    for part in [*document["baselines"], *document["pull_sets"]]:
        yield from part["pulls"]


class InBulk(serializers.ListSerializer[Any]):
    """Stores what was validated with one INSERT."""

    def create(self, validated_data: Any) -> Any:
        return Pull.objects.bulk_create(Pull(**each) for each in validated_data)


class OnePull(serializers.Serializer[Any]):
    """A pull as the peers check it."""

    reading = serializers.FloatField(min_value=0)
    failure_mode = serializers.ChoiceField(Pull.FailureMode.choices)
    place = serializers.CharField(max_length=40, allow_blank=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        reading = attrs.pop("reading")
        return {
            **attrs,
            "number": 1,
            "reading_written": str(reading),
            "unit": "lbf",
            "reading_N": reading * LBF,
            "pull_set_id": self.context["pull_set"],
        }

    def create(self, validated_data: dict[str, Any]) -> Pull:
        return Pull.objects.create(**validated_data)


class OnePullInBulk(OnePull):
    """The same, many at a time."""

    class Meta:
        list_serializer_class = InBulk


class Peer(APIView):
    """The pulls of a session through a ListSerializer."""

    serializer_class: type[OnePull] = OnePull

    def post(self, request: Request, pull_set: int) -> Response:
        pulls = list(flat(request.data))
        sent = self.serializer_class(data=pulls, many=True, context={"pull_set": pull_set})
        sent.is_valid(raise_exception=True)
        with transaction.atomic():
            sent.save()
        return Response({"pulls": len(pulls)}, status=201)


@csrf_exempt
def floor(request: HttpRequest, pull_set: int) -> HttpResponse:
    """Parse and copy: the least that storing these rows can cost here."""
    statement = (
        'COPY results_pull (pull_set_id, number, reading_written, unit, "reading_N", '
        "failure_mode, place, slipped_first, note) FROM STDIN"
    )
    with transaction.atomic(), connection.cursor() as cursor, cursor.copy(statement) as copy:
        for pull in flat(json.loads(request.body)):
            reading = pull["reading"]
            answer = (pull["failure_mode"], pull["place"], False, "")
            copy.write_row((pull_set, 1, str(reading), "lbf", reading * LBF, *answer))
    return HttpResponse(status=201)


urlpatterns = [
    *of_the_service,
    path("peers/save/<int:pull_set>", Peer.as_view()),
    path("peers/bulk/<int:pull_set>", Peer.as_view(serializer_class=OnePullInBulk)),
    path("peers/floor/<int:pull_set>", floor),
]
