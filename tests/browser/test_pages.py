"""Every page for readers, as a browser draws it: nothing hampers, nothing overflows."""

import pytest

from results.models import Connection
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
