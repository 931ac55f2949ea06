"""Every page that shows a pool's figure says when it is provisional or due to change."""

import pytest
from django.core.cache import caches

from results.jobs import stale_marks
from results.models import PoolVersion
from rigs.models import Line
from tests.pages.conftest import pool_of


@pytest.fixture
def addresses(league) -> list[str]:
    pool = pool_of("Blood")
    return [
        "/",
        f"/pools/{pool.pk}/",
        f"/pools/{pool.pk}/versions/{pool.current.number}/",
        "/compare/?main=nylon+monofilament&leader=nylon+monofilament",
        f"/connections/{pool.connection_id}/",
        f"/lines/{Line.objects.get(name='thin').pk}/",
    ]


@pytest.mark.usefixtures("planted_past")
def test_a_figure_of_few_testers_is_called_provisional_wherever_it_is_shown(addresses, read):
    """Four testers pulled each; from five on a figure is not called so."""
    for address in addresses:
        assert "provisional" in read(address).text, address
    PoolVersion.objects.filter(testers=4).update(testers=5, sessions=5, sets=5)
    caches["kept"].clear()
    for address in addresses:
        assert "provisional" not in read(address).text, address


def test_a_figure_that_is_due_to_change_says_so_wherever_it_is_shown(addresses, read):
    for address in addresses:
        assert "Being recomputed since" not in read(address).text, address
    stale_marks.mark([pool_of("Blood").pk], "a set was added")
    for address in addresses:
        assert "Being recomputed since" in read(address).text, address
