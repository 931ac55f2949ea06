"""Open data: the releases of the public part, and where their files are."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import generics, serializers
from rest_framework.reverse import reverse

from api.serializers import Shown, ShownRow
from results.models import Release
from results.open_data import archive as lookups
from results.open_data.kept import ARCHIVE
from rigs.licence import SHARED_DATA


class FileDocument(Shown):
    """A file of a release; it never changes."""

    name = serializers.CharField()
    url = serializers.URLField()
    bytes = serializers.IntegerField()
    sha256 = serializers.CharField()


class ReleaseDocument(ShownRow):
    """A release: number of rows of each table, files, and the snapshot of all its pools."""

    version = serializers.IntegerField(source="number")
    licence = serializers.SerializerMethodField(help_text="SPDX identifier")
    rows = serializers.DictField(child=serializers.IntegerField())
    archive = serializers.SerializerMethodField()
    files = serializers.SerializerMethodField()

    class Meta:
        model = Release
        fields = ["version", "made_at", "licence", "snapshot", "rows", "archive", "files"]

    def get_licence(self, _release: Release) -> str:
        return SHARED_DATA.identifier

    @extend_schema_field(FileDocument)
    def get_archive(self, release: Release) -> dict[str, object]:
        return self._file(release, lookups.file_of(release, ARCHIVE) or {})

    @extend_schema_field(FileDocument(many=True))
    def get_files(self, release: Release) -> list[dict[str, object]]:
        return [self._file(release, file) for file in release.files]

    def _file(self, release: Release, file: dict[str, object]) -> dict[str, object]:
        address = reverse(
            "pages:open-data-file",
            kwargs={"number": release.number, "name": file["name"]},
            request=self.context.get("request"),
        )
        return {**file, "url": address}


@extend_schema(tags=["open data"])
class OpenData(generics.ListAPIView[Release]):
    """Releases of the open data, the newest first."""

    serializer_class = ReleaseDocument
    queryset = lookups.releases()
