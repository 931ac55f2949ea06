"""Oneself beside a pool."""

import pytest

from results.models import Pool
from tests.api.leagues import league_of, send
from tests.people import client_of


def comparison(client):
    return client.get(f"/api/v1/pools/{Pool.objects.get().pk}/comparison")


def test_a_tester_who_ties_weakly_sees_how_far_below_the_others(db, owner, as_owner):
    league_of({"Blood": 80.0}, testers=4, before=lambda rng: send(owner, rng, "Blood", 56.0))
    answer = comparison(as_owner).json()
    assert (answer["own"]["sets"], answer["own"]["pulls"]) == (1, 6)
    assert answer["own"]["efficiency"] == pytest.approx(0.56, abs=0.05)
    assert answer["others"]["testers"] == 4
    assert answer["others"]["efficiency"] == pytest.approx(0.80, abs=0.05)
    difference = answer["comparison"]
    assert difference["ratio"] == pytest.approx(0.70, abs=0.07)
    assert difference["ratio_low"] < difference["ratio"] < difference["ratio_high"] < 1
    assert (difference["differs"], difference["place"]) == (True, "below")
    assert answer["own"]["efficiency"] < difference["shrunken"] < answer["others"]["efficiency"]


def test_a_comparison_splits_the_scatter_and_plans_what_to_pull_next(db, owner, as_owner):
    league_of({"Blood": 80.0}, testers=4, before=lambda rng: send(owner, rng, "Blood", 80.0))
    answer = comparison(as_owner).json()
    assert set(answer["split"]) == {"rig_and_line", "tie", "join", "tying", "further"}
    assert answer["split"]["rig_and_line"]["variance"] > 0
    assert answer["scatter"]["k_critical_5_percent"] < answer["scatter"]["k_critical_1_percent"]
    assert [plan["difference"] for plan in answer["plans"]] == [0.05, 0.1]
    assert all(plan["sessions"] or plan["why_not"] for plan in answer["plans"])


def test_who_has_no_set_in_the_pool_is_advised_what_to_pull(db, as_other):
    league_of({"Blood": 80.0}, testers=4)
    answer = comparison(as_other)
    assert answer.status_code == 409
    assert "no set" in answer.json()["detail"]


def test_a_pool_of_three_with_oneself_is_too_few_without(db):
    [first, *_rest] = league_of({"Blood": 80.0}, testers=3)
    answer = comparison(client_of(first.session.contributor))
    assert answer.status_code == 409
    assert "3 testers" in answer.json()["detail"]


def test_a_stranger_is_asked_to_sign_in(db, as_stranger):
    league_of({"Blood": 80.0}, testers=3)
    assert comparison(as_stranger).status_code == 401
