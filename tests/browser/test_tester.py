"""Stories 1 to 6 as a tester lives them at the pages: can I believe my rig, my join, my hands?"""

import random
import re

import numpy as np
import pytest
from django.test import Client
from playwright.sync_api import expect

from results.jobs.queue import enqueue
from results.models import PullSet
from results.worker.embedded import drain
from tests import making
from tests.pages.conftest import pool_of
from tests.people import client_of, contributor
from tests.stories.bench import JOINED_N, STRAIGHT_N, register, send, session


@pytest.fixture
def tester(transactional_db, page, live_server):
    """A tester who is signed in at this browser."""
    person, client = contributor("owner"), Client()
    client.force_login(person.user)
    [cookie] = client.cookies.values()
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])
    return person


@pytest.fixture
def rig(tester) -> dict:
    making.line("thin"), making.line("thick", label_N=180), making.connection()
    return register(client_of(tester))


def test_a_tester_sees_that_the_rig_drifted_and_which_sets_it_touches(rig, tester, page, look):
    """Story 1."""
    for day, factor in enumerate((1.0, 1.003, 0.998, 1.001, 0.999, 0.93)):
        order = random.Random(day)  # the same order times a factor is no day of its own
        straight_N, joined_N = (
            [factor * each for each in order.sample(loads, len(loads))]
            for loads in (STRAIGHT_N, JOINED_N)
        )
        send(client_of(tester), session(day, straight_N, joined_N))
    drain()
    look(f"/rigs/{rig['id']}/")
    expect(page.get_by_text("The chart of thin, spool A signals at 15 Jan 2026")).to_be_visible()
    row = page.get_by_role("row").filter(has_text="signals").first
    expect(row).to_contain_text("-7.0%")
    touched = PullSet.objects.get(label="blood, day 5")
    expect(row.get_by_role("link", name=f"set {touched.pk}")).to_be_visible()


def test_a_tester_who_changed_the_grip_makes_a_revision_that_begins_again(rig, tester, page, look):
    """Story 2."""
    send(client_of(tester), session())
    drain()
    look(f"/rigs/{rig['id']}/change/")
    page.get_by_label("Since").fill("2026-01-12")
    page.get_by_label("What changed").fill("rubber tape in place of cork")
    page.get_by_label("Why").fill("braid slid on the cork")
    page.get_by_role("button", name="Create the new revision").click()
    expect(page.get_by_text("rubber tape in place of cork").first).to_be_visible()
    look(name="changed-grip")
    text = _refused_for(session(3, straight_N=(), revision=2), tester)
    assert "no straight-line pulls of thin" in text
    assert "on revision 2 of shed winch" in text


def _refused_for(document, tester) -> str:
    """What a session is refused for."""
    answer = client_of(tester).post("/api/v1/sessions", document, format="json")
    assert answer.status_code == 422
    [finding] = answer.json()["findings"]
    return f"{finding['found']}; {finding['expected']}"


def test_a_tester_sees_how_good_a_join_is_and_the_join_apart_from_the_assembly(
    rig, tester, page, look
):
    """Story 3."""
    document = session()
    for pull in document["pull_sets"][0]["pulls"][:2]:
        pull["failure_mode"] = "line"
    send(client_of(tester), document)
    drain()
    found = PullSet.objects.get()
    look(f"/pull-sets/{found.pk}/")
    expect(page.get_by_text(f"{100 * found.normalised.efficiency:.1f}%").first).to_be_visible()
    expect(page.get_by_text("held until something else gave way in 2 of 6 pulls")).to_be_visible()
    expect(page.get_by_text("strength of the join itself")).to_be_visible()


@pytest.fixture
def tied(tester):
    """The tester ties unevenly and weakly on a good rig; four others tie evenly."""
    rng = np.random.default_rng(20260110)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    people = [(tester, 55.0, 0.15), *((contributor(f"tester {n}"), 80.0, 0.05) for n in range(4))]
    for person, strength_N, cv in people:
        revision = making.revision_of(person, resolution_N=0.05)
        making.calibrate(revision, gain=1.0, offset_N=0.0)
        pulled = making.session(revision)
        making.straight(pulled, main, 100 * np.exp(rng.normal(0, 0.02, 20)))
        making.joined(pulled, main, leader, strength_N * np.exp(rng.normal(0, cv, 20)))
        enqueue(pulled)
    drain()


def test_a_tester_sees_whether_it_is_the_tying_and_where_it_stands(tied, page, look):
    """Stories 4 and 5."""
    look("/bench/tying/")
    section = page.get_by_role("region", name="Blood")
    expect(section).to_contain_text("below the range expected of a tester")
    expect(section).to_contain_text("times the others'")
    section.get_by_role("link", name="Blood").first.click()
    expect(page).to_have_url(f"{page.url.split('/pools')[0]}/pools/{pool_of('Blood').pk}/")


def test_a_tester_plans_how_many_more_pulls_a_difference_takes(tied, page, look):
    """Story 6."""
    page.goto("/bench/tying/")

    def plan(difference: str, pulls: int, sessions: int) -> tuple[float, float, int | None]:
        """What is entered, as detected by these sessions, wanted, and the sessions it takes."""
        page.get_by_label("Difference wanted, %").fill(difference)
        page.get_by_label("Pulls a set").fill(str(pulls))
        page.get_by_label("Sessions", exact=True).fill(str(sessions))
        page.get_by_role("button", name="Plan", exact=True).click()
        page.wait_for_url(f"**sessions={sessions}*")
        said = page.locator("#plan ~ .opening").inner_text()
        expect(page.get_by_label("Pulls a set")).to_have_value(str(pulls))
        detected = re.search(r"a difference of ([\d.]+)% from the others", said)
        takes = re.search(r"of ([\d.]+)% takes (\d+) session", said)
        return float(detected[1]), float(takes[1]), int(takes[2])

    few, wanted, needed = plan("12", 8, 2)
    assert wanted == 12.0
    at_needed, _, again = plan("12", 8, needed)
    assert again == needed
    assert at_needed <= 12.0 < few or needed <= 2
    if needed > 1:
        assert plan("12", 8, needed - 1)[0] > 12.0
    assert plan("12", 30, 2)[0] < few, "more pulls a set detect less"
    expect(page.get_by_role("img", name="Detectable difference by number of")).to_be_visible()
    look(name="planned")
