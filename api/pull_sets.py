"""Pull sets: what each came to, how it stands, and a moderator's decision on it."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import generics, serializers, status
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.intervals import Interval
from api.one_row import OneRow
from api.serializers import Link, PoolLink, Shown, ShownRow, Strict
from results.intake.selectors import sessions_visible_to
from results.models import NormalisedSet, PullSet, StateChange
from results.pools.selectors import own_strength_of
from results.public.seeing import raw
from results.review.decisions import decide


class FiguresDocument(ShownRow):
    """Strengths of a set and of its straight line in newtons, and their ratio."""

    interval = Interval()
    failure_modes = serializers.DictField(child=serializers.IntegerField())
    notes = serializers.ListField(child=serializers.CharField())
    calibration = Link("api:calibration", allow_null=True)

    class Meta:
        model = NormalisedSet
        fields = [
            "pulls",
            "counted",
            "failure_modes",
            "mean_N",
            "cv",
            "n_effective",
            "degrees_of_freedom",
            "baseline_counted",
            "baseline_mean_N",
            "baseline_cv",
            "baseline_n_effective",
            "baseline_degrees_of_freedom",
            "efficiency",
            "interval",
            "interval_open",
            "log_ratio",
            "own_variance",
            "shared_variance",
            "u_offset_log",
            "zero_of_pulls_log",
            "missed_peak_log",
            "join_itself",
            "calibration",
            "notes",
            "computed_at",
        ]


class StateChangeDocument(ShownRow):
    """One step of a set from state to state; its actor is given by role."""

    by = serializers.SerializerMethodField()

    class Meta:
        model = StateChange
        fields = ["from_state", "to_state", "by", "reason", "at"]

    def get_by(self, change: StateChange) -> str:
        if change.by_id is None:
            return "service"
        own = change.by_id == change.pull_set.session.contributor.user_id
        return "contributor" if own else "moderator"


class OwnStrength(Shown):
    """What the join itself holds in one set."""

    failures = serializers.IntegerField()
    efficiency = serializers.FloatField(allow_null=True)
    interval = Interval()
    interval_low = serializers.FloatField(allow_null=True)
    interval_high = serializers.FloatField(allow_null=True)


class PullSetDocument(ShownRow):
    """A pull set as uploaded, its figures, and every change of its state."""

    url = serializers.HyperlinkedIdentityField(view_name="api:pull-set")
    session = Link("api:session")
    tester = serializers.CharField(source="session.contributor.handle")
    connection = serializers.CharField(source="connection.name")
    main_line = serializers.CharField(source="main_line.name")
    leader_line = serializers.CharField(source="leader_line.name", default=None, allow_null=True)
    pool = PoolLink(source="normalised.pool")
    figures = FiguresDocument(source="normalised", default=None, allow_null=True)
    state_changes = StateChangeDocument(many=True)
    round = serializers.SerializerMethodField(
        help_text="the id of the club's round it was pulled in, or null"
    )
    tied_centrally = serializers.SerializerMethodField(
        help_text="tied by one hand for everybody of the round, and so not its tester's hands"
    )
    own_strength = serializers.SerializerMethodField(
        help_text="what the join itself holds in this set, by the scatter of its pool, as a "
        "fraction of straight line with a 95 percent interval, and how many pulls parted at the "
        "join; null unless the pool tells and some parted elsewhere first; since formulae 2"
    )

    class Meta:
        model = PullSet
        fields = [
            "id",
            "url",
            "session",
            "tester",
            "label",
            "connection",
            "doubled",
            "main_line",
            "leader_line",
            "terminal",
            "parameters",
            "tyer",
            "discarded_ties",
            "time_to_tie_s",
            "join_diameter_m",
            "note",
            "state",
            "pool",
            "figures",
            "not_normalised",
            "state_changes",
            "round",
            "tied_centrally",
            "own_strength",
        ]

    @extend_schema_field(serializers.IntegerField(allow_null=True))
    def get_round(self, pull_set: PullSet) -> int | None:
        in_round = getattr(raw(pull_set), "in_round", None)
        return None if in_round is None else in_round.round_id

    @extend_schema_field(serializers.BooleanField())
    def get_tied_centrally(self, pull_set: PullSet) -> bool:
        in_round = getattr(raw(pull_set), "in_round", None)
        return in_round is not None and in_round.tied_centrally

    @extend_schema_field(OwnStrength(allow_null=True))
    def get_own_strength(self, pull_set: PullSet) -> dict[str, Any] | None:
        found = own_strength_of(pull_set)
        return None if found is None else dict(OwnStrength(found, context=self.context).data)


class DecisionDocument(Strict):
    """A moderator's decision, with the reason its contributor will read."""

    decision = serializers.CharField(max_length=20, help_text="hold, release or reject")
    reason = serializers.CharField(max_length=2000, allow_blank=True)
    version = serializers.IntegerField(
        source="expected",
        min_value=0,
        required=False,
        help_text="of the case as it was looked at (see its thread): refused if it has moved on",
    )


class Visible(generics.GenericAPIView[PullSet]):
    """Pull sets of the sessions that the reader may see."""

    def get_queryset(self) -> QuerySet[PullSet]:
        sessions = sessions_visible_to(self.request.user)
        return (
            PullSet.objects.filter(session__in=sessions.values("pk"))
            .select_related(
                "connection",
                "main_line",
                "leader_line",
                "session__contributor",
                "normalised__pool__connection",
                "in_round__specimen__sample",
            )
            .prefetch_related("state_changes")
        )


@extend_schema(tags=["sessions"])
class OnePullSet(OneRow[PullSet], Visible):
    """One pull set with its figures and its history."""

    serializer_class = PullSetDocument
    queryset = PullSet.objects.none()


class Decisions(Visible):
    """Decisions on a pull set."""

    serializer_class = DecisionDocument
    permission_classes = [IsAuthenticated]

    @extend_schema(
        tags=["review"],
        operation_id="pull_sets_decide",
        request=DecisionDocument,
        responses={201: StateChangeDocument},
        examples=[
            OpenApiExample(
                "Held for a question",
                {"decision": "hold", "reason": "The baseline reads as kilograms: pounds?"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Hold, release or reject a set with a reason: moderators only, never their own."""
        assert request.user.is_authenticated
        pull_set = self.get_object()
        decision = self.get_serializer(data=request.data)
        decision.is_valid(raise_exception=True)
        change = decide(by=request.user, pull_set=pull_set, **decision.validated_data)
        document = StateChangeDocument(change, context=self.get_serializer_context())
        return Response(document.data, status.HTTP_201_CREATED)
