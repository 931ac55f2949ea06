"""Every page for readers, as a browser draws it: nothing hampers, nothing overflows."""

import pytest

from tests.api.leagues import league_of
from tests.pages.conftest import pool_of


@pytest.fixture
def league(transactional_db):
    return league_of({"Blood": 86.0, "Surgeon's": 55.0}, testers=3)


def test_pages_can_be_read_by_everyone(league, look):
    pool = pool_of("Blood")
    for address in ("/", f"/pools/{pool.pk}/", f"/pull-sets/{league[0].pk}/", "/about/"):
        look(address)
