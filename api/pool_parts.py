"""What is behind a pool's figure, page by page: its sets, and its testers."""

from __future__ import annotations

from typing import Any

from django.utils.decorators import method_decorator
from django.utils.functional import cached_property
from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers

from api.pull_sets import FiguresDocument
from api.serializers import Link, Shown, address_of
from results.http_cache.cache_marks import edition_of_pool
from results.http_cache.cached_view import cache_by_edition
from results.models import NormalisedSet
from results.pools import selectors
from results.pools.figures import Figures, figures_of
from results.public.readers import reader_of
from results.public.seeing import raw
from rigs.models import Contributor

OF_TESTERS = ("tester_effects", "leave_one_out")
"""Figures of a version that are columns of one value a tester."""
OF_EACH = ("tester", "effect", "effect_se", "value", "value_se")
WITHOUT_EACH = ("tester", "mu", "se_model", "tau2_tester", "tau2_session", "tau2_set")


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
            *FiguresDocument.Meta.fields,
        ]

    def to_representation(self, found: NormalisedSet) -> dict[str, Any]:
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


class WithoutTesterDocument(Shown):
    """The pool without one tester, on the log scale."""

    mu = serializers.FloatField()
    se_model = serializers.FloatField()
    tau2_tester = serializers.FloatField()
    tau2_session = serializers.FloatField()
    tau2_set = serializers.FloatField()


class TesterEffectDocument(Shown):
    """How far one tester's ties lie from the pool, shrunken towards it; log scale.

    ``without`` is the pool were this tester not in it; null where the rest would be too few.
    """

    tester = serializers.CharField()
    effect = serializers.FloatField()
    effect_se = serializers.FloatField()
    value = serializers.FloatField()
    value_se = serializers.FloatField()
    without = WithoutTesterDocument(allow_null=True)


@method_decorator(cache_by_edition(edition_of_pool), name="dispatch")
@extend_schema(tags=["pools"])
class PooledSets(generics.ListAPIView[NormalisedSet]):
    """The sets that count in a pool, by tester and day."""

    serializer_class = PooledSetDocument
    queryset = NormalisedSet.objects.none()

    def get_queryset(self) -> Any:
        return selectors.sets_of(
            generics.get_object_or_404(selectors.pools(), pk=self.kwargs["pk"])
        )


@method_decorator(cache_by_edition(edition_of_pool), name="dispatch")
@extend_schema(tags=["pools"])
class TesterEffects(generics.ListAPIView[Contributor]):
    """The testers of a pool, by handle; none where no figure is pooled."""

    serializer_class = TesterEffectDocument
    queryset = Contributor.objects.none()

    def get_queryset(self) -> Any:
        pool = generics.get_object_or_404(selectors.pools(), pk=self.kwargs["pk"])
        figures = figures_of(pool.current)
        self.effects = _rows(figures, "tester_effects", OF_EACH)
        self.without = _rows(figures, "leave_one_out", WITHOUT_EACH)
        return Contributor.objects.filter(pk__in=self.effects).order_by("handle")

    def paginate_queryset(self, queryset: Any) -> Any:
        page = super().paginate_queryset(queryset)
        return [
            self.effects[one.pk] | {"tester": one.handle, "without": self.without.get(one.pk)}
            for one in page or ()
        ]


def _rows(figures: Figures, name: str, columns: tuple[str, ...]) -> dict[int, dict[str, Any]]:
    """Columns as one row a tester, by the tester's id; none where the version lacks one."""
    found = figures.get(name)
    if not found or not found.has(*columns):
        return {}
    rows = zip(*(found[column] for column in columns), strict=True)
    return {row[0]: dict(zip(columns, row, strict=True)) for row in rows}
