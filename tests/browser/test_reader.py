"""Stories 9 to 13 as a reader lives them: choosing a join, and asking how much to believe."""

import re

import pytest
from django.db import transaction
from playwright.sync_api import expect

from results.models import PoolVersion, PullSet
from results.review import decisions
from results.worker.embedded import drain
from tests.api.leagues import league_of, league_parting_in_the_line, send
from tests.pages.conftest import pool_of
from tests.people import contributor

pytestmark = pytest.mark.usefixtures("planted_past")


@pytest.fixture
def league(transactional_db):
    return league_of(
        {"Blood": 86.0, "Double uni": 85.0, "Surgeon's": 55.0},
        testers=4,
        before=lambda rng: send(contributor("newcomer"), rng, "Albright", 70.0),
    )


def test_a_reader_chooses_a_join_and_sees_how_sure_the_order_is(league, page, look):
    """Stories 9 and 12."""
    look("/")
    page.get_by_label("Main line").select_option("nylon monofilament")
    page.get_by_label("Leader or terminal").select_option("nylon monofilament")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_text("Not enough data to separate these")).to_be_visible()
    page.get_by_text("Not ranked: Albright").click()
    expect(page.get_by_text("too few testers: 1 of 3")).to_be_visible()
    page.get_by_role("link", name="Compare side by side").click()
    expect(page.get_by_role("cell", name=re.compile(r"^(Place )?1 to 2$"))).to_have_count(2)
    look()


def test_a_reader_asks_for_a_slim_one_tied_by_hand(league, page, look):
    """Story 10."""
    PoolVersion.objects.filter(pk=pool_of("Blood").current.pk).update(bulk=3.0)
    look("/")
    page.get_by_text("More choices").click()
    page.get_by_label("Maximum thickness (x line)").fill("2")
    page.get_by_role("button", name="Show").click()
    expect(page.get_by_role("link", name="Surgeon's")).to_be_visible()
    expect(page.get_by_role("link", name="Blood", exact=True)).to_have_count(0)
    expect(page.get_by_text("thickness not recorded").first).to_be_visible()
    look(name="slim")


def test_a_reader_asks_for_the_worst_case_and_why_it_changed(league, moderator, page, look):
    """Stories 11 and 13."""
    pool = pool_of("Blood")
    taken_out = PullSet.objects.filter(connection__name="Blood").first()
    with transaction.atomic():
        decisions.decide(
            by=moderator.user, pull_set=taken_out, decision="hold", reason="Which scale?"
        )
    drain()
    look(f"/pools/{pool.pk}/")
    expect(page.get_by_text("Expect nine in ten of your ties to hold at least")).to_be_visible()
    expect(page.get_by_text("The worst of 18 pulls held")).to_be_visible()
    history = page.get_by_role("region", name="History")
    history.get_by_role("link").nth(2).click()
    expect(page.get_by_role("heading", name="Blood, version 2")).to_be_visible()
    expect(page.get_by_text(f"on set {taken_out.pk}: hold").first).to_be_visible()
    expect(page.get_by_text("Which scale?")).to_have_count(0)
    look()


def test_a_reader_has_loads_in_pounds(league, page, look):
    look(f"/lines/{league[0].main_line_id}/")
    page.get_by_role("link", name="imperial").click()
    expect(page.get_by_text("lbf").first).to_be_visible()
    look(name="imperial")


def test_a_reader_sees_the_join_itself_beside_line_and_join_together(transactional_db, page, look):
    pool = league_parting_in_the_line(1.0)
    look(f"/pools/{pool.pk}/", name="the-join-itself")
    section = page.get_by_role("region", name="The combination and the join itself")
    expect(
        section.get_by_text("whichever of them parts first, by one model of all")
    ).to_be_visible()
    expect(section.get_by_text("in the others something else parted first")).to_be_visible()
    section.get_by_role("link", name="How we know").click()
    expect(page.get_by_text("Where the line parts first in some pulls")).to_be_visible()
