"""Reports: anybody has moderators look at a set or a name; moderators alone read them."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import get_adapter
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers, status
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.serializers import ShownRow, Strict
from results.models import Report
from results.review.reports import LONGEST_TEXT, SUBJECTS, report
from rigs.permissions import contributor_behind, is_moderator


class AnyoneSendsModeratorsRead(BasePermission):
    """Everyone may send a report; only moderators may read them."""

    message = "Only moderators read reports."

    def has_permission(self, request: Request, view: APIView) -> bool:  # noqa: ARG002
        return request.method not in SAFE_METHODS or is_moderator(request.user)


class NewReportDocument(Strict):
    """What is wrong with a set or a name."""

    subject_kind = serializers.CharField(max_length=12, help_text=", ".join(SUBJECTS))
    subject_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    text = serializers.CharField(max_length=LONGEST_TEXT)


class ReceivedReportDocument(ShownRow):
    """That a report was kept."""

    class Meta:
        model = Report
        fields = ["id", "subject_kind", "subject_id", "at"]


class ReportDocument(ShownRow):
    """A report as moderators read it; ``reporter`` is null for a reader without an account."""

    reporter = serializers.CharField(source="reporter.handle", default=None, allow_null=True)

    class Meta:
        model = Report
        fields = ["id", "subject_kind", "subject_id", "reporter", "text", "at"]


@extend_schema(tags=["review"])
class Reports(generics.ListAPIView[Report]):
    """Open reports, oldest first, and the way to send one."""

    serializer_class = ReportDocument
    permission_classes = [AnyoneSendsModeratorsRead]
    queryset = Report.objects.none()

    def get_queryset(self) -> QuerySet[Report]:
        return Report.objects.filter(closed_at=None).select_related("reporter").order_by("pk")

    @extend_schema(
        operation_id="reports_create",
        request=NewReportDocument,
        responses={201: ReceivedReportDocument},
        examples=[
            OpenApiExample(
                "A name that advertises",
                {"subject_kind": "connection", "subject_id": 12, "text": "It names a shop."},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Report a set or a name, with or without an account; moderators alone read the text."""
        asked = NewReportDocument(data=request.data)
        asked.is_valid(raise_exception=True)
        kept = report(
            kind=asked.validated_data["subject_kind"],
            number=asked.validated_data["subject_id"],
            text=asked.validated_data["text"],
            by=contributor_behind(request.user),
            address=get_adapter().get_client_ip(request._request),
        )
        document = ReceivedReportDocument(kept, context=self.get_serializer_context())
        return Response(document.data, status.HTTP_201_CREATED)
