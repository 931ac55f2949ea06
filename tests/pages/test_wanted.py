"""What is wanted: where one tester more brings most, two clicks from the front page."""

import numpy as np
import pytest
from django.test import Client

from results.accounts.close import close_account
from results.models import Connection, DirectComparison, Vote
from results.pools.wanted import undecided
from results.statistics.planning import ALPHA, pairs_for_difference
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


def test_who_has_sent_nothing_reads_so_and_each_pool_says_how_to_pull_it(league, read):
    page = read("/wanted/", by=contributor("newcomer without lines"))
    assert "Once you have sent a session, this says" in page.text
    assert "has your sets already" not in page.text
    [first, *_] = [link for link in page.links() if link.startswith("/pools/")]
    assert {"/bench-sheet/", "/upload/"} <= set(read(first).links())


def test_joins_that_differ_are_decided_and_those_alike_say_how_many_days_it_takes(league):
    pairs = {frozenset((pair.first.tie, pair.second.tie)): pair for pair in undecided(30)}
    assert frozenset(("Blood", "Surgeon's")) not in pairs  # a third apart
    for pair in pairs.values():
        assert pair.together >= 1
        assert pair.first.current.efficiency >= pair.second.current.efficiency


def not_told_apart() -> set[frozenset[int]]:
    """The pairs of joins that direct comparisons leave open, by the p value that is published."""
    return {
        frozenset((each["first"], each["second"]))
        for comparison in DirectComparison.objects.all()
        for each in comparison.figures.get("differences", ())
        if each["p_holm"] > ALPHA
    }


@pytest.mark.parametrize(
    ("half_width", "said"),
    [(0.03, "it would have shown by now"), (0.2, "more"), (30.0, "no number of days would do")],
)
def test_every_pair_that_is_not_told_apart_is_listed_however_wide_its_interval(
    league, read, half_width, said
):
    first, second = pool_of("Blood"), pool_of("Double uni")
    found = {"first": first.pk, "second": second.pk, "difference": 0.01, "df": 8.0}
    found |= {"ci_low": 0.01 - half_width, "ci_high": 0.01 + half_width}
    found |= {"p": 0.4, "p_holm": 0.4, "together": 12}
    comparison = DirectComparison.objects.get(main_material=first.main_material)
    comparison.figures = {"differences": [found]}
    comparison.save()
    assert len(not_told_apart()) >= 1
    listed = undecided(30)
    assert {frozenset((each.first.pk, each.second.pk)) for each in listed} == not_told_apart()
    page = read("/wanted/").text
    section = page[page.index("Joins that the data can't separate") :]
    assert f"12 days so far, 1.0% apart, {said}" in section or said == "more"
    assert said in section


@pytest.mark.parametrize(("d", "pairs"), [(0.5, 34), (0.8, 15), (1.0, 10)])
def test_pairs_for_a_difference_agree_with_published_tables_of_the_paired_t_test(d, pairs):
    """Two-sided 5 percent, power 0.8, for standardised differences (Cohen 1988, ch. 2): the
    sample sizes are from memory."""
    assert pairs_for_difference(d, 1.0) == pairs
    assert pairs_for_difference(2 * d, 2.0) == pairs


ALBRIGHT = {"main": "nylon monofilament", "leader": "fluorocarbon"}


def voter(handle: str) -> Client:
    client = Client()
    user = contributor(handle).user
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def asked_section(page: str) -> str:
    return page[page.index('id="asked"') : page.index('id="undecided"')]


def test_an_account_has_one_vote_and_it_moves_to_what_it_asks_for_last(league):
    first, second = voter("first reader"), voter("second reader")
    albright = ALBRIGHT | {"connection": pool_of("Albright").connection_id}
    double = ALBRIGHT | {"connection": pool_of("Double uni").connection_id}
    before = Client().get("/wanted/")
    for client, asked in ((first, albright), (first, albright), (second, albright)):
        assert client.post("/wanted/vote/", asked).status_code == 302
    stranger = Client().get("/wanted/", headers={"If-None-Match": before["ETag"]})
    assert "Albright, nylon monofilament to fluorocarbon" in stranger.content.decode()
    assert "2 votes" in asked_section(stranger.content.decode())
    first.post("/wanted/vote/", double)
    section = asked_section(first.get("/wanted/").content.decode())
    assert section.count("1 vote") == 2
    assert section.count("yours among them") == 1
    assert section.index("Albright") < section.index("Double uni")  # asked for first
    first.post("/wanted/vote/", {"take_back": "1"})
    assert Vote.objects.count() == 1


def test_a_join_that_has_its_figure_can_not_be_asked_for_and_leaves_the_list(league):
    client, blood = voter("reader"), pool_of("Blood")
    answer = client.post(
        "/wanted/vote/",
        {"connection": blood.connection_id, "main": blood.main_material}
        | {"leader": blood.leader_material},
    )
    assert answer.status_code == 422
    assert "has a figure on these lines already" in answer.content.decode()
    assert not Vote.objects.exists()
    Vote.objects.create(
        contributor=contributor("early reader"),
        connection=blood.connection,
        main_material=blood.main_material,
        leader_material=blood.leader_material,
    )
    assert "1 vote" not in asked_section(Client().get("/wanted/").content.decode())


def test_a_vote_goes_with_the_account(league):
    client = voter("leaving")
    client.post("/wanted/vote/", ALBRIGHT | {"connection": pool_of("Albright").connection_id})
    close_account(Vote.objects.get().contributor, keep=True)
    assert not Vote.objects.exists()


def test_nobody_asks_for_a_join_that_is_not_accepted_or_of_no_material(league):
    client = voter("reader")
    proposed = Connection.objects.create(name="Secret", kind=Connection.Kind.LINE_TO_LINE)
    for wrong in (
        ALBRIGHT | {"connection": proposed.pk},
        ALBRIGHT | {"connection": pool_of("Albright").connection_id, "main": "string"},
        ALBRIGHT | {"connection": pool_of("Albright").connection_id, "leader": ""},
        {},
    ):
        assert client.post("/wanted/vote/", wrong).status_code == 422
    assert not Vote.objects.exists()
    assert client.get("/wanted/vote/").headers["Location"] == "/wanted/"


def test_what_is_wanted_is_kept_for_strangers(league):
    first = Client().get("/wanted/")
    assert Client().get("/wanted/", headers={"If-None-Match": first["ETag"]}).status_code == 304


def test_no_pool_stands_twice_on_one_page_and_signing_in_leads_back(league, read):
    """What one could pull oneself is not listed again among what is short."""
    newcomer = contributor("newcomer with lines")
    send(newcomer, np.random.default_rng(11), "Blood", 86.0)
    drain()
    page = read("/wanted/", by=newcomer)
    until = page.text.index("Joins that readers ask for")
    listed = page.text[:until]
    assert "Those that you could pull yourself stand above." in listed
    pools = [link for link in page.links() if link.startswith("/pools/")]
    own = pools[: listed[: listed.index("A tester or two short")].count("tester so far")]
    assert all(pools.count(link) == 1 for link in own)
    assert read("/wanted/").links().count("/sign-in/?next=/wanted/") == 2
