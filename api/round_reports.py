"""Reports of closed rounds: what is of all together, and each participant's own part."""

from __future__ import annotations

from typing import Any

from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import generics
from rest_framework.request import Request
from rest_framework.response import Response

from api.of_a_round import OfARound
from api.round_documents import OwnReportDocument, RoundReportDocument
from results.models import Round, RoundReport
from results.rounds import selectors
from results.rounds.reporting import own_part
from rigs.permissions import contributor_behind

LONGEST_NUMBER = 6
VERSION = OpenApiParameter(
    "version", OpenApiTypes.INT, description="an earlier version by its number; else the newest"
)


def _report_of(of: Round, request: Request) -> RoundReport:
    made, wanted = selectors.made_reports(of), request.query_params.get("version", "")
    if wanted:
        is_number = wanted.isascii() and wanted.isdigit() and len(wanted) <= LONGEST_NUMBER
        made = made.filter(number=int(wanted)) if is_number else made.none()
    found = made.first()
    if found is None:
        raise Http404
    return found


@extend_schema(tags=["rounds"])
class Report(generics.GenericAPIView[Round]):
    """What a closed round came to."""

    serializer_class = RoundReportDocument
    queryset = selectors.rounds()

    @extend_schema(operation_id="rounds_report", parameters=[VERSION])
    def get(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """The newest report, once it is made.

        Those in the round read of each participant, by number and handle; everyone else reads what
        is of all together.
        """
        of = get_object_or_404(self.get_queryset(), pk=self.kwargs["pk"])
        context = {
            **self.get_serializer_context(),
            "in_the_round": selectors.is_insider(of, contributor_behind(request.user)),
        }
        return Response(RoundReportDocument(_report_of(of, request), context=context).data)


@extend_schema(tags=["rounds"])
class MyReport(OfARound):
    """What a closed round says of oneself."""

    @extend_schema(
        operation_id="rounds_my_report",
        parameters=[VERSION],
        responses={200: OwnReportDocument},
    )
    def get(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """One's own part of the newest report: rig, hand, scores, flags and remarks."""
        participant = self.part()
        found = own_part(_report_of(participant.round, request), participant)
        return self.answer(OwnReportDocument, found)


urlpatterns = [
    path("rounds/<int:pk>/report", Report.as_view(), name="round-report"),
    path("rounds/<int:pk>/my-report", MyReport.as_view(), name="my-round-report"),
]
