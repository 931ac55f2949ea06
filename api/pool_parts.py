"""What is behind a pool's figure, page by page: its sets, and its testers."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db.models import QuerySet
from django.utils.decorators import method_decorator
from django.utils.functional import cached_property
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers

from api.pull_sets import FiguresDocument
from api.serializers import AnyField, Link, Shown, address_of
from results.http_cache.cache_marks import edition_of_pool
from results.http_cache.cached_view import cache_by_edition
from results.models import NormalisedSet, RoundSample
from results.models.declared import Kept, Kind, figure_at, kept_in
from results.pools import selectors
from results.pools.figures import Figures, figures_of
from results.public.readers import reader_of
from results.public.seeing import raw
from rigs.models import Contributor

OF_TESTERS = {
    figure.name: tuple(figure.members)
    for figure in kept_in(Kept.FIGURES)
    if figure.kind is Kind.BY_TESTER
}
"""Figures of a version that are lists of one value a tester, and the names of the lists."""


class PooledSetDocument(FiguresDocument):
    """A set that counts in the pool, and whose it is."""

    pull_set = Link("api:pull-set")
    tester = serializers.CharField(source="pull_set.session.contributor.handle")
    pulled_on = serializers.DateField(source="pull_set.session.pulled_on")
    rig = serializers.CharField(source="pull_set.session.revision.rig.name")
    main_line = serializers.CharField(source="pull_set.main_line.name")
    leader_line = serializers.CharField(
        source="pull_set.leader_line.name", default=None, allow_null=True
    )
    parameters = serializers.DictField(source="pull_set.parameters")
    round = serializers.IntegerField(
        allow_null=True, help_text="the id of the club's round it was pulled in, or null"
    )
    tied_centrally = serializers.BooleanField(
        help_text="tied by one hand for everybody of the round, and so not its tester's hands"
    )

    class Meta(FiguresDocument.Meta):
        model = NormalisedSet
        fields = [
            "pull_set",
            "tester",
            "pulled_on",
            "rig",
            "main_line",
            "leader_line",
            "parameters",
            "round",
            "tied_centrally",
            *FiguresDocument.Meta.fields,
        ]

    def to_representation(self, found: Any) -> dict[str, Any]:
        """What the fields say, taken directly: field by field a page costs three times as much.

        A set of a public pool is of an accepted join, so its parameters are public.
        """
        found, reader = raw(found), reader_of(self.context["request"])
        pull_set, session = found.pull_set, found.pull_set.session
        leader = pull_set.leader_line
        interval = {"low": found.interval_low, "high": found.interval_high}
        apart = {"interval": interval, "calibration": self._calibration(found.calibration_id)}
        return {
            "pull_set": self._sets % found.pk,
            "tester": session.contributor.handle,
            "pulled_on": session.pulled_on,
            "rig": reader.value(session.revision.rig, "name"),
            "main_line": reader.value(pull_set.main_line, "name"),
            "leader_line": reader.value(leader, "name") if leader else None,
            "parameters": pull_set.parameters,
            "round": found.round_number,
            "tied_centrally": found.tied_in_round == RoundSample.TiedBy.CENTRALLY,
            **{
                name: apart[name] if name in apart else getattr(found, name)
                for name in FiguresDocument.Meta.fields
            },
        }

    @cached_property
    def _sets(self) -> str:
        return address_of("api:pull-set", self.context["request"])

    @cached_property
    def _calibrations(self) -> str:
        return address_of("api:calibration", self.context["request"])

    def _calibration(self, pk: int | None) -> str | None:
        return None if pk is None else self._calibrations % pk


def _of_each(name: str) -> dict[str, AnyField]:
    """A field for each value that a tester has of a figure."""
    members = figure_at(f"figures.{name}").members
    numbers = {member: said for member, said in members.items() if member != "tester"}
    return {name: serializers.FloatField(help_text=said) for name, said in numbers.items()}


class WithoutTesterDocument(Shown):
    """The pool without one tester, on the log scale."""

    def get_fields(self) -> dict[str, AnyField]:
        return _of_each("leave_one_out")


class TesterEffectDocument(Shown):
    """How far one tester's ties lie from the pool, shrunken towards it; log scale.

    ``without`` is the pool were this tester not in it; null where the rest would be too few.
    """

    tester = serializers.CharField()
    without = WithoutTesterDocument(allow_null=True)

    def get_fields(self) -> dict[str, AnyField]:
        fields = super().get_fields()
        return {"tester": fields.pop("tester"), **_of_each("tester_effects"), **fields}


@method_decorator(cache_by_edition(edition_of_pool), name="dispatch")
@extend_schema(tags=["pools"])
class PooledSets(generics.ListAPIView[NormalisedSet]):
    """The sets that count in a pool, by tester and day."""

    serializer_class = PooledSetDocument
    orderings: ClassVar = {
        "pulled_on": "pull_set__session__pulled_on",
        "efficiency": "efficiency",
    }
    queryset = NormalisedSet.objects.none()

    def get_queryset(self) -> QuerySet[NormalisedSet]:
        return selectors.sets_of(
            generics.get_object_or_404(selectors.pools(), pk=self.kwargs["pk"])
        )


@method_decorator(cache_by_edition(edition_of_pool), name="dispatch")
@extend_schema(tags=["pools"])
class TesterEffects(generics.ListAPIView[Contributor]):
    """The testers of a pool, by handle; none where no figure is pooled."""

    serializer_class = TesterEffectDocument
    queryset = Contributor.objects.none()

    def get_queryset(self) -> QuerySet[Contributor]:
        pool = generics.get_object_or_404(selectors.pools(), pk=self.kwargs["pk"])
        figures = figures_of(pool.current)
        self.effects = _rows(figures, "tester_effects")
        self.without = _rows(figures, "leave_one_out")
        return Contributor.objects.filter(pk__in=self.effects).order_by("handle")

    def paginate_queryset(self, queryset: Any) -> Any:
        page = super().paginate_queryset(queryset)
        return [
            self.effects[one.pk] | {"tester": one.handle, "without": self.without.get(one.pk)}
            for one in page or ()
        ]


def _rows(figures: Figures, name: str) -> dict[int, dict[str, Any]]:
    """Columns as one row a tester, by the tester's id; none where the version lacks one."""
    found, columns = figures.get(name), OF_TESTERS[name]
    if not found or not found.has(*columns):
        return {}
    rows = zip(*(found[column] for column in columns), strict=True)
    return {row[0]: dict(zip(columns, row, strict=True)) for row in rows}
