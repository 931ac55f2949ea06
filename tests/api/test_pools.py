"""Pools over the API: what a reader choosing a join gets to see."""

import numpy as np
import pytest

from api import pool_versions
from results.models import Pool, PullSet
from results.review.decisions import decide
from results.worker import embedded
from rigs.models import Material
from tests.api.leagues import send
from tests.people import contributor


@pytest.fixture
def league(db) -> list[PullSet]:
    """Four testers of one join, two of another, two of the first on another leader."""
    rng = np.random.default_rng(20260110)
    people = [contributor(f"tester {number}") for number in range(4)]
    sent = [send(person, rng, "Blood", 80.0) for person in people]
    sent += [send(person, rng, "Surgeon's", 65.0) for person in people[:2]]
    sent += [send(person, rng, "Blood", 80.0, Material.FLUOROCARBON) for person in people[:2]]
    embedded.drain()
    return list(PullSet.objects.filter(pk__in=[pull_set.pk for pull_set in sent]).order_by("pk"))


def pools(client, **filters) -> list[dict]:
    answer = client.get("/api/v1/pools", filters)
    assert answer.status_code == 200, answer.json()
    return answer.json()["results"]


def test_a_pool_tells_efficiency_interval_and_what_a_new_tester_should_expect(league, as_stranger):
    [pool] = pools(as_stranger, leader=Material.NYLON, connection="blood")
    assert (pool["tie"], pool["conditions"]) == ("Blood", "dry")
    assert pool["line_pair"] == "nylon monofilament to nylon monofilament"
    now = pool["current"]
    assert (now["testers"], now["sets"], now["pulls"]) == (4, 4, 24)
    assert now["interval"]["low"] < now["efficiency"] < now["interval"]["high"]
    assert now["prediction"]["low"] < now["interval"]["low"]
    assert now["prediction"]["high"] > now["interval"]["high"]
    assert 0 <= now["i2"] <= 1


def test_below_three_testers_there_are_counts_and_no_figure(league, as_stranger):
    [pool] = pools(as_stranger, connection="Surgeon's")
    assert pool["current"]["testers"] == 2
    assert pool["current"]["efficiency"] is None
    assert pool["current"]["interval"] == {"low": None, "high": None}
    assert "3 testers" in pool["current"]["no_figure"]


def test_filters_narrow_the_list(league, as_stranger):
    assert len(pools(as_stranger)) == 3
    assert len(pools(as_stranger, least_testers=3)) == 1
    assert len(pools(as_stranger, leader=Material.FLUOROCARBON)) == 1
    assert len(pools(as_stranger, wet="true")) == 0
    assert len(pools(as_stranger, doubled="false", shock="false", terminal="")) == 3


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("main", "gut"),
        ("wet", "rather"),
        ("least_testers", "many"),
        ("least_testers", "0"),
        ("colour", "blue"),
        ("limit", "0"),
        ("limit", "201"),
        ("offset", "-1"),
        ("offset", "third"),
    ],
)
def test_a_wrong_filter_or_page_is_reported_and_not_passed_over(as_stranger, name, value):
    answer = as_stranger.get("/api/v1/pools", {name: value})
    assert answer.status_code == 422
    [finding] = answer.json()["findings"]
    assert (finding["field"], finding["found"]) == (name, value)


def test_pages_follow_one_another(league, as_stranger):
    first = as_stranger.get("/api/v1/pools?limit=2").json()
    assert (first["count"], len(first["results"]), first["previous"]) == (3, 2, None)
    second = as_stranger.get(first["next"]).json()
    assert len(second["results"]) == 1
    assert second["next"] is None


def test_one_pool_shows_its_sets_its_testers_and_its_heterogeneity(league, as_stranger):
    [pool] = pools(as_stranger, least_testers=3)
    answer = as_stranger.get(pool["url"]).json()
    sets = as_stranger.get(answer["sets"]).json()["results"]
    assert [s["tester"] for s in sets] == [f"tester {n}" for n in range(4)]
    assert sets[0]["baseline_mean_N"] == pytest.approx(100, abs=4)
    assert sets[0]["failure_modes"] == {"join": 6}
    effects = as_stranger.get(answer["tester_effects"]).json()["results"]
    assert [t["tester"] for t in effects] == [f"tester {n}" for n in range(4)]
    assert effects[3]["without"]["mu"] != answer["figures"]["mu"]
    assert answer["figures"]["Q_df"] == 3
    assert np.exp(answer["figures"]["mu"]) == pytest.approx(answer["current"]["efficiency"])
    for figure in ("tau2_tester", "I2_tester", "H2", "Q_p", "df_satterthwaite"):
        assert answer["figures"][figure] >= 0


def test_the_history_says_which_sets_came_and_went_and_by_which_decision(
    league, moderator, as_stranger
):
    [pool] = pools(as_stranger, least_testers=3)
    decide(by=moderator.user, pull_set=league[3], decision="reject", reason="kilograms as pounds")
    embedded.drain()
    latest, first = as_stranger.get(pool["url"] + "/versions").json()["results"]
    assert len(first["sets_added"]) == 4
    assert latest["sets_removed"] == [f"http://testserver/api/v1/pull-sets/{league[3].pk}"]
    assert f"on set {league[3].pk}: reject" in latest["why"][0]
    assert "kilograms as pounds" not in latest["why"][0]
    assert (first["number"], latest["number"], latest["testers"]) == (1, 2, 3)


def test_of_many_sets_that_came_the_history_names_a_few_and_says_where_all_are(
    league, as_stranger, monkeypatch
):
    monkeypatch.setattr(pool_versions, "LISTED", 3)
    [pool] = pools(as_stranger, least_testers=3)
    [first] = as_stranger.get(pool["url"] + "/versions").json()["results"]
    assert (len(first["sets_added"]), first["number_added"]) == (3, 4)
    assert (first["sets_removed"], first["number_removed"]) == ([], 0)
    page = as_stranger.get(first["changes"], {"limit": 3}).json()
    rest = as_stranger.get(page["next"]).json()
    everything = page["results"] + rest["results"]
    assert [each["pull_set"] for each in page["results"]] == first["sets_added"]
    assert (len(everything), {each["change"] for each in everything}) == (4, {"added"})


def test_a_set_that_went_is_reported_with_the_version_that_took_it_out(
    league, moderator, as_stranger
):
    [pool] = pools(as_stranger, least_testers=3)
    decide(by=moderator.user, pull_set=league[3], decision="reject", reason="another line")
    embedded.drain()
    latest, _ = as_stranger.get(pool["url"] + "/versions").json()["results"]
    [change] = as_stranger.get(latest["changes"]).json()["results"]
    assert change == {"pull_set": latest["sets_removed"][0], "change": "removed"}
    assert (latest["number_added"], latest["number_removed"]) == (0, 1)


def test_an_unchanged_pool_is_not_sent_twice(league, moderator, as_stranger):
    [pool] = pools(as_stranger, least_testers=3)
    tags = {address: as_stranger.get(address)["ETag"] for address in (pool["url"], "/api/v1/pools")}
    for address, tag in tags.items():
        assert as_stranger.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 304
    decide(by=moderator.user, pull_set=league[3], decision="hold", reason="a question")
    embedded.drain()
    for address, tag in tags.items():
        assert as_stranger.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 200


def test_pools_and_sets_are_read_in_as_many_queries_however_many(
    league, as_stranger, django_assert_num_queries
):
    with django_assert_num_queries(3):  # the tag, count, pools
        assert len(pools(as_stranger)) == 3
    pool = Pool.objects.get(current__testers=4)
    with django_assert_num_queries(4):  # the marks, the pool's state, the pool, what waits
        as_stranger.get(f"/api/v1/pools/{pool.pk}")
    with django_assert_num_queries(
        8
    ):  # the tag, the pool, count, sets, rigs, lines, leaders, accepted names
        as_stranger.get(f"/api/v1/pools/{pool.pk}/sets")
    with django_assert_num_queries(4):  # the tag, the pool, count, testers
        as_stranger.get(f"/api/v1/pools/{pool.pk}/tester-effects")
    with django_assert_num_queries(6):  # the tag, the pool, count, versions, sets added, removed
        as_stranger.get(f"/api/v1/pools/{pool.pk}/versions")
