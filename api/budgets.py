"""How sure a set is and why: its uncertainty budget, and the straight line it is measured by."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import Http404
from django.urls import path
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.rig_charts import EquivalenceDocument
from api.serializers import Link, Shown
from results.intake.selectors import sessions_visible_to
from results.models import PullSet, Session
from results.normalising.baseline_report import straight_lines_of
from results.normalising.uncertainty_budget import budgets_of
from rigs.metrology.budget import Cause


class BudgetRowDocument(Shown):
    """One source of uncertainty, in the words of the GUM; ``cause`` is its kind, for programs."""

    cause = serializers.ChoiceField(choices=[cause.value for cause in Cause])
    source = serializers.CharField()  # type: ignore[assignment]  # DRF takes fields off the class
    evaluation = serializers.ChoiceField(choices=["A", "B"])
    standard_uncertainty = serializers.FloatField()
    unit = serializers.CharField()
    sensitivity = serializers.FloatField()
    contribution = serializers.FloatField()


class BudgetDocument(Shown):
    """A value with its combined and its expanded uncertainty (95 percent), source by source."""

    value = serializers.FloatField()
    rows = BudgetRowDocument(many=True)
    combined = serializers.FloatField()
    expanded = serializers.FloatField()
    improve_first = serializers.CharField(source="improve_first.source")


class SetBudgetsDocument(Shown):
    """Budgets of the efficiency of a set, and of one pull at its mean load in newtons."""

    efficiency = BudgetDocument()
    load = BudgetDocument(allow_null=True)
    no_load = serializers.CharField(help_text="why the load of this rig can't be told")
    advice = serializers.CharField()


class SpecimenDocument(Shown):
    """A line from one spool."""

    line = Link("api:line")
    name = serializers.CharField(source="line.name")
    spool = serializers.CharField()


class StraightLineDocument(Shown):
    """Straight line of one specimen: may it be used, and did the rig stay put through the day?"""

    what = SpecimenDocument(source="first")
    borrowed_from = Link("api:session", source="lender", allow_null=True)
    mean_N = serializers.FloatField(source="strength.mean_N", default=None, allow_null=True)
    cv = serializers.FloatField(source="strength.cv", default=None, allow_null=True)
    pulls = serializers.IntegerField(source="strength.n", default=None, allow_null=True)
    no_strength = serializers.CharField()
    over_label = serializers.FloatField(allow_null=True)
    valid = serializers.BooleanField(source="validity.valid")
    reasons_against = serializers.ListField(
        source="validity.reasons_against", child=serializers.CharField()
    )
    first_against_last = EquivalenceDocument(source="round_trip", allow_null=True)
    why_not = serializers.CharField(source="no_round_trip")


class SetBudgets(generics.GenericAPIView[PullSet]):
    """What to improve first: the scale, the zero, the baseline or the tying?"""

    serializer_class = SetBudgetsDocument

    def get_queryset(self) -> QuerySet[PullSet]:
        visible = sessions_visible_to(self.request.user)
        return PullSet.objects.filter(session__in=visible).select_related(
            "session__revision", "normalised"
        )

    @extend_schema(tags=["sessions"], operation_id="pull_sets_budget")
    def get(self, _request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """The uncertainty budget of one set; 404 where it has no efficiency."""
        budgets = budgets_of(self.get_object())
        if budgets is None:
            raise Http404
        return Response(self.get_serializer(budgets).data)


class StraightLines(generics.GenericAPIView[Session]):
    """The straight line of one session."""

    serializer_class = StraightLineDocument
    pagination_class = None

    def get_queryset(self) -> QuerySet[Session]:
        return sessions_visible_to(self.request.user)

    @extend_schema(
        tags=["sessions"],
        operation_id="sessions_straight_lines",
        responses={200: StraightLineDocument(many=True)},
    )
    def get(self, _request: Request, *_args: Any, **_kwargs: Any) -> Response:
        """Straight line of a session: its strength against the label, and whether it may be used.

        It may not where the first round differs from the last: the rig moved through the day.
        """
        return Response(self.get_serializer(straight_lines_of(self.get_object()), many=True).data)


urlpatterns = [
    path("pull-sets/<int:pk>/budget", SetBudgets.as_view(), name="budget"),
    path("sessions/<int:pk>/straight-lines", StraightLines.as_view(), name="straight-lines"),
]
