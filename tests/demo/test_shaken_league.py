"""The demo league, with noise on every pool too: every page that figures stand on works."""

from collections import Counter

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.db import transaction
from django.test import Client

from deploy.benchmarks.pools import stored
from deploy.benchmarks.pools.draws import noisy
from deploy.benchmarks.pools.trying import Tally
from deploy.demo.trying import EXAMPLE_SENDER
from results.models import Pool, StalePool
from results.pools.recompute import refresh_pool


@pytest.fixture(scope="module")
def once(django_db_setup, django_db_blocker):
    """The league, laid once for all the stories of this file and undone after them."""
    with django_db_blocker.unblock(), transaction.atomic():
        stored.lay_league()
        yield
        transaction.set_rollback(True)


@pytest.fixture
def league(once, db):
    return stored.league()


@pytest.fixture
def sender(league) -> Client:
    """The tester whom the ten minutes are about."""
    client = Client()
    client.force_login(User.objects.get(username=EXAMPLE_SENDER))
    return client


def pages_of(client: Client) -> list[str]:
    first = client.get("/bench/tying/")
    assert first.status_code == 200
    pages = first.context["page"].paginator.num_pages
    return [client.get("/bench/tying/", {"page": page + 1}).text for page in range(pages)]


def test_the_example_tester_reads_where_they_stand_in_the_untouched_demo(sender):
    answer = " ".join(pages_of(sender))
    assert "How you compare" in answer
    assert "not estimable" not in answer


@pytest.mark.parametrize("seed", range(3))
def test_with_one_percent_of_noise_on_every_pool_all_pages_of_the_example_tester_work(
    sender, league, seed
):
    rng = np.random.default_rng(seed)
    for pool_id, members in league.items():
        stored.shake(noisy(rng, members, 0.01))
        StalePool.objects.create(pool_id=pool_id, why="shaken by a test")
        refresh_pool(pool_id)
    assert not StalePool.objects.filter(pool_id__in=league).exists()
    assert "How you compare" in " ".join(pages_of(sender))
    for pool_id in Pool.objects.values_list("pk", flat=True):
        assert sender.get(f"/pools/{pool_id}/").status_code == 200
        assert sender.get(f"/api/v1/pools/{pool_id}/comparison").status_code in (200, 409)


def test_thirty_shaken_pools_are_drawn_compared_screened_and_shown_to_moderators(league):
    tally = Tally()
    for number in range(30):
        stored.try_stored(1, number, league, tally)
    assert tally.exceptions == Counter()
    assert tally.figures == tally.pools == 30
