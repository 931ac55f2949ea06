"""Joins of a line pair side by side: how sure the order is, and what one rig and day say."""

import pytest
from django.test import Client

from results.models import Pool
from results.pools.ranking import chances
from tests.pages.conftest import pool_of

PAIR = {"main": "nylon monofilament", "leader": "nylon monofilament"}


def test_it_shows_each_join_with_its_place_and_its_chances(league, read):
    page = read("/compare/", **PAIR)
    for tie in ("Blood", "Double uni", "Surgeon's"):
        assert f"/pools/{pool_of(tie).pk}/" in page.links()
    row = page.text[page.text.index("Surgeon's 3") :]
    assert "under 1 in 100 under 1 in 100" in row
    assert "Not ranked: Albright (too few testers: 2 of 3)" in page.text


def test_chances_of_being_best_add_up_to_one(league):
    found = chances(list(Pool.objects.select_related("current", "connection")), None, {})
    assert sum(chance.best for chance in found.values()) == pytest.approx(1.0)
    assert sum(chance.better for chance in found.values()) == pytest.approx(len(found) / 2)


def test_where_no_one_pulled_two_joins_on_one_day_it_says_so(league, read):
    assert "no baseline has two joins" in read("/compare/", **PAIR).text


@pytest.mark.parametrize("asked", [{}, {"main": "gut"}, {**PAIR, "wet": "perhaps"}])
def test_a_line_pair_without_joins_is_not_found(league, asked):
    assert Client().get("/compare/", asked).status_code == 404
    assert Client().get("/compare/joins.svg", asked).status_code == 404


def test_it_takes_few_queries(league, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        Client().get("/compare/", PAIR)
