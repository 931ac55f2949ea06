"""A league, and a release of the open data as a re-user unpacks it."""

import csv
import io
import json
import zipfile

import pytest
from django.test import Client

from results.models import Release
from results.open_data import releases
from results.worker import embedded
from tests.api.leagues import league_of


class Package:
    """An unpacked release."""

    def __init__(self, archive: bytes):
        with zipfile.ZipFile(io.BytesIO(archive)) as packed:
            self.files = {name: packed.read(name) for name in packed.namelist()}
        self.descriptor = json.loads(self.files["datapackage.json"])

    def rows(self, table: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.files[f"{table}.csv"].decode(), newline="")))

    def column(self, table: str, name: str) -> list[str]:
        return [row[name] for row in self.rows(table)]


@pytest.fixture
def league(transactional_db):
    """Four testers of one join."""
    return league_of({"Blood": 85.0}, testers=4)


@pytest.fixture
def make(db):
    """Ask for a release and let it be made, as the draining thread does."""

    def make() -> Release:
        release = releases.request_release()
        embedded.make_releases()
        release.refresh_from_db()
        assert release.state == Release.State.MADE, release.problem
        return release

    return make


@pytest.fixture
def unpack(make):
    """Fetch and unpack a release, a new one where none is named."""

    def unpack(release: Release | None = None) -> Package:
        release = release or make()
        answer = Client().get(f"/open-data/{release.number}/archive.zip")
        return Package(b"".join(answer.streaming_content))

    return unpack
