"""A club's round as its people live it: set up, entered by eight, labelled, printed, reported."""

import pytest
from django.test import Client
from playwright.sync_api import expect

from results.models import Round
from tests import making, playing
from tests.pages.test_rounds import closed

SAMPLES = (
    ("Blood", "centrally", 2),
    ("Albright", "centrally", 2),
    ("Blood", "by each tester", 1),
    ("Albright", "by each tester", 1),
)


@pytest.fixture
def people(transactional_db):
    making.line("thin"), making.line("thick", label_N=180)
    making.connection("Blood"), making.connection("Albright")
    return [playing.member(f"tester {number}") for number in range(1, 9)]


@pytest.fixture
def as_one(page, live_server):
    """Go on as this person, in the same browser."""

    def become(person) -> None:
        client = Client()
        client.force_login(person.user, backend="django.contrib.auth.backends.ModelBackend")
        cookie = {"name": "sessionid", "value": client.cookies["sessionid"].value}
        page.context.clear_cookies()
        page.context.add_cookies([{**cookie, "url": live_server.url}])

    return become


def test_a_club_sets_up_a_round_eight_enter_and_get_their_codes(people, page, look, as_one):
    organiser = people[0]
    as_one(organiser)
    look("/rounds/", name="rounds")
    page.get_by_role("link", name="Set up a round of Harbour Club").click()
    page.get_by_label("Title").fill("Spring round")
    page.get_by_label("Starts on").fill("2026-03-01")
    page.get_by_label("Results by").fill("2026-04-15")
    page.get_by_label("Line is").select_option("dry")
    for number, (name, spool) in enumerate(playing.SPOOLS.items(), start=1):
        row = page.get_by_role("group", name=f"Spool {number}", exact=True)
        row.get_by_label("Line").select_option(name)
        row.get_by_label("Spool").fill(spool)
    for number, (join, tied, codes) in enumerate(SAMPLES, start=1):
        row = page.get_by_role("group", name=f"Sample {number}", exact=True)
        row.locator("select[name$=connection]").select_option(label=join)
        row.get_by_label("Leader: spool").select_option("2")
        row.get_by_label("Tied", exact=False).first.select_option(tied)
        row.get_by_label("Codes for each tester").fill(str(codes))
    look(name="round-plan")
    page.get_by_role("button", name="Set it up").click()
    expect(page.get_by_role("heading", name="Spring round")).to_be_visible()
    look(name="round-being-set-up")
    made = Round.objects.get()
    for person in people:
        as_one(person)
        page.goto("/rounds/")
        page.get_by_label("Code of the round").fill(made.entry_code.lower())
        page.get_by_role("button", name="Take part").click()
        expect(page.get_by_text("You take part.", exact=True)).to_be_visible()
    as_one(organiser)
    page.goto(f"/rounds/{made.pk}/")
    page.get_by_role("button", name="Open it and draw the codes").click()
    look(name="round-open")
    page.get_by_role("button", name="Show labels and packing list").click()
    expect(page.get_by_role("listitem").filter(has_text="Loaded line hurts")).to_have_count(48)
    look(name="round-labels")
    as_one(people[1])
    look(f"/rounds/{made.pk}/", name="round-of-a-tester")
    expect(page.get_by_text("hidden until the close")).to_have_count(4)
    page.get_by_role("link", name="Print your bench sheet").click()
    look(name="round-sheet")


def test_a_closed_round_is_read_by_its_club_and_by_each_tester(people, page, look, as_one):
    made = closed(people[0], people)
    as_one(people[0])
    look(f"/rounds/{made.pk}/", name="round-closed")
    page.get_by_role("link", name="Report for the club").click()
    look(name="round-report")
    page.get_by_role("link", name="Your own report").click()
    expect(page.get_by_text("percent low.")).to_be_visible()
    look(name="round-own-report")
