"""Review: what screening found of a set, the thread on it, appeals, notices, and the queue.

Checks and thread of a set are for its contributor and for moderators; the decision itself is
taken at ``/pull-sets/{id}/decisions``.
"""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers, status
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.pull_sets import Visible
from api.serializers import Link, PoolLink, Shown, ShownRow, Strict
from results.models import CheckResult, Message, Notice, PullSet, ReviewCase
from results.notices import address_of
from results.review.decisions import (
    LONGEST_TEXT,
    answer,
    appeal,
    ask,
    may_follow,
    version_of,
)
from results.review.notices import mark_read, notices_of
from results.review.selectors import check_records, check_results_of, queue, thread_of
from rigs.permissions import contributor_of, is_moderator
from rigs.refusals import Forbidden


class CheckDocument(ShownRow):
    """One check: its figure against its threshold, and what it saw in plain words."""

    screened_at = serializers.DateTimeField(source="screening.screened_at")
    honest_reasons = serializers.SerializerMethodField(
        help_text="where it holds: why an honest set may trip it"
    )
    settled_by = serializers.SerializerMethodField(help_text="where it holds: what settles it")

    class Meta:
        model = CheckResult
        fields = [
            "name",
            "applies_to",
            "level",
            "figure",
            "threshold",
            "p",
            "adjusted_p",
            "sentence",
            "source",
            "screened_at",
            "honest_reasons",
            "settled_by",
            "meant_unit",
        ]

    def get_honest_reasons(self, check: CheckResult) -> str | None:
        return str(check.hold.reasons) if check.hold else None

    def get_settled_by(self, check: CheckResult) -> str | None:
        return str(check.hold.settled_by) if check.hold else None


class MessageDocument(ShownRow):
    """One entry of a thread; its author is given by role."""

    by = serializers.SerializerMethodField()

    class Meta:
        model = Message
        fields = ["id", "by", "kind", "text", "at"]

    def get_by(self, message: Message) -> str:
        own = message.by_id == message.pull_set.session.contributor.user_id
        return "contributor" if own else "moderator"


class TextDocument(Strict):
    """Something to say."""

    text = serializers.CharField(max_length=LONGEST_TEXT, allow_blank=True)


class ThreadDocument(Shown):
    """A thread, and the version of the case that a decision may name as the one it saw."""

    version = serializers.IntegerField()
    messages = MessageDocument(many=True)


class NoticeDocument(ShownRow):
    """A notice to a contributor about one of their sets."""

    pull_set = Link("api:pull-set")
    link = serializers.SerializerMethodField(help_text="the page that it is about")

    def get_link(self, notice: Notice) -> str:
        address: str = self.context["request"].build_absolute_uri(address_of(notice))
        return address

    class Meta:
        model = Notice
        fields = ["id", "pull_set", "about", "link", "text", "at", "read_at"]


class CaseDocument(ShownRow):
    """A set that waits for a moderator, and how far its pool would move with it."""

    pull_set = Link("api:pull-set")
    tester = serializers.CharField(source="pull_set.session.contributor.handle")
    connection = serializers.CharField(source="pull_set.connection.name")
    set_label = serializers.CharField(source="pull_set.label")
    state = serializers.CharField(source="pull_set.state")
    session = Link("api:session", source="pull_set.session")
    rig = Link("api:rig", source="pull_set.session.revision.rig")
    pool = PoolLink(source="pull_set.normalised.pool")
    appealed = serializers.SerializerMethodField()
    waits_for_second_tester = serializers.SerializerMethodField(
        help_text="whether a second tester's result may release it without a moderator"
    )

    class Meta:
        model = ReviewCase
        fields = [
            "pull_set",
            "tester",
            "connection",
            "set_label",
            "state",
            "session",
            "rig",
            "pool",
            "pool_shift",
            "appealed",
            "influence_limit",
            "waits_for_second_tester",
            "opened_at",
        ]

    def get_waits_for_second_tester(self, case: ReviewCase) -> bool:
        return case.influence_limit is not None

    def get_appealed(self, case: ReviewCase) -> bool:
        return case.appealed_id is not None


class CheckRecordDocument(Shown):
    """How often a check held a set, and how often moderators released it."""

    name = serializers.CharField()
    held = serializers.IntegerField()
    released = serializers.IntegerField()
    rejected = serializers.IntegerField()
    overturned = serializers.FloatField(allow_null=True)


class OfPullSet(Visible):
    """What only a set's contributor and moderators see."""

    permission_classes = [IsAuthenticated]
    queryset = PullSet.objects.none()
    pagination_class = None

    def get_object(self) -> PullSet:
        pull_set: PullSet = super().get_object()
        if not may_follow(self.request.user, pull_set):
            raise Forbidden(
                gettext("The review of a set is open to its contributor and to moderators.")
            )
        return pull_set


@extend_schema(tags=["review"])
class Checks(OfPullSet):
    """The checks of a set."""

    serializer_class = CheckDocument

    @extend_schema(operation_id="pull_sets_checks", responses={200: CheckDocument(many=True)})
    def get(self, _request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """All checks of the set, of its straight line and of its session, as last screened."""
        return Response(self.get_serializer(check_results_of(self.get_object()), many=True).data)


@extend_schema(tags=["review"])
class Thread(OfPullSet):
    """The thread of a set."""

    serializer_class = TextDocument

    @extend_schema(operation_id="pull_sets_thread", responses={200: ThreadDocument})
    def get(self, _request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Questions, answers, appeals and decisions, oldest first."""
        pull_set = self.get_object()
        thread = {"version": version_of(pull_set), "messages": thread_of(pull_set)}
        return Response(ThreadDocument(thread, context=self.get_serializer_context()).data)

    @extend_schema(
        operation_id="pull_sets_say",
        responses={201: MessageDocument},
        examples=[OpenApiExample("An answer", {"text": "The battery was low."}, request_only=True)],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Answer as the set's contributor, or ask as a moderator."""
        assert request.user.is_authenticated
        pull_set, text = self.get_object(), _text(self, request)
        own = pull_set.session.contributor.user_id == request.user.pk
        say = answer if own else ask
        message = say(by=request.user, pull_set=pull_set, text=text)
        document = MessageDocument(message, context=self.get_serializer_context())
        return Response(document.data, status.HTTP_201_CREATED)


@extend_schema(tags=["review"])
class Appeals(OfPullSet):
    """Appeals against a decision."""

    serializer_class = TextDocument

    @extend_schema(
        operation_id="pull_sets_appeal",
        responses={201: MessageDocument},
        examples=[
            OpenApiExample("An appeal", {"text": "The spool is the same."}, request_only=True)
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Have another moderator look at the latest decision on one's own set."""
        assert request.user.is_authenticated
        pull_set, text = self.get_object(), _text(self, request)
        message = appeal(by=request.user, pull_set=pull_set, text=text)
        document = MessageDocument(message, context=self.get_serializer_context())
        return Response(document.data, status.HTTP_201_CREATED)


def _text(view: generics.GenericAPIView[Any], request: Request) -> str:
    document = view.get_serializer(data=request.data)
    document.is_valid(raise_exception=True)
    text: str = document.validated_data["text"]
    return text


@extend_schema(tags=["review"])
class Notices(generics.ListAPIView[Notice]):
    """One's own notices, newest first."""

    serializer_class = NoticeDocument
    permission_classes = [IsAuthenticated]
    queryset = Notice.objects.none()

    def get_queryset(self) -> QuerySet[Notice]:
        return notices_of(contributor_of(self.request.user)).filter(pull_set__isnull=False)


class Reading(generics.GenericAPIView[Notice]):
    """Having read one's notices."""

    permission_classes = [IsAuthenticated]

    @extend_schema(
        tags=["review"], operation_id="notices_read", request=None, responses={204: None}
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Note that all notices up to now have been read."""
        mark_read(contributor_of(request.user))
        return Response(status=status.HTTP_204_NO_CONTENT)


def _check_moderator(request: Request) -> None:
    if not is_moderator(request.user):
        raise Forbidden(gettext("Only moderators see what waits for review."))


@extend_schema(tags=["review"])
class Queue(generics.ListAPIView[ReviewCase]):
    """Open cases, those first that would move their pool the most."""

    serializer_class = CaseDocument
    permission_classes = [IsAuthenticated]
    queryset = ReviewCase.objects.none()

    def get_queryset(self) -> QuerySet[ReviewCase]:
        _check_moderator(self.request)
        return queue()


@extend_schema(tags=["review"])
class CheckRecords(generics.GenericAPIView[ReviewCase]):
    """How the checks fare."""

    serializer_class = CheckRecordDocument
    permission_classes = [IsAuthenticated]
    pagination_class = None

    @extend_schema(operation_id="reviews_checks", responses={200: CheckRecordDocument(many=True)})
    def get(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """How often each check held a set, and how often moderators overturned it."""
        _check_moderator(request)
        return Response(self.get_serializer(check_records(), many=True).data)


urlpatterns = [
    path("pull-sets/<int:pk>/checks", Checks.as_view(), name="checks"),
    path("pull-sets/<int:pk>/thread", Thread.as_view(), name="thread"),
    path("pull-sets/<int:pk>/appeals", Appeals.as_view(), name="appeals"),
    path("notices", Notices.as_view(), name="notices"),
    path("notices/read", Reading.as_view(), name="notices-read"),
    path("reviews", Queue.as_view(), name="reviews"),
    path("reviews/checks", CheckRecords.as_view(), name="check-records"),
]
