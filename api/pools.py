"""Pools: what all testers together say of one join on one kind of line pair."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db.models import Q, QuerySet
from django.utils.decorators import method_decorator
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers

from api.intervals import Interval
from api.one_row import OneRow
from api.pagination import PagesOfChanges
from api.pool_parts import OF_TESTERS
from api.serializers import Choice, Filters, Shown, ShownRow
from results.http_cache.cache_marks import edition_of_pool, edition_of_pools
from results.http_cache.cached_view import cache_by_edition
from results.models import Connection, Pool, PoolVersion
from results.models.declared import Kept, Kind, figure_at, kept_in
from results.pools import selectors
from rigs.models import Material


class ConnectionNamed(serializers.CharField):
    """A connection by its name or one of its other names, as a condition on rows."""

    def to_internal_value(self, data: Any) -> Any:
        name = super().to_internal_value(data)
        return Connection.objects.filter(Q(name__iexact=name) | Q(aliases__name__iexact=name))


class PoolFilters(Filters):
    """Which pools; each field's source is its queryset condition."""

    main = Choice(Material.choices, source="main_material", required=False)
    leader = Choice(Material.choices, source="leader_material", required=False)
    terminal = serializers.CharField(
        source="terminal__iexact",
        required=False,
        allow_blank=True,
        help_text="empty for joins of two lines",
    )
    connection = ConnectionNamed(
        source="connection__in", required=False, help_text="its name or one of its other names"
    )
    doubled = serializers.BooleanField(required=False, help_text="whether tied in a doubled line")
    wet = serializers.BooleanField(required=False, help_text="wetted or soaked; else dry")
    shock = serializers.BooleanField(required=False, help_text="loaded by shock; else slowly")
    least_testers = serializers.IntegerField(
        source="current__testers__gte",
        min_value=1,
        max_value=100_000,
        required=False,
        help_text="only pools of so many testers and more",
    )


class VersionDocument(ShownRow):
    """One dated state of a pool: the efficiency as a ratio, its intervals at 95 percent.

    Below three testers there are counts only, and ``no_figure`` says why; so it does where the
    figures were taken down. ``superseded`` is a version that is no longer what its pool says.
    """

    superseded = serializers.BooleanField()

    class Meta:
        model = PoolVersion
        figures: ClassVar = [figure.name for figure in kept_in(Kept.COLUMN)]
        fields = ["number", "computed_at", "snapshot", "superseded", *figures]
        extra_kwargs: ClassVar = {
            name: {"help_text": said}
            for figure in kept_in(Kept.COLUMN)
            if figure.kind is not Kind.ENDS
            for name, said in figure.with_method.items()
        }

    def build_unknown_field(  # type: ignore[override]  # the framework's only raises
        self, field_name: str, _model_class: Any
    ) -> tuple[Any, dict[str, Any]]:
        """A figure that is two columns, its ends, is one member."""
        figure = figure_at(field_name)
        return Interval, {
            "base": figure.name,
            "help_text": f"{figure.description}. {figure.method}",
        }


class FreshnessDocument(Shown):
    """Whether what a pool says is what its sets say.

    ``updating``: a change is not in the figures yet. ``recomputing``: a set that counted was
    withdrawn, rejected or held, so there are no figures until they are computed without it.
    """

    state = serializers.ChoiceField(["current", "updating", "recomputing"])
    since = serializers.DateTimeField(allow_null=True, help_text="null where it is current")
    failed_at = serializers.DateTimeField(
        allow_null=True,
        help_text="when computing it last failed; it is tried again at the next change",
    )


class PoolDocument(ShownRow):
    """A pool's key, its current version, and how fresh that is."""

    url = serializers.HyperlinkedIdentityField(view_name="api:pool")
    connection = serializers.CharField(source="connection.name")
    current = VersionDocument()
    freshness = FreshnessDocument()

    class Meta:
        model = Pool
        fields = [
            "id",
            "url",
            "tie",
            "line_pair",
            "conditions",
            "connection",
            "doubled",
            "main_material",
            "leader_material",
            "terminal",
            "wet",
            "shock",
            "current",
            "freshness",
        ]


def members_of(kept: Kept) -> dict[str, Any]:
    """The schema of what a version keeps there, by name; any may be missing from an older one."""
    shown = [figure for figure in kept_in(kept) if figure.name not in OF_TESTERS]
    described = {name: said for figure in shown for name, said in figure.with_method.items()}
    return {
        "type": "object",
        "additionalProperties": {},
        "properties": {name: {"description": said} for name, said in described.items()},
    }


@extend_schema_field(members_of(Kept.FINDINGS))
class FindingsField(serializers.DictField):
    """What a version says beside its figures."""


class OnePoolDocument(PoolDocument):
    """A pool with everything computed of it; testers, sets and history at their own addresses."""

    why = serializers.SerializerMethodField()
    figures = serializers.SerializerMethodField()
    findings = FindingsField(source="current.findings")
    tester_effects = serializers.HyperlinkedIdentityField(view_name="api:pool-tester-effects")
    sets = serializers.HyperlinkedIdentityField(view_name="api:pool-sets")
    versions = serializers.HyperlinkedIdentityField(view_name="api:pool-versions")
    comparison = serializers.HyperlinkedIdentityField(view_name="api:comparison")
    sets_waiting = serializers.SerializerMethodField(
        help_text="sets held for a second look, since each would move the figure far"
    )

    class Meta(PoolDocument.Meta):
        fields = [
            *PoolDocument.Meta.fields,
            "sets_waiting",
            "why",
            "figures",
            "findings",
            "tester_effects",
            "sets",
            "versions",
            "comparison",
        ]

    def get_why(self, pool: Pool) -> list[str]:
        return list(pool.current.why) if pool.current else []

    def get_sets_waiting(self, pool: Pool) -> int:
        return selectors.sets_waiting(pool)

    @extend_schema_field(members_of(Kept.FIGURES))
    def get_figures(self, pool: Pool) -> dict[str, Any]:
        figures = pool.current.figures if pool.current else {}
        return {name: of for name, of in figures.items() if name not in OF_TESTERS}


@method_decorator(cache_by_edition(edition_of_pools), name="dispatch")
@extend_schema(tags=["pools"], parameters=[PoolFilters])
class Pools(generics.ListAPIView[Pool]):
    """Pools by line pair, the strongest join of each first."""

    serializer_class = PoolDocument
    pagination_class = PagesOfChanges
    orderings: ClassVar = {
        "id": "pk",
        "efficiency": "current__efficiency",
        "testers": "current__testers",
        "sets": "current__sets",
        "computed_at": "current__computed_at",
    }
    queryset = selectors.pools().defer("current__figures", "current__findings")

    def get_queryset(self) -> QuerySet[Pool]:
        return super().get_queryset().filter(**PoolFilters.conditions(self.request))

    def changed_since(self, moment: datetime) -> Q:
        """Pools with a version computed since then, or whose sets have changed since then."""
        return selectors.changed_since(moment)


@method_decorator(cache_by_edition(edition_of_pool), name="dispatch")
@extend_schema(tags=["pools"])
class OnePool(OneRow[Pool]):
    """One pool: its figures and heterogeneity, and where its testers and sets are."""

    serializer_class = OnePoolDocument
    queryset = selectors.pools()
