"""Rounds: a club's comparisons, as their organiser sets them up, runs and closes them."""

from __future__ import annotations

from typing import Any, ClassVar

from django.shortcuts import get_object_or_404
from django.urls import path
from django.utils.translation import gettext
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, status
from rest_framework.permissions import IsAuthenticatedOrReadOnly
from rest_framework.request import Request
from rest_framework.response import Response

from api.of_a_round import OfARound
from api.one_row import OneRow
from api.round_documents import (
    DeadlineSent,
    KnownSample,
    LotDocument,
    LotPullsSent,
    LotVerdictDocument,
    OwnRoundDocument,
    PackedDocument,
    RoundDocument,
    RoundSent,
    SenderDocument,
)
from results.models import Connection, Round, RoundLot
from results.rounds import selectors
from results.rounds.allocating import open_round, packing_list
from results.rounds.closing import close
from results.rounds.drafts import LotDraft, RoundDraft, SampleDraft
from results.rounds.lot_pulls import record
from results.rounds.reporting import verdict_of
from results.rounds.set_up import change, extend, set_up
from rigs.models import Contributor, Line
from rigs.permissions import contributor_behind, contributor_of
from rigs.refusals import Finding, Forbidden, Invalid

PLAN = OpenApiExample(
    "A join tied for everybody, one code of it twice, and tied by each tester",
    {
        "title": "Spring round",
        "starts_on": "2026-03-01",
        "results_by": "2026-04-15",
        "lots": [{"line": 1, "spool": "spring reel"}, {"line": 2, "spool": "leader reel"}],
        "samples": [
            {"connection": 1, "main_lot": 1, "leader_lot": 2, "tied": "centrally", "codes": 2},
            {"connection": 1, "main_lot": 1, "leader_lot": 2, "tied": "by each tester"},
        ],
    },
    request_only=True,
)


def _draft(request: Request) -> RoundDraft:
    """The plan that was sent, with its rows looked up. Raises Invalid where there is none."""
    sent = RoundSent(data=request.data)
    sent.is_valid(raise_exception=True)
    plan = dict(sent.validated_data)
    lots, samples = plan.pop("lots"), plan.pop("samples")
    people = {role: plan.pop(role, None) for role in ("packer", "tyer")}
    lines = Line.objects.in_bulk([lot["line"] for lot in lots])
    joins = Connection.objects.prefetch_related("parameters").in_bulk(
        [sample["connection"] for sample in samples]
    )
    testers = Contributor.objects.filter(closed_at=None).in_bulk(
        [pk for pk in people.values() if pk is not None]
    )
    findings = [
        *_missing("lots", "line", [lot["line"] for lot in lots], lines),
        *_missing("samples", "connection", [one["connection"] for one in samples], joins),
        *(
            finding
            for role, pk in people.items()
            if pk is not None
            for finding in _missing("", role, [pk], testers)
        ),
    ]
    if findings:
        raise Invalid(gettext("The round names what there is not."), findings)
    return RoundDraft(
        **plan,
        lots=[LotDraft(lines[lot["line"]], lot["spool"]) for lot in lots],
        samples=[
            SampleDraft(**{**sample, "connection": joins[sample["connection"]]})
            for sample in samples
        ],
        packer=testers.get(people["packer"]),
        tyer=testers.get(people["tyer"]),
    )


def _missing(where: str, member: str, asked: list[int], found: dict[int, Any]) -> list[Finding]:
    expected = gettext("the number of one that there is")
    return [
        Finding(f"{where}[{at}]" if where else "", member, str(pk), expected)
        for at, pk in enumerate(asked)
        if pk not in found
    ]


@extend_schema(tags=["rounds"])
class Rounds(generics.ListAPIView[Round]):
    """Every round, newest first, and the way to set one up."""

    serializer_class = RoundDocument
    permission_classes = [IsAuthenticatedOrReadOnly]
    orderings: ClassVar = {"id": "pk"}
    queryset = selectors.rounds()

    @extend_schema(
        operation_id="rounds_create",
        request=RoundSent,
        responses={201: OwnRoundDocument},
        examples=[PLAN],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Set up a round of one's own club; what is wrong with the plan is said all at once."""
        made = set_up(contributor_of(request.user), _draft(request))
        document = OwnRoundDocument(made, context=self.get_serializer_context())
        return Response(document.data, status.HTTP_201_CREATED)


@extend_schema(tags=["rounds"])
class OneRound(OneRow[Round]):
    """One round."""

    serializer_class = RoundDocument
    queryset = selectors.rounds()


@extend_schema(tags=["rounds"])
class Samples(OfARound):
    """What is compared, as far as one may know."""

    @extend_schema(operation_id="rounds_samples", responses={200: KnownSample(many=True)})
    def get(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Samples: all for organiser and packer or once closed, else those that testers tie."""
        known = selectors.samples_of(self.get_object(), contributor_behind(request.user))
        return self.answer(KnownSample, list(known))

    @extend_schema(
        operation_id="rounds_change",
        request=RoundSent,
        responses={200: OwnRoundDocument},
        examples=[PLAN],
    )
    def put(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Put another plan in place of one's round's, until it is opened."""
        changed = change(self.by(), self.get_object(), _draft(request))
        return self.answer(OwnRoundDocument, changed)


@extend_schema(tags=["rounds"])
class Opening(OfARound):
    """Opening a round."""

    @extend_schema(operation_id="rounds_open", request=None, responses={200: OwnRoundDocument})
    def post(self, *_args: Any, **_kwargs: Any) -> Response:
        """Draw the codes of everyone who has entered, and take results from now on."""
        return self.answer(OwnRoundDocument, open_round(self.by(), self.get_object()))


@extend_schema(tags=["rounds"])
class PackingList(OfARound):
    """Which code is which sample, for the one who packs."""

    @extend_schema(
        operation_id="rounds_pack", request=None, responses={200: PackedDocument(many=True)}
    )
    def post(self, *_args: Any, **_kwargs: Any) -> Response:
        """What goes to which participant under which code; who asks is kept as not blind."""
        return self.answer(PackedDocument, packing_list(self.by(), self.get_object()))


@extend_schema(tags=["rounds"])
class Participants(OfARound):
    """Who has sent results."""

    @extend_schema(operation_id="rounds_participants", responses={200: SenderDocument(many=True)})
    def get(self, *_args: Any, **_kwargs: Any) -> Response:
        """Who takes part and who has sent, for the organiser; never what."""
        of = self.get_object()
        if of.organiser_id != self.by().pk:
            raise Forbidden(gettext("Only the organiser of a round sees who has sent."))
        return self.answer(SenderDocument, selectors.senders(of))


@extend_schema(tags=["rounds"])
class Lots(OfARound):
    """The spools of a round."""

    @extend_schema(operation_id="rounds_lots", responses={200: LotDocument(many=True)})
    def get(self, *_args: Any, **_kwargs: Any) -> Response:
        """The spools that every participant has straight line of, for those in the round."""
        of = self.get_object()
        if not selectors.is_insider(of, self.by()):
            raise Forbidden(gettext("You don't take part in this round."))
        return self.answer(LotDocument, list(selectors.lots_of(of)))


@extend_schema(tags=["rounds"])
class LotPulls(OfARound):
    """The organiser's own pulls of a spool."""

    def lot(self) -> RoundLot:
        """A lot of one's own round. Raises Http404 and Forbidden."""
        of = self.get_object()
        if of.organiser_id != self.by().pk:
            raise Forbidden(gettext("Only the organiser of a round does this."))
        return get_object_or_404(of.lots.select_related("round"), number=self.kwargs["number"])

    @extend_schema(operation_id="rounds_lot_pulls", responses={200: LotVerdictDocument})
    def get(self, *_args: Any, **_kwargs: Any) -> Response:
        """Whether a spool is alike all through and stayed so, by its organiser's pulls."""
        return self.answer(LotVerdictDocument, verdict_of(self.lot()))

    @extend_schema(
        operation_id="rounds_record_lot_pulls",
        request=LotPullsSent,
        responses={200: LotVerdictDocument},
        examples=[
            OpenApiExample(
                "Three pieces, two pulls of each",
                {"occasion": "before", "unit": "N", "pieces": [[99.1, 98.7], [99.5, 99], [98, 99]]},
                request_only=True,
            )
        ],
    )
    def put(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Store the pulls of an occasion in place of those before, until the close.

        Once it is closed, those after it are stored where there are none yet, and stay; the report
        then gets a new version.
        """
        lot = self.lot()
        sent = LotPullsSent(data=request.data)
        sent.is_valid(raise_exception=True)
        record(self.by(), lot, **sent.validated_data)
        return self.answer(LotVerdictDocument, verdict_of(lot))


@extend_schema(tags=["rounds"])
class Deadline(OfARound):
    """The last day for results."""

    @extend_schema(
        operation_id="rounds_move_deadline",
        request=DeadlineSent,
        responses={200: OwnRoundDocument},
        examples=[
            OpenApiExample("A later day", {"results_by": "2026-04-30"}, request_only=True),
        ],
    )
    def put(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Move the last day for results of an open round to a later one; everyone has a notice.

        What came late and is in time by the new day is late no more.
        """
        sent = DeadlineSent(data=request.data)
        sent.is_valid(raise_exception=True)
        moved = extend(self.by(), self.get_object(), **sent.validated_data)
        return self.answer(OwnRoundDocument, moved)


@extend_schema(tags=["rounds"])
class Closing(OfARound):
    """Closing a round."""

    @extend_schema(operation_id="rounds_close", request=None, responses={200: OwnRoundDocument})
    def post(self, *_args: Any, **_kwargs: Any) -> Response:
        """Close a round for good: its results are stored and reported. It can't be undone."""
        return self.answer(OwnRoundDocument, close(self.by(), self.get_object()))


urlpatterns = [
    path("rounds", Rounds.as_view(), name="rounds"),
    path("rounds/<int:pk>", OneRound.as_view(), name="round"),
    path("rounds/<int:pk>/samples", Samples.as_view(), name="round-samples"),
    path("rounds/<int:pk>/opening", Opening.as_view(), name="round-opening"),
    path("rounds/<int:pk>/packing-list", PackingList.as_view(), name="round-packing-list"),
    path("rounds/<int:pk>/participants", Participants.as_view(), name="round-participants"),
    path("rounds/<int:pk>/lots", Lots.as_view(), name="round-lots"),
    path("rounds/<int:pk>/lots/<int:number>/pulls", LotPulls.as_view(), name="round-lot-pulls"),
    path("rounds/<int:pk>/deadline", Deadline.as_view(), name="round-deadline"),
    path("rounds/<int:pk>/closing", Closing.as_view(), name="round-closing"),
]
