"""A tester's part in a round: entering it, their codes and sheets, what they sent, and leaving."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, status
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.of_a_round import OfARound
from api.round_documents import CodeDocument, EntryDocument, EntrySent, SealedDocument
from results.intake import XLSX
from results.models import SealedSession
from results.rounds import selectors
from results.rounds.entering import enter, withdraw
from results.rounds.receiving import take_back
from results.rounds.template import template, template_workbook
from rigs.permissions import contributor_of


@extend_schema(tags=["rounds"])
class Entries(OfARound):
    """Entering a round by its code."""

    @extend_schema(
        operation_id="rounds_enter",
        request=EntrySent,
        responses={200: EntryDocument},
        examples=[OpenApiExample("A code", {"entry_code": "K7MQ-3XWD"}, request_only=True)],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Take part; sent again it answers the same."""
        sent = EntrySent(data=request.data)
        sent.is_valid(raise_exception=True)
        return self.answer(EntryDocument, enter(self.by(), **sent.validated_data))


@extend_schema(tags=["rounds"])
class Withdrawal(OfARound):
    """Leaving a round."""

    @extend_schema(operation_id="rounds_withdraw", request=None, responses={204: None})
    def post(self, *_args: Any, **_kwargs: Any) -> Response:
        """Take part no more, until one enters again; results that were sent are not stored."""
        withdraw(self.by(), self.get_object())
        return Response(status=status.HTTP_204_NO_CONTENT)


@extend_schema(tags=["rounds"])
class Codes(OfARound):
    """One's own codes."""

    @extend_schema(operation_id="rounds_codes", responses={200: CodeDocument(many=True)})
    def get(self, *_args: Any, **_kwargs: Any) -> Response:
        """One's codes in alphabetical order, which says nothing of the samples."""
        return self.answer(CodeDocument, selectors.own_codes(self.part()))


class RoundTemplate(OfARound):
    """A sheet for one's results."""

    @extend_schema(
        tags=["rounds"], operation_id="rounds_template", responses={(200, "text/csv"): str}
    )
    def get(self, *_args: Any, **_kwargs: Any) -> HttpResponse:
        """A CSV sheet with one's codes and the round's spools already written."""
        response = HttpResponse(template(self.part()), content_type="text/csv; charset=utf-8")
        response["Content-Disposition"] = 'attachment; filename="round.csv"'
        return response


class RoundTemplateWorkbook(OfARound):
    """The same as a workbook."""

    @extend_schema(
        tags=["rounds"],
        operation_id="rounds_template_workbook",
        responses={(200, XLSX): OpenApiTypes.BINARY},
    )
    def get(self, *_args: Any, **_kwargs: Any) -> HttpResponse:
        """The same as a workbook, with drop-downs."""
        response = HttpResponse(template_workbook(self.part()), content_type=XLSX)
        response["Content-Disposition"] = 'attachment; filename="round.xlsx"'
        return response


@extend_schema(tags=["rounds"])
class SealedSessions(OfARound):
    """What one has sent."""

    @extend_schema(operation_id="rounds_sealed", responses={200: SealedDocument(many=True)})
    def get(self, *_args: Any, **_kwargs: Any) -> Response:
        """One's own sealed sessions of a round, newest first."""
        return self.answer(SealedDocument, list(selectors.sealed_of(self.part())))


@extend_schema(tags=["rounds"])
class OneSealedSession(generics.GenericAPIView[SealedSession]):
    """A sealed session of one's own."""

    permission_classes = [IsAuthenticated]
    serializer_class = SealedDocument

    def get_queryset(self) -> QuerySet[SealedSession]:
        own = SealedSession.objects.filter(participant__contributor__user=self.request.user.pk)
        return own.select_related("participant__round")

    @extend_schema(operation_id="rounds_take_back", responses={204: None})
    def delete(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Take a sealed session back before the close, so that its codes can be sent again."""
        take_back(contributor_of(request.user), self.get_object())
        return Response(status=status.HTTP_204_NO_CONTENT)


urlpatterns = [
    path("rounds/entries", Entries.as_view(), name="round-entries"),
    path("rounds/<int:pk>/withdrawal", Withdrawal.as_view(), name="round-withdrawal"),
    path("rounds/<int:pk>/codes", Codes.as_view(), name="round-codes"),
    path("rounds/<int:pk>/template.csv", RoundTemplate.as_view(), name="round-template"),
    path(
        "rounds/<int:pk>/template.xlsx",
        RoundTemplateWorkbook.as_view(),
        name="round-template-workbook",
    ),
    path("rounds/<int:pk>/sealed", SealedSessions.as_view(), name="round-sealed"),
    path("sealed-sessions/<int:pk>", OneSealedSession.as_view(), name="round-sealed-session"),
]
