"""Testers of a round pull from one spool: a pool says so, and fits what rounds differ by."""

from dataclasses import replace

import numpy as np
import pytest
from django.urls import reverse

from results.models import Pool, PoolVersion
from results.pools.estimate import CLUB_ROUND, pooled_from
from results.pools.pool_data import members_of
from results.pools.reproduce import recomputed
from results.rounds.closing import close
from results.rounds.drafts import SampleDraft
from tests import making, playing
from tests.api.leagues import send
from tests.people import contributor

HELD_N = {"Harbour Club": 80.0, "Weir Club": 92.0, "Jetty Club": 70.0}


@pytest.fixture(autouse=True)
def nothing_waits(settings):
    """Spools differ by so much that their sets would wait for a second look."""
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}


def play(clubs: dict[str, int]) -> None:
    """A round in each club with so many testers, who all tie one join."""
    for club, number in clubs.items():
        people = [playing.member(f"{club} {place}", club) for place in range(number)]
        for person in people:
            playing.lent_rig(person)
        sample = SampleDraft(making.connection("Blood"), 1, "by each tester", leader_lot=2)
        organiser = playing.member(f"{club}'s organiser", club)
        made, entered = playing.opened(organiser, people, title=f"{club}'s round", samples=[sample])
        for place, participant in enumerate(entered):
            playing.sends(participant, load_N=HELD_N[club] * (1 + place / 100))
        close(organiser, made)


def page_of(pool: Pool, client) -> str:
    answer = client.get(reverse("pages:pool", args=[pool.pk]))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


@pytest.mark.django_db
def test_a_pool_of_one_round_says_that_it_is_one_spool_s(client, drain):
    play({"Harbour Club": 4})
    drain()
    pool = Pool.objects.get()
    said = pool.current.findings["club_rounds"]
    [only] = said["rounds"]
    assert (only["testers"], only["sets"]) == (4, 4)
    assert (said["number"], said["sets"], said["for_others"]) == (1, 4, False)
    assert "crossed" not in pool.current.figures
    page = page_of(pool, client)
    assert "All sets are from one club's round" in page.replace("&#x27;", "'")
    assert f'<a href="/rounds/{only["round"]}/">Round {only["round"]} of Harbour Club</a>' in page
    document = client.get(reverse("api:pool", args=[pool.pk])).json()
    assert document["findings"]["club_rounds"] == said


@pytest.mark.django_db
def test_sets_of_two_rounds_among_others_make_the_interval_unsure(client, drain):
    play({"Harbour Club": 2, "Weir Club": 2})
    rng = np.random.default_rng(4)
    for number in range(2):
        person = contributor(f"alone {number}")
        send(person, rng, "Blood", 82.0, line="thin")
    drain()
    pool = Pool.objects.get()
    said = pool.current.findings["club_rounds"]
    assert (said["number"], said["sets"], said["for_others"]) == (2, 4, False)
    page = page_of(pool, client)
    assert f"4 of {pool.current.sets} sets are from 2 clubs" in page
    assert "the interval may be too narrow" in page


@pytest.mark.django_db
def test_three_rounds_widen_the_interval_by_what_their_spools_differ(client, drain):
    play({"Harbour Club": 3, "Weir Club": 2, "Jetty Club": 3})
    drain()
    pool = Pool.objects.get()
    version = pool.current
    crossed = version.figures["crossed"][CLUB_ROUND]
    assert crossed["levels"] == 3
    assert 0.05 < crossed["tau2"] ** 0.5 < 0.3
    assert version.figures["df_satterthwaite"] == 2
    # What is peculiar to a spool is the round's and not its testers'.
    assert version.figures["tau2_tester"] < crossed["tau2"] / 5
    members = members_of(pool.pk)
    apart = pooled_from(members).pooled
    alone = pooled_from(replace(members, club_round=np.zeros_like(members.club_round))).pooled
    assert apart.ci_high - apart.ci_low > 1.3 * (alone.ci_high - alone.ci_low)
    assert version.findings["club_rounds"]["for_others"]
    assert any("club_round" in each["share"] for each in version.findings["groups_left_out"])
    page = page_of(pool, client)
    assert "The figure is for spools of other rounds, too" in page
    for version in PoolVersion.objects.all():
        assert recomputed(version).differences == ()
