"""Every page for readers, as a browser draws it: nothing hampers, nothing overflows."""

from datetime import UTC, date, datetime

import pytest

from results.models import Connection, TraceMonth
from rigs.models import Club, Line
from tests.api.leagues import league_of
from tests.pages.conftest import pool_of


@pytest.fixture
def league(transactional_db):
    return league_of({"Blood": 86.0, "Surgeon's": 55.0}, testers=4)


def test_pages_can_be_read_by_everyone(league, look):
    pool, club = pool_of("Blood"), Club.objects.create(name="Lannet Estuary Anglers")
    for address in (
        "/",
        f"/pools/{pool.pk}/",
        f"/pools/{pool.pk}/versions/1/",
        "/compare/?main=nylon+monofilament&leader=nylon+monofilament",
        f"/pull-sets/{league[0].pk}/",
        f"/connections/{Connection.objects.get(name='Blood').pk}/",
        f"/lines/{Line.objects.get(name='thin').pk}/",
        f"/clubs/{club.pk}/",
        f"/contributors/{league[0].session.contributor.handle}/",
        "/search/",
        "/about/",
        "/cautions/",
    ):
        look(address)


def test_the_archive_of_traces_is_read_without_moving_it_sideways(transactional_db, look):
    """A month that was written, and before that none."""
    address = "/open-data/traces/"
    look(address)
    TraceMonth.objects.create(
        month=date(2026, 5, 1),
        edition=2,
        written_at=datetime(2026, 6, 1, 0, 5, tzinfo=UTC),
        traces=48_210,
        samples=96_420_000,
        bytes=97_400_000,
        sha256="5d1f0e" * 10 + "5d1f",
    )
    page = look(address)
    assert page.locator("table").count() == 2
    for table in page.locator(".scroll").all():
        assert table.evaluate("each => each.scrollWidth - each.clientWidth") <= 0
