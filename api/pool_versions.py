"""The history of a pool: its dated versions, and the sets that came and went with each."""

from __future__ import annotations

from typing import Any, TypedDict

from django.db.models import Prefetch, QuerySet
from django.utils.decorators import method_decorator
from django_stubs_ext import WithAnnotations
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.reverse import reverse

from api.pools import VersionDocument
from api.serializers import Link, ShownRow, address_of
from results.http_cache.cache_marks import edition_of_pool
from results.http_cache.cached_view import cache_by_edition
from results.models import PoolMembership, PoolVersion
from results.pools import selectors

LISTED = 100
"""Sets that a version in the history names of those that came, and of those that went."""


class PastVersionDocument(VersionDocument):
    """A version of a pool, why it was computed, and the sets that came and went with it."""

    why = serializers.SerializerMethodField()
    sets_added = serializers.SerializerMethodField(help_text=f"the first {LISTED}")
    sets_removed = serializers.SerializerMethodField(help_text=f"the first {LISTED}")
    number_added = serializers.IntegerField(source="added")
    number_removed = serializers.IntegerField(source="removed")
    changes = serializers.SerializerMethodField(help_text="where all of them are, in pages")

    class Meta(VersionDocument.Meta):
        fields = [
            *VersionDocument.Meta.fields,
            "why",
            "sets_added",
            "sets_removed",
            "number_added",
            "number_removed",
            "changes",
        ]

    def get_why(self, version: PoolVersion) -> list[str]:
        return list(version.why)

    def get_sets_added(self, version: Any) -> list[str]:
        return self._links(version.first_added)

    def get_sets_removed(self, version: Any) -> list[str]:
        return self._links(version.first_removed)

    @extend_schema_field({"type": "string", "format": "uri"})
    def get_changes(self, version: PoolVersion) -> str:
        place = [version.pool_id, version.number]
        return reverse("api:pool-version-changes", place, request=self.context["request"])

    def _links(self, memberships: list[PoolMembership]) -> list[str]:
        address = address_of("api:pull-set", self.context["request"])
        return [address % membership.pull_set_id for membership in memberships]


class Change(TypedDict):
    """What ``memberships_changed_by`` adds to a membership."""

    added: bool


class SetChangeDocument(ShownRow):
    """A set that came into a pool or went from it."""

    pull_set = Link("api:pull-set")
    change = serializers.SerializerMethodField()

    class Meta:
        model = PoolMembership
        fields = ["pull_set", "change"]

    @extend_schema_field({"type": "string", "enum": ["added", "removed"]})
    def get_change(self, membership: WithAnnotations[PoolMembership, Change]) -> str:
        return "added" if membership.added else "removed"


@method_decorator(cache_by_edition(edition_of_pool), name="dispatch")
@extend_schema(tags=["pools"])
class Versions(generics.ListAPIView[PoolVersion]):
    """The dated versions of a pool, newest first."""

    serializer_class = PastVersionDocument
    queryset = PoolVersion.objects.none()

    def get_queryset(self) -> QuerySet[PoolVersion]:
        pool = generics.get_object_or_404(selectors.pools(), pk=self.kwargs["pk"])
        first = PoolMembership.objects.order_by("pull_set_id")[:LISTED]
        return (
            selectors.history_of(pool)
            .defer("figures", "findings", "forest_light", "forest_dark", "inputs")
            .prefetch_related(
                Prefetch("sets_added", first, to_attr="first_added"),
                Prefetch("sets_removed", first, to_attr="first_removed"),
            )
        )


@extend_schema(tags=["pools"])
class Changes(generics.ListAPIView[PoolMembership]):
    """The sets that came and went with one version of a pool."""

    serializer_class = SetChangeDocument
    queryset = PoolMembership.objects.none()

    def get_queryset(self) -> QuerySet[PoolMembership]:
        version = generics.get_object_or_404(
            PoolVersion.objects.filter(pool__in=selectors.pools().order_by().values("pk")).only(
                "pk"
            ),
            pool=self.kwargs["pk"],
            number=self.kwargs["number"],
        )
        return selectors.memberships_changed_by(version)
