"""Sessions: sent whole as JSON, CSV or XLSX, read by all, amended by their own."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db.models import Q, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils.translation import gettext
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import generics, status
from rest_framework.exceptions import PermissionDenied, UnsupportedMediaType
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.views import APIView

from api.jobs import ASK_AGAIN_AFTER_S
from api.one_row import OneRow
from api.pagination import PagesOfChanges
from api.round_documents import SealedDocument
from api.session_documents import (
    PreviewDocument,
    ReceiptDocument,
    SessionFilters,
    SessionInFull,
    SessionInShort,
    WaitingSessionDocument,
    WithdrawalDocument,
)
from api.session_examples import UPLOAD_REQUEST, UPLOADS
from results import intake
from results.intake import amend
from results.intake.selectors import changed_since, in_full, sessions_visible_to, with_counts
from results.intake.template import template
from results.intake.template_workbook import template_workbook
from results.intake.unit_repair import repair_unit
from results.models import Session, Upload, WaitingSession
from results.rounds import receiving as of_rounds
from rigs.models import Contributor
from rigs.permissions import contributor_of, may
from rigs.refusals import Finding, Invalid

KEY = OpenApiParameter(
    "Idempotency-Key",
    location=OpenApiParameter.HEADER,
    description="new for each upload: sent again with the same body it answers the same, and "
    "stores nothing twice",
)
DRY_RUN = OpenApiParameter(
    "dry_run", OpenApiTypes.BOOL, description="check only: answers 200 with what would be stored"
)
REASON = OpenApiParameter("reason", required=True, description="what was wrong before")
CORRECTED = OpenApiParameter(
    "replaces", OpenApiTypes.INT, description="number of the session of one's own that it corrects"
)
REASON_OF_A_CORRECTION = OpenApiParameter(
    "reason", description="what was wrong before; needed with `replaces`"
)


LONGEST_NUMBER = 18


def _sent(request: Request) -> tuple[Contributor, bytes, str, str | None]:
    """Sender, body, form and key of an upload. Raises UnsupportedMediaType."""
    form = request.content_type.partition(";")[0].strip().lower()
    if form not in intake.FORMS:
        taken = ", ".join(intake.FORMS)
        raise UnsupportedMediaType(form, f"A session is sent as one of {taken}.")
    body: bytes = request.body
    return contributor_of(request.user), body, form, request.headers.get("Idempotency-Key")


def _corrected(request: Request) -> Session | None:
    """The session that `replaces` names, among those the sender can see."""
    written = request.query_params.get("replaces")
    if written is None:
        return None
    number = written.isascii() and written.isdigit() and len(written) <= LONGEST_NUMBER
    visible = sessions_visible_to(request.user)
    found = visible.filter(pk=int(written)).first() if number else None
    if found is None:
        raise Invalid(
            gettext("There is no such session to correct."),
            [Finding("query", "replaces", written[:60], gettext("the number of your session"))],
        )
    return found


def _is_dry_run(request: Request) -> bool:
    asked = request.query_params.get("dry_run", "false").lower()
    if asked not in ("true", "false"):
        raise Invalid(
            gettext("It is not clear whether this is a dry run."),
            [Finding("query", "dry_run", asked, gettext("true or false"))],
        )
    return asked == "true"


def _accepted(request: Request, receipt: intake.Receipt) -> Response:
    document = ReceiptDocument(receipt, context={"request": request}).data
    headers = {
        "Location": reverse("api:job", [receipt.job.pk], request=request),
        "Retry-After": str(ASK_AGAIN_AFTER_S),
    }
    return Response(document, status.HTTP_202_ACCEPTED, headers=headers)


@extend_schema(tags=["sessions"])
class Sessions(generics.ListAPIView[Session]):
    """Every session, newest first, and the way to send one."""

    serializer_class = SessionInShort
    pagination_class = PagesOfChanges
    orderings: ClassVar = {
        "id": "pk",
        "pulled_on": "pulled_on",
        "received_at": "received_at",
    }
    queryset = Session.objects.none()

    def get_queryset(self) -> QuerySet[Session]:
        asked = SessionFilters.conditions(self.request)
        asked.setdefault("standing", Session.Standing.CURRENT)
        return with_counts(sessions_visible_to(self.request.user)).filter(**asked)

    def changed_since(self, moment: datetime) -> Q:
        """Sessions received, replaced or decided on since then."""
        return changed_since(moment)

    @extend_schema(parameters=[SessionFilters])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Current sessions; with ``standing`` those replaced, or one's own withdrawn."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[KEY, DRY_RUN],
        request=UPLOAD_REQUEST,
        responses={
            202: ReceiptDocument,
            201: OpenApiResponse(SealedDocument, "of an open round: sealed until its close"),
            200: OpenApiResponse(PreviewDocument, "dry run: nothing was stored"),
        },
        examples=UPLOADS,
    )
    def post(self, request: Request) -> Response:
        """Send a session whole. It is stored whole, or refused with every mistake named.

        A pull set of an open round has its code as ``sample``, in place of connection and lines; a
        sheet has a column of that name. Such a session is kept sealed until the close (201).
        """
        contributor, body, form, key = _sent(request)
        is_dry_run = _is_dry_run(request)
        try:
            if is_dry_run:
                return Response(PreviewDocument(intake.dry_run(contributor, body, form)).data)
            return _accepted(request, intake.receive(contributor, body, form, key))
        except intake.GoesByCodes:
            if is_dry_run:
                return Response(PreviewDocument(of_rounds.dry_run(contributor, body, form)).data)
            sealed = of_rounds.receive(contributor, body, form, key).row
        document = SealedDocument(sealed, context={"request": request})
        return Response(document.data, status.HTTP_201_CREATED)


class OneSessionView(generics.GenericAPIView[Session]):
    """Views of one session."""

    def get_queryset(self) -> QuerySet[Session]:
        return sessions_visible_to(self.request.user)


@extend_schema(tags=["sessions"])
class OneSession(OneRow[Session]):
    """One session with every pull."""

    serializer_class = SessionInFull
    queryset = Session.objects.none()

    def get_queryset(self) -> QuerySet[Session]:
        return in_full(sessions_visible_to(self.request.user))


class Original(OneSessionView):
    """The file as it was sent."""

    permission_classes = [IsAuthenticated]
    serializer_class = None

    @extend_schema(
        tags=["sessions"],
        responses={
            (200, form): OpenApiTypes.OBJECT if form == intake.JSON else OpenApiTypes.BINARY
            for form in intake.FORMS
        },
    )
    def get(self, request: Request, *_args: Any, **_kwargs: Any) -> HttpResponse:
        """The upload byte for byte: for its owner, and for moderators."""
        session = self.get_object()
        if not may(request.user, "results.read_original", session):
            raise PermissionDenied
        upload = get_object_or_404(Upload, session=session)
        ending = {intake.JSON: "json", intake.CSV: "csv"}.get(upload.content_type, "xlsx")
        response = HttpResponse(bytes(upload.body), content_type=upload.content_type)
        response["Content-Disposition"] = f'attachment; filename="session-{session.pk}.{ending}"'
        response["ETag"] = f'"{upload.sha256}"'
        return response


class Versions(OneSessionView):
    """Replacing a session by a corrected version."""

    permission_classes = [IsAuthenticated]
    serializer_class = ReceiptDocument

    @extend_schema(
        tags=["sessions"],
        operation_id="sessions_amend",
        parameters=[KEY, REASON],
        request=UPLOAD_REQUEST,
        responses={202: ReceiptDocument},
        examples=UPLOADS,
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Replace a session of one's own by a corrected one; the old version stays readable."""
        replaces = self.get_object()
        contributor, body, form, key = _sent(request)
        reason = request.query_params.get("reason", "")
        return _accepted(
            request,
            intake.receive(contributor, body, form, key, replaces=replaces, reason=reason),
        )


class UnitRepair(OneSessionView):
    """Putting a wrong unit right."""

    permission_classes = [IsAuthenticated]
    serializer_class = ReceiptDocument

    @extend_schema(
        tags=["sessions"],
        operation_id="sessions_repair_unit",
        request=None,
        responses={202: ReceiptDocument},
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Replace a session of one's own by one in the unit that was meant.

        For sets held for their unit: the check's ``meant_unit`` names it. 409 where none does.
        """
        return _accepted(request, repair_unit(contributor_of(request.user), self.get_object()))


class Withdrawal(OneSessionView):
    """Taking a session back."""

    permission_classes = [IsAuthenticated]
    serializer_class = WithdrawalDocument

    @extend_schema(
        tags=["sessions"],
        operation_id="sessions_withdraw",
        request=WithdrawalDocument,
        responses={200: SessionInShort},
        examples=[
            OpenApiExample(
                "A rig at fault",
                {"reason": "the scale was found to stick above 20 lbf"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Take a session of one's own, in all its versions, out of every figure."""
        session = self.get_object()
        withdrawal = WithdrawalDocument(data=request.data)
        withdrawal.is_valid(raise_exception=True)
        amend.withdraw(session, contributor_of(request.user), **withdrawal.validated_data)
        now = with_counts(sessions_visible_to(request.user)).get(pk=session.pk)
        return Response(SessionInShort(now, context={"request": request}).data)


@extend_schema(tags=["sessions"])
class WaitingSessions(generics.ListAPIView[WaitingSession]):
    """One's own sessions that name what the catalogue lacks, and wait for it."""

    permission_classes = [IsAuthenticated]
    serializer_class = WaitingSessionDocument
    queryset = WaitingSession.objects.none()

    def get_queryset(self) -> QuerySet[WaitingSession]:
        own = WaitingSession.objects.filter(contributor=contributor_of(self.request.user))
        return own.prefetch_related("proposals")

    @extend_schema(
        operation_id="sessions_propose",
        parameters=[CORRECTED, REASON_OF_A_CORRECTION],
        request=UPLOAD_REQUEST,
        responses={202: WaitingSessionDocument},
        examples=UPLOADS,
    )
    def post(self, request: Request) -> Response:
        """Propose what the catalogue lacks of a session, which waits for it.

        It is stored by itself once a moderator has accepted or mapped each name; a notice says so.
        With `replaces` it then takes the place of that session, which counts until then.
        """
        contributor, body, form, _key = _sent(request)
        waiting = intake.propose_and_wait(
            contributor,
            "",
            body,
            form,
            replaces=_corrected(request),
            reason=request.query_params.get("reason", ""),
        )
        document = WaitingSessionDocument(waiting, context={"request": request}).data
        return Response(document, status.HTTP_202_ACCEPTED)


class Template(APIView):
    """A sheet to fill in."""

    @extend_schema(tags=["sessions"], responses={(200, "text/csv"): str})
    def get(self, request: Request) -> HttpResponse:
        """A CSV sheet; signed in, with one's own rig, lines and joins already written."""
        user = request.user
        contributor = Contributor.objects.filter(user=user).first() if user.pk else None
        response = HttpResponse(template(contributor), content_type="text/csv; charset=utf-8")
        response["Content-Disposition"] = 'attachment; filename="session.csv"'
        return response


class TemplateWorkbook(APIView):
    """A workbook to fill in."""

    @extend_schema(tags=["sessions"], responses={(200, intake.XLSX): OpenApiTypes.BINARY})
    def get(self, request: Request) -> HttpResponse:
        """The same as a workbook, with drop-downs and a sheet that explains the columns."""
        user = request.user
        contributor = Contributor.objects.filter(user=user).first() if user.pk else None
        response = HttpResponse(template_workbook(contributor), content_type=intake.XLSX)
        response["Content-Disposition"] = 'attachment; filename="session.xlsx"'
        return response


urlpatterns = [
    path("sessions", Sessions.as_view(), name="sessions"),
    path("sessions/waiting", WaitingSessions.as_view(), name="waiting-sessions"),
    path("sessions/template.csv", Template.as_view(), name="session-template"),
    path("sessions/template.xlsx", TemplateWorkbook.as_view(), name="session-template-workbook"),
    path("sessions/<int:pk>", OneSession.as_view(), name="session"),
    path("sessions/<int:pk>/original", Original.as_view(), name="session-original"),
    path("sessions/<int:pk>/versions", Versions.as_view(), name="session-versions"),
    path("sessions/<int:pk>/unit-repair", UnitRepair.as_view(), name="session-unit-repair"),
    path("sessions/<int:pk>/withdrawal", Withdrawal.as_view(), name="session-withdrawal"),
]
