"""One decision of a moderator on several sets, on all of them or on none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers, status
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from api.pull_sets import StateChangeDocument
from api.serializers import Strict
from results.intake.selectors import sessions_visible_to
from results.models import PullSet, StateChange
from results.review.decisions import decide_many
from results.review.moved import far_together
from rigs.permissions import is_moderator
from rigs.refusals import Forbidden

MOST_CASES = 100


class ChosenDocument(Strict):
    """A set that is decided on, and the version of its case as it was looked at."""

    pull_set = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    version = serializers.IntegerField(
        min_value=0,
        required=False,
        help_text="see its thread: all are refused if a case has moved on",
    )


class ManyDecisionsDocument(Strict):
    """One decision on several sets, with the reason that their contributors will read."""

    cases = ChosenDocument(
        many=True,
        allow_empty=False,
        max_length=MOST_CASES,  # type: ignore[call-arg]  # the stubs know no arguments of lists
    )
    decision = serializers.CharField(max_length=20, help_text="hold, release or reject")
    reason = serializers.CharField(max_length=2000, allow_blank=True)


class DecidedDocument(StateChangeDocument):
    """A change of a set's state, and what deciding on several at once did to its pool."""

    warning = serializers.SerializerMethodField(
        help_text="what the sets that were released together move their pool by, where that is "
        "more than counts at once; empty otherwise"
    )

    class Meta(StateChangeDocument.Meta):
        fields = [*StateChangeDocument.Meta.fields, "warning"]

    def get_warning(self, change: StateChange) -> str:
        said: Mapping[int, str] = self.context["warnings"]
        return said.get(change.pull_set_id, "")


@extend_schema(tags=["review"])
class Decisions(generics.GenericAPIView[PullSet]):
    """Decisions on several pull sets at once."""

    serializer_class = ManyDecisionsDocument
    permission_classes = [IsAuthenticated]
    queryset = PullSet.objects.none()
    pagination_class = None

    @extend_schema(
        operation_id="reviews_decide",
        responses={201: DecidedDocument(many=True)},
        examples=[
            OpenApiExample(
                "Two of one session",
                {
                    "cases": [{"pull_set": 12, "version": 3}, {"pull_set": 13}],
                    "decision": "release",
                    "reason": "A second straight line shows the same.",
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Hold, release or reject several sets with one reason: on all of them or on none.

        Sets that move their pool little one by one may move it far together: each change then
        says so in ``warning``.
        """
        assert request.user.is_authenticated
        if not is_moderator(request.user):
            raise Forbidden(gettext("Only a moderator can decide on a submission."))
        sent = self.get_serializer(data=request.data)
        sent.is_valid(raise_exception=True)
        chosen = {one["pull_set"]: one.get("version") for one in sent.validated_data["cases"]}
        sets = PullSet.objects.filter(
            pk__in=chosen, session__in=sessions_visible_to(request.user).values("pk")
        ).select_related("session__contributor")
        found = {pull_set.pk: pull_set for pull_set in sets}
        if missing := sorted(chosen.keys() - found.keys()):
            raise serializers.ValidationError(
                {
                    "cases": gettext("There is no set %(numbers)s.")
                    % {"numbers": ", ".join(map(str, missing))}
                }
            )
        decision = sent.validated_data["decision"]
        warnings = {
            number: together.sentence
            for together in (far_together(list(found.values())) if decision == "release" else [])
            for number in together.numbers
        }
        changes = decide_many(
            by=request.user,
            pull_sets=list(found.values()),
            decision=decision,
            reason=sent.validated_data["reason"],
            expected={pk: version for pk, version in chosen.items() if version is not None},
        )
        context = {**self.get_serializer_context(), "warnings": warnings}
        documents = DecidedDocument(changes, many=True, context=context)
        return Response(documents.data, status.HTTP_201_CREATED)
