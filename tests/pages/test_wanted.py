"""What is wanted: where one tester more brings most, two clicks from the front page."""

import numpy as np
import pytest
from django.test import Client

from results.pools.wanted import undecided
from results.statistics.planning import pairs_for_difference
from results.worker.embedded import drain
from tests.api.leagues import send
from tests.pages.conftest import pool_of
from tests.people import contributor


def test_a_pool_of_two_testers_is_wanted_and_the_list_leads_to_it(league, read):
    albright = pool_of("Albright")
    assert albright.current.testers == 2
    assert "/wanted/" in read("/").links()
    page = read("/wanted/")
    short = page.text[page.text.index("A tester or two short") :]
    assert "Albright" in short[: short.index("Joins that the")]
    assert "1 tester more" in short
    assert f"/pools/{albright.pk}/" in page.links()
    assert "Sign in to see what you could pull next" in page.text


def test_a_tester_sees_what_they_could_pull_next_by_how_much_the_pools_gain(league, read):
    newcomer = contributor("newcomer with lines")
    send(newcomer, np.random.default_rng(11), "Blood", 86.0)
    drain()
    page = read("/wanted/", by=newcomer)
    own = page.text[: page.text.index("A tester or two short")]
    assert own.index("Albright") < own.index("Surgeon's")  # a figure before a narrower one
    assert "Blood, " not in own  # they are in it already
    assert "would narrow its interval by" in own


def test_joins_that_differ_are_decided_and_those_alike_say_how_many_days_it_takes(league):
    pairs = {frozenset((pair.first.tie, pair.second.tie)): pair for pair in undecided(30)}
    assert frozenset(("Blood", "Surgeon's")) not in pairs  # a third apart
    for pair in pairs.values():
        assert pair.together >= 1
        assert pair.more >= 1
        assert pair.first.current.efficiency >= pair.second.current.efficiency


@pytest.mark.parametrize(("d", "pairs"), [(0.5, 34), (0.8, 15), (1.0, 10)])
def test_pairs_for_a_difference_agree_with_published_tables_of_the_paired_t_test(d, pairs):
    """Two-sided 5 percent, power 0.8, for standardised differences (Cohen 1988, ch. 2): the
    sample sizes are from memory."""
    assert pairs_for_difference(d, 1.0) == pairs
    assert pairs_for_difference(2 * d, 2.0) == pairs


def test_what_is_wanted_is_kept_for_strangers(league):
    first = Client().get("/wanted/")
    assert Client().get("/wanted/", headers={"If-None-Match": first["ETag"]}).status_code == 304
