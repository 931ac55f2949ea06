"""Who measures: clubs, testers' public profiles, and oneself."""

from __future__ import annotations

from typing import ClassVar

from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import generics, serializers
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.views import APIView

from api.one_row import OneRow
from api.serializers import ShownRow
from results.accounts.own_data import archive_of
from results.public.seeing import raw
from rigs import selectors
from rigs.models import Club, Contributor, Rig, Suspension
from rigs.permissions import contributor_of, is_moderator


class ClubDocument(ShownRow):
    """A club and how many of its members have an account here."""

    members = serializers.IntegerField(source="member_count")

    class Meta:
        model = Club
        fields = ["id", "name", "members"]


class NamedRig(ShownRow):
    """A rig by number and name."""

    class Meta:
        model = Rig
        fields = ["id", "name"]


class ContributorDocument(ShownRow):
    """What everyone may see of a tester."""

    club = serializers.CharField(source="public_club.name", default=None, allow_null=True)
    rigs = NamedRig(many=True, source="public_rigs")

    class Meta:
        model = Contributor
        fields = ["id", "handle", "club", "joined_at", "rigs"]


class SuspensionDocument(ShownRow):
    """That a moderator has suspended one's account, since when and why."""

    class Meta:
        model = Suspension
        fields = ["at", "reason"]


class MeDocument(ContributorDocument):
    """What a tester sees of their own account, with what they agreed to list on their page."""

    club = serializers.CharField(source="club.name", default=None, allow_null=True)
    rigs = NamedRig(many=True)
    moderator = serializers.SerializerMethodField()
    suspension = SuspensionDocument(allow_null=True, read_only=True)

    class Meta(ContributorDocument.Meta):
        fields = [
            *ContributorDocument.Meta.fields,
            "moderator",
            "suspension",
            "shows_club",
            "shows_rigs",
            "shows_sets",
            "licence",
            "licence_agreed_at",
        ]

    def get_moderator(self, contributor: Contributor) -> bool:
        return bool(is_moderator(raw(contributor).user))


@extend_schema(tags=["people"])
class Clubs(generics.ListAPIView[Club]):
    """Every club."""

    serializer_class = ClubDocument
    orderings: ClassVar = {
        "id": "pk",
        "name": "name",
    }
    queryset = selectors.clubs()


@extend_schema(tags=["people"])
class Contributors(generics.ListAPIView[Contributor]):
    """Every tester's public profile."""

    serializer_class = ContributorDocument
    orderings: ClassVar = {
        "id": "pk",
        "handle": "handle",
    }
    queryset = selectors.contributors()


@extend_schema(tags=["people"])
class OneContributor(OneRow[Contributor]):
    """One tester's public profile."""

    serializer_class = ContributorDocument
    queryset = selectors.profiles()


@extend_schema(
    tags=["people"],
    examples=[
        OpenApiExample(
            "A tester",
            {
                "id": 7,
                "handle": "sandgrain",
                "club": "Skerrow Bar Surf Club",
                "joined_at": "2025-10-04T18:20:00Z",
                "rigs": [{"id": 3, "name": "garage winch"}],
                "moderator": False,
                "suspension": None,
                "shows_club": True,
                "shows_rigs": True,
                "shows_sets": True,
                "licence": "CC-BY-4.0",
                "licence_agreed_at": "2025-10-04T18:20:00Z",
            },
        )
    ],
)
class Me(OneRow[Contributor]):
    """The tester whose token this is."""

    serializer_class = MeDocument
    permission_classes = [IsAuthenticated]

    def get_object(self) -> Contributor:
        return contributor_of(self.request.user)


class MyData(APIView):
    """One's own data."""

    permission_classes = [IsAuthenticated]

    @extend_schema(
        tags=["people"],
        operation_id="me_data",
        responses={(200, "application/zip"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request) -> FileResponse:
        """Everything stored of one's account as a ZIP, the uploads byte for byte; a few a day."""
        contributor = contributor_of(request.user)
        return FileResponse(
            archive_of(contributor),
            as_attachment=True,
            filename="samespool-own-data.zip",
            content_type="application/zip",
            headers={"Cache-Control": "no-store"},
        )
