"""Which join from this main line to that leader: an order that claims no more than it knows."""

import pytest

from tests.api.leagues import NYLON, league_of


def ranking(client, **asked):
    return client.get("/api/v1/pools/ranking", {"main": NYLON, **asked})


def test_joins_far_apart_are_put_in_order(db, as_stranger):
    league_of({"Blood": 85.0, "Surgeon's": 55.0}, testers=4)
    answer = ranking(as_stranger, leader=NYLON).json()
    assert [(p["pool"]["tie"], p["first"], p["last"]) for p in answer["places"]] == [
        ("Blood", 1, 1),
        ("Surgeon's", 2, 2),
    ]


def test_joins_that_do_not_differ_significantly_share_a_group_and_their_places(db, as_stranger):
    league_of({"Blood": 80.0, "Surgeon's": 80.5}, testers=3)
    answer = ranking(as_stranger, leader=NYLON).json()
    assert {(p["first"], p["last"]) for p in answer["places"]} == {(1, 2)}
    assert [p["groups"] for p in answer["places"]] == [[0], [0]]


def test_below_three_testers_a_join_is_shown_without_a_rank(db, as_stranger):
    league_of({"Blood": 80.0}, testers=2)
    answer = ranking(as_stranger, leader=NYLON).json()
    assert answer["places"] == []
    assert [pool["tie"] for pool in answer["unranked"]] == ["Blood"]


@pytest.mark.parametrize(
    "asked", [{}, {"leader": NYLON, "terminal": "hook"}, {"leader": "gut"}, {"main": "gut"}]
)
def test_a_ranking_is_of_one_line_pair(db, as_stranger, asked):
    answer = ranking(as_stranger, **asked)
    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] in ("leader", "main")


def test_a_ranking_carries_its_chances_and_what_one_rig_and_day_say(db, as_stranger):
    league_of({"Blood": 85.0, "Surgeon's": 55.0}, testers=4)
    answer = ranking(as_stranger, leader=NYLON).json()
    best = [place["chance"]["best"] for place in answer["places"]]
    assert best[0] > 0.99
    assert sum(best) == pytest.approx(1.0)
    assert "no baseline has two joins" in answer["direct"]["why_not"]
