"""A club's round as its people live it: set up, entered by eight, labelled, printed, reported."""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from playwright.sync_api import Page, expect

from results.models import Round
from results.pages.rounds.forms import SAMPLES_AT_ONCE
from results.rounds.codes import readable
from results.worker.round_reports import make_round_reports
from tests import making, playing
from tests.browser.test_bench import pull
from tests.people import client_of

SAMPLES = (
    ("Blood", "centrally", 2),
    ("Albright", "centrally", 2),
    ("Blood", "by each tester", 1),
    ("Albright", "by each tester", 1),
)
LOW_N, LIKE_OTHERS_N = 72.0, 80.0
"""What the second tester's rig shows, and what everybody else's does."""
PAPER = {"width": 718, "height": 1047}
"""A4 less a margin of 10 mm, in CSS pixels: what a phone prints on as well."""


@pytest.fixture
def people(transactional_db):
    making.line("thin"), making.line("thick", label_N=180)
    making.connection("Blood"), making.connection("Albright")
    found = [playing.member(f"tester {number}") for number in range(1, 9)]
    for person in found:
        playing.lent_rig(person)
    return found


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


def set_up(page: Page, look) -> Round:
    """The organiser fills in the form, from the page of rounds on."""
    look("/rounds/", name="rounds")
    page.get_by_role("link", name="Set up a round of Harbour Club").click()
    look(name="round-plan-fresh")
    page.get_by_label("Title").fill("Spring round")
    page.get_by_label("Starts on").fill("2026-03-01")
    page.get_by_label("Results by").fill("2026-04-15")
    for number, (name, spool) in enumerate(playing.SPOOLS.items(), start=1):
        row = page.get_by_role("group", name=f"Spool {number}", exact=True)
        row.get_by_label("Line").select_option(name)
        row.get_by_label("Spool").fill(spool)
    for number, (join, tied, codes) in enumerate(SAMPLES, start=1):
        if number == SAMPLES_AT_ONCE + 1:
            page.get_by_text("More samples").click()
        row = page.get_by_role("group", name=f"Sample {number}", exact=True)
        row.locator("select[name$=connection]").select_option(label=join)
        row.get_by_label("Leader: spool").select_option("2")
        row.get_by_label("Tied", exact=False).first.select_option(tied)
        if codes > 1:
            row.get_by_text(f"More of sample {number}").click()
            row.get_by_label("Codes for each tester").fill(str(codes))
    look(name="round-plan")
    page.get_by_role("button", name="Set it up").click()
    expect(page.get_by_role("heading", name="Spring round")).to_be_visible()
    look(name="round-being-set-up")
    return Round.objects.get()


def enter(page: Page, made: Round) -> None:
    """A tester types the code, as it was read to them."""
    page.goto("/rounds/")
    page.get_by_label("Code of the round").fill(readable(made.entry_code).lower())
    page.get_by_role("button", name="Take part").click()
    expect(page.get_by_text("You take part.", exact=True)).to_be_visible()


def printed(page: Page, name: str) -> str:
    """What the page has on paper, where nothing that is pressed or searched is left."""
    screen = page.viewport_size
    page.set_viewport_size(PAPER)
    page.emulate_media(media="print")
    shown = page.inner_text("body")
    assert page.locator("nav:visible, form:visible, button:visible").count() == 0, name
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, name
    page.emulate_media(media="screen")
    page.set_viewport_size(screen)
    return shown


def send(person, made: Round, load_N: float) -> list[str]:
    """A tester's results, over the API; the codes that they sent."""
    client = client_of(person)
    codes = [one["code"] for one in client.get(f"/api/v1/rounds/{made.pk}/codes").json()]
    document = playing.session(codes, load_N=load_N)
    answer = client.post("/api/v1/sessions", document, format="json")
    assert (answer.status_code, answer.json()["state"]) == (201, "sealed")
    return codes


def codes_on_the_sheet(page: Page, made: Round) -> list[str]:
    """The codes that a tester's bench sheet has, as they are written there."""
    page.goto(f"/rounds/{made.pk}/sheet/")
    found = re.findall(r"\b[0-9A-Z]{4}-[0-9A-Z]{4}\b", page.inner_text("main"))
    return list(dict.fromkeys(found))


def send_a_file(page: Page, made: Round, load_N: float) -> list[str]:
    """A tester's results in a sheet with a column of codes, over the page for files."""
    codes = codes_on_the_sheet(page, made)
    document = playing.session(codes, load_N=load_N)
    rows = ["rig,revision,date,state,unit,kind,sample,main line,main spool,reading,failure mode"]
    first = ",".join(str(document[name]) for name in ("rig", "revision", "pulled_on", "state"))
    for kind, of in (("straight", "baselines"), ("joined", "pull_sets")):
        for each in document[of]:
            named = f"{each.get('sample', '')},{each.get('line', '')},{each.get('spool', '')}"
            for one in each["pulls"]:
                said = f"{first},N,{kind},{named},{one['reading']},{one['failure_mode']}"
                rows.append(said)
    page.goto("/bench/")
    page.get_by_role("link", name="Send a file").click()
    file = {"name": "round.csv", "mimeType": "text/csv", "buffer": "\n".join(rows).encode()}
    page.set_input_files("#file", file)
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#report")).to_contain_text("kept sealed until the close")
    looked_at = page.locator("#report input[type=checkbox]")
    if looked_at.count():
        looked_at.first.check()
    page.get_by_role("button", name="Seal it").click()
    page.wait_for_url(f"**/rounds/{made.pk}/")
    return [code.replace("-", "") for code in codes]


def send_at_the_rig(page: Page, made: Round, load_N: float) -> None:
    """A tester's results, each sample opened by its label's address, pull by pull."""
    codes = codes_on_the_sheet(page, made)
    document = playing.session(codes, load_N=load_N)
    for code in codes:
        page.goto(f"/rounds/codes/{code}/")
        expect(page.locator("#now")).to_contain_text(code)
    page.select_option("#at-rig", label="shed winch, revision 1")
    page.select_option("#at-unit", "N")
    page.fill("#at-day", document["pulled_on"])
    series = [(one["sample"], one, "at the join") for one in document["pull_sets"]]
    series += [(one["spool"], one, "in the line") for one in document["baselines"]]
    for name, one, ended in series:
        page.locator("#series").get_by_role("button", name=name).click()
        for each in one["pulls"]:
            pull(page, str(each["reading"]), ended)
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_contain_text("kept sealed until the close")
    page.get_by_role("button", name="Send the session").click()
    page.wait_for_url(f"**/rounds/{made.pk}/?sent=now")


def close(page: Page, look, here: str, late: Callable[[], object]) -> None:
    """The organiser sees who is missing, waits for them, and closes it."""
    look(here, name="round-nearly-all-sent")
    expect(page.get_by_role("cell", name="6 / 6")).to_have_count(7)
    assert not re.search(r"7[0-4]\.\d|percent", page.inner_text("main")), "a result is shown"
    page.get_by_role("link", name="Close the round").click()
    look(name="round-close")
    expect(page.get_by_text("tester 3: codes sent: 0 of 6")).to_be_visible()
    page.get_by_role("link", name="Not yet").click()
    late()
    page.get_by_role("link", name="Close the round").click()
    expect(page.get_by_text("codes sent: ")).to_have_count(0)
    page.get_by_role("button", name="Close it for good").click()
    said = "The round is closed, and its report is being computed."
    expect(page.get_by_text(said)).to_be_visible()


def test_a_club_lives_its_round_from_the_plan_to_the_reports(people, page, look, as_one):
    organiser, low, other, *_ = people
    as_one(organiser)
    made = set_up(page, look)
    for person in people:
        as_one(person)
        enter(page, made)
    here = f"/rounds/{made.pk}/"

    as_one(organiser)
    page.goto(here)
    page.get_by_role("button", name="Open it and draw the codes").click()
    look(name="round-open")
    page.get_by_role("button", name="Show labels and packing list").click()
    expect(page.get_by_role("listitem").filter(has_text="Loaded line hurts")).to_have_count(48)
    look(name="round-labels")
    assert printed(page, "labels").count("Loaded line hurts") >= 48

    as_one(low)
    look(here, name="round-of-a-tester")
    expect(page.get_by_text("hidden until the close")).to_have_count(4)
    page.get_by_role("link", name="Print your bench sheet").click()
    look(name="round-sheet")
    sheet = printed(page, "sheet")

    sent = {person: send(person, made, LIKE_OTHERS_N + place / 10)
            for place, person in enumerate(people) if person not in (low, other)}  # fmt: skip
    as_one(low)
    sent[low] = send_a_file(page, made, LOW_N)
    assert len(sent[low]) == 6
    assert all(readable(code) in sheet for code in sent[low])
    look(here, name="round-sent")
    expect(page.get_by_role("cell", name="sent", exact=True)).to_have_count(6)
    assert not [code for code in sent[organiser] if code in page.inner_text("body")]

    def late() -> None:
        as_one(other)
        send_at_the_rig(page, made, LIKE_OTHERS_N + 0.25)
        as_one(organiser)
        page.goto(here)

    as_one(organiser)
    close(page, look, here, late)
    make_round_reports()
    read_reports(page, look, as_one, people, here)


def read_reports(page: Page, look, as_one, people, here: str) -> None:
    """The club's report as a tester and as a stranger, and the reports of two testers."""
    organiser, low, other = people[:3]
    as_one(organiser)
    look(here, name="round-closed")
    page.get_by_role("link", name="Report for the club").click()
    look(name="round-report")
    report = printed(page, "report")
    assert "8 of 8 testers sent 240 pulls" in " ".join(report.split())
    assert all(person.handle in report for person in people)
    page.context.clear_cookies()
    look(f"{here}report/", name="round-report-of-a-stranger")
    shown = page.inner_text("main")
    assert "8 of 8 testers sent 240 pulls" in " ".join(shown.split())
    assert not [person.handle for person in people[1:] if person.handle in shown]

    as_one(low)
    look(f"{here}report/mine/", name="round-own-report")
    expect(page.get_by_text(re.compile(r"Your rig reads \d+\.\d percent low\."))).to_be_visible()
    expect(page.get_by_text("Your tying is like the others'")).to_be_visible()
    as_one(other)
    look(f"{here}report/mine/", name="round-own-report-of-another")
    expect(page.get_by_text("Your rig reads like the others'")).to_be_visible()
