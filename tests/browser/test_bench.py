"""Pages of whoever is signed in, in a browser: account, upload, bench, and at the rig offline."""

import json

import pytest
from django.conf import settings
from playwright.sync_api import expect

from deploy.tools.processes import TIMEOUT_S
from results.models import Session, Upload, WaitingUpload
from results.worker.embedded import drain
from rigs.models import Contributor
from tests import making
from tests.api.leagues import league_of
from tests.intake.conftest import bench, sheet
from tests.pages.test_accounts import PASSWORD
from tests.pages.test_rig_pages import browser as client_of

__all__ = ["bench"]


@pytest.fixture
def as_person(page, live_server):
    """Carry the session of a person into the browser."""

    def as_person(person: Contributor):
        name = settings.SESSION_COOKIE_NAME
        value = client_of(person).cookies[name].value
        page.context.add_cookies([{"name": name, "value": value, "url": live_server.url}])
        return page

    return as_person


@pytest.fixture
def at_the_rig(owner, bench, as_person):
    return set_up(as_person(owner))


def set_up(page):
    """The page at the rig with the rig and a straight line chosen."""
    page.goto("/at-the-rig/")
    page.select_option("#at-rig", label="shed winch, revision 1")
    page.select_option("#at-unit", "lbf")
    page.fill("#at-day", "2026-01-10")
    page.click("#add-straight summary")
    page.fill("#s-line", "thin")
    page.click("#add-straight button")
    return page


def pull(page, reading: str, ended: str):
    page.fill("#reading", reading)
    page.locator(".modes-pad").get_by_role("button", name=ended, exact=True).click()


def add_a_join(page):
    page.click("#add-join summary")
    for field, text in [("join", "Double uni"), ("main", "thin"), ("leader", "thick")]:
        page.fill(f"#j-{field}", text)
    page.click("#add-join button")


def test_joining_and_leaving_by_the_pages(transactional_db, page, look):
    look("/sign-up/")
    page.fill("#id_handle", "Sandgrain")
    page.fill("#id_username", "grain")
    page.fill("#id_password1", PASSWORD)
    page.fill("#id_password2", PASSWORD)
    page.check("#id_agreed")
    page.get_by_role("button", name="Create the account").click()
    expect(page.get_by_role("heading", name="My bench")).to_be_visible()
    look(name="bench of a newcomer")
    for address in ("/account/", "/account/second-factor/", "/account/password/"):
        look(address)
    look("/account/close/")
    page.get_by_label("stay and continue to count").check()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Close it permanently").click()
    expect(page.get_by_text("Your account is closed.")).to_be_visible()
    look("/sign-in/")
    assert Contributor.objects.get().handle.startswith("former contributor")


def test_a_file_is_checked_stored_and_followed_until_it_is_worked_out(
    transactional_db, owner, bench, as_person, look
):
    page = as_person(owner)
    look("/upload/")
    wrong = sheet().replace("21.0,line", "21.0,snapped")
    for name, text in (("wrong", wrong), ("right", sheet())):
        file = {"name": f"{name}.csv", "mimeType": "text/csv", "buffer": text.encode()}
        page.set_input_files("#file", file)
        page.get_by_role("button", name="Check it").click()
        expect(page.locator("#report")).to_contain_text(f"{name}.csv")
        look(name="upload checked" if name == "right" else "upload with mistakes")
    page.get_by_role("button", name="Store it").click()
    expect(page.get_by_text("waiting to be processed")).to_be_visible()
    look(name="job waiting")
    drain()
    expect(page.get_by_text("Processed", exact=True)).to_be_visible(timeout=1000 * TIMEOUT_S)
    look(name="job done")


MISTAKES = (
    ("2", "date", "2026-01-10", "10.13.2026"),
    ("3", "failure mode", "21.0,line", "21.0,snapped"),
    ("4", "reading", "20.2,line", "-20.2,line"),
    ("5", "reading", "19.1,grip", "19..1,grip"),
    ("7", "reading", "16,join", "sixteen,join"),
    ("8", "failure mode", "15.5,slip", "15.5,"),
)
"""Row and column of a mistake, what is right there and what was written."""


def test_a_file_with_many_mistakes_has_all_of_them_told_at_once_and_nothing_stored(
    transactional_db, owner, bench, as_person, look
):
    """Story 8."""
    page = as_person(owner)
    page.goto("/bench/")
    page.get_by_role("link", name="Send a file").click()
    lines = sheet().splitlines()
    for row, _column, right, wrong in MISTAKES:
        assert right in lines[int(row) - 1]
        lines[int(row) - 1] = lines[int(row) - 1].replace(right, wrong, 1)

    def check(text: str) -> None:
        sent = {"name": "day.csv", "mimeType": "text/csv", "buffer": text.encode()}
        page.set_input_files("#file", sent)
        page.get_by_role("button", name="Check it").click()

    check("\n".join(lines))
    expect(page.get_by_text("day.csv can't be stored yet")).to_be_visible()
    said = page.locator("ol.findings li").all_inner_texts()
    assert [each.split(":")[0] for each in said] == [
        f"row {row}, {column}" for row, column, _right, _wrong in MISTAKES
    ]
    expect(page.locator("table.marked tr.wrong")).to_have_count(len(MISTAKES))
    for cell in page.locator("table.marked td.wrong").all():
        place = cell.bounding_box()
        assert place["x"] >= 0
        assert place["x"] + place["width"] <= page.viewport_size["width"]
    look(name="upload with many mistakes")
    expect(page.get_by_role("button", name="Store it")).to_have_count(0)
    for table in (Session, Upload, WaitingUpload):
        assert not table.objects.exists()

    check(sheet())
    expect(page.get_by_text("day.csv can be stored")).to_be_visible()


def test_a_dropped_file_is_checked_at_once(transactional_db, owner, bench, as_person):
    page = as_person(owner)
    page.goto("/upload/")
    page.evaluate(
        """(text) => {
          const dropped = new DataTransfer();
          dropped.items.add(new File([text], "dropped.csv", { type: "text/csv" }));
          const settings = { dataTransfer: dropped, bubbles: true, cancelable: true };
          const drop = new DragEvent("drop", settings);
          document.querySelector(".drop").dispatchEvent(drop);
        }""",
        sheet(),
    )
    expect(page.locator("#report")).to_contain_text("dropped.csv can be stored")


def test_pulls_are_counted_as_they_are_entered_and_a_slip_of_the_thumb_taken_back(at_the_rig, look):
    page = at_the_rig
    pull(page, "999999", "in the line")
    expect(page.locator("#wild")).to_contain_text("the most that your rig can read")
    page.click("#wild-correct")
    pull(page, "20.5", "in the line")
    expect(page.locator("#figures")).to_have_text("1 pull · mean 20.5 lbf")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_have_text("Still missing: pulls of a join.")
    for reading in ("21,0", "20.0"):
        pull(page, reading, "in the line")
    expect(page.locator("#figures")).to_have_text("3 pulls · mean 20.5 lbf · scatter 2.4%")
    pull(page, "2050", "at a grip")
    expect(page.locator("#pulls li")).to_have_count(3)
    page.get_by_role("button", name="It is right: keep it").click()
    expect(page.locator("#figures")).to_contain_text("3 pulls")
    page.get_by_role("button", name="Remove pull 4").click()
    expect(page.locator("#pulls li")).to_have_count(3)
    pull(page, "a lot", "in the line")
    expect(page.locator("#reading-error")).to_be_visible()
    add_a_join(page)
    for reading in ("15.5", "16.5"):
        pull(page, reading, "at the join")
    expect(page.locator("#figures")).to_contain_text("78% of straight line")
    look(name="at the rig")


def test_whatever_is_typed_at_the_rig_is_in_what_is_sent(at_the_rig):
    page = at_the_rig
    typed = []
    for form in ("#add-straight", "#add-join"):
        if not page.locator(f"{form} form").is_visible():
            page.click(f"{form} summary")
        for field in page.locator(f"{form} input:not([type=checkbox])").all():
            typed.append(f"typed {len(typed)} so")
            field.fill(typed[-1])
        page.click(f"{form} form button:not([type])")
        while page.locator(f"{form} .near").is_visible():
            page.locator(f"{form} .near").get_by_role("button", name="It is new").click()
        typed.append(str(7 + len(typed)))
        pull(page, typed[-1], "at a grip")
    page.click("#add-join summary")
    page.fill("#j-leader", "")  # its spool stays, and goes to be asked about
    page.click("#add-join form button:not([type])")
    pull(page, "8", "at a grip")
    sent = page.evaluate("document_()")
    assert [each for each in typed if each not in json.dumps(sent)] == []
    assert typed[-4] in json.dumps(sent["pull_sets"][1])

    page.fill("#reading", "9")
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_contain_text("typed but not saved")


def test_a_line_the_catalogue_lacks_is_asked_about_when_it_is_entered_and_can_be_renamed(
    at_the_rig, look
):
    page = at_the_rig
    page.click("#add-straight summary")
    for wrong in ("thinn", "20 lb mono"):
        page.fill("#s-line", wrong)
        page.fill("#s-spool", wrong[:2])
        page.click("#add-straight form button:not([type])")
        expect(page.locator("#add-straight .near")).to_contain_text(f"no line {wrong}")
    look(name="an unknown line at the rig")
    expect(page.locator("#series button")).to_have_count(1)
    page.get_by_role("button", name="It is new: keep it").click()
    expect(page.locator("#now")).to_contain_text("20 lb mono")
    page.click("#add-join summary")
    for field, text in [("join", "Double uni"), ("main", "20 lb mono"), ("leader", "thick")]:
        page.fill(f"#j-{field}", text)
    page.click("#add-join form button:not([type])")  # taken as new once, it is not asked again
    expect(page.locator("#now")).to_contain_text("20 lb mono")

    page.get_by_role("button", name="Change what it is").click()
    page.fill("#j-main", "thicc")
    page.click("#add-join form button:not([type])")
    page.locator("#add-join .near").get_by_role("button", name="thick").click()
    expect(page.locator("#now")).to_have_text("Double uni: thick – thick")
    expect(page.locator("#series button")).to_have_text(
        [
            "thin, straight, before (0)",
            "thick, 20, straight, before (0)",
            "Double uni: thick – thick (0)",
        ]
    )


def test_a_straight_line_that_has_moved_is_warned_of(at_the_rig, look):
    page = at_the_rig
    for reading in ("20.5", "21.0", "20.2"):
        pull(page, reading, "in the line")
    page.click("#add-straight summary")
    page.select_option("#s-position", "after")
    page.click("#add-straight button")
    for reading in ("20.4", "20.6"):
        pull(page, reading, "in the line")
    expect(page.locator("#warning")).to_be_hidden()
    for reading in ("17.0", "17.2", "16.8", "17.1", "17.0"):
        pull(page, reading, "in the line")
    expect(page.locator("#warning")).to_contain_text("Straight line has shifted")
    look(name="at the rig, moved")


def test_it_goes_on_without_a_network_and_sends_one_session_at_the_end(at_the_rig, look):
    page = at_the_rig
    page.wait_for_selector("#rig[data-kept=yes]")
    page.context.set_offline(True)
    page.reload()
    expect(page.locator("#network")).to_contain_text("No network")
    for reading in ("20.5", "21.0", "20.2", "20.8"):
        pull(page, reading, "in the line")
    add_a_join(page)
    for reading, ended in (
        ("15.2", "at the join"),
        ("16.0", "slipped"),
        ("15.5", "in the main line"),
    ):
        pull(page, reading, ended)
    page.get_by_role("button", name="Discard a tie before pulling").click()
    page.get_by_role("button", name="Send the session").click()
    expect(page.locator("#outcome")).to_contain_text("The session stays on this phone")
    assert not Session.objects.exists()
    page.reload()
    expect(page.locator("#pulls li")).to_have_count(3)
    page.context.set_offline(False)
    page.complaints.clear()
    page.get_by_role("button", name="Check it").click()
    expect(page.locator("#outcome")).to_contain_text("Checked: ready to be stored.")
    look(name="at the rig, checked")
    page.get_by_role("button", name="Send the session").click()
    page.wait_for_url("**/jobs/*/")
    session = Session.objects.get()
    [pull_set] = session.pull_sets.all()
    assert pull_set.discarded_ties == 1
    answer = [
        (each.reading_written, each.failure_mode, each.place) for each in pull_set.pulls.all()
    ]
    assert answer == [("15.2", "join", ""), ("16.0", "slip", ""), ("15.5", "line", "main")]
    assert json.loads(page.evaluate("localStorage.getItem('samespool.at-the-rig')"))["series"] == []


def test_my_tying_and_my_bench_can_be_read_by_everyone(transactional_db, as_person, look):
    league_of({"Blood": 86.0, "Surgeon's": 55.0}, testers=4)
    tester = Contributor.objects.get(handle="tester 0")
    making.revision_of(tester, name="not calibrated yet")
    as_person(tester)
    for address in ("/bench/", "/bench/tying/", "/at-the-rig/"):
        look(address)
