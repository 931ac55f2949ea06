"""A new version of a round's report says whose scores moved, to those in the round alone."""

import json

import pytest
from django.test import Client

from results.intake import receive
from results.models import Notice, Session, Upload
from results.rounds import selectors
from results.rounds.closing import close
from results.worker.round_reports import make_round_reports, renew_round_reports
from tests import playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import client_of

pytestmark = pytest.mark.usefixtures("planted_past")


@pytest.fixture
def testers(db):
    found = [playing.member(f"ringer {number}") for number in range(1, 5)]
    for tester in found:
        playing.lent_rig(tester)
    return found


@pytest.fixture
def renewed(testers):
    """A round with two versions of its report: the first tester had misread every pull."""
    organiser = playing.member("organiser")
    made, entered = playing.opened(organiser, testers)
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=78.0 + 1.5 * number)
    close(organiser, made)
    make_round_reports()
    session = Session.objects.get(contributor=testers[0])
    upload = json.loads(bytes(Upload.objects.get(session=session).body))
    for pull_set in upload["pull_sets"]:
        for pull in pull_set["pulls"]:
            pull["reading"] += 6.0
    body = json.dumps(upload).encode()
    receive(testers[0], body, "application/json", None, replaces=session, reason="misread")
    renew_round_reports()
    made.refresh_from_db()
    return made


def scores(client, made, version: int) -> dict[tuple[str, int], float]:
    """Handle and sample to the score that decides, as a reader of the whole report finds them."""
    found = client.get(f"/api/v1/rounds/{made.pk}/report?version={version}").json()
    handles = {one["participant"]: one["handle"] for one in found["participants"]}
    return {
        (handles[one["participant"]], sample["sample"]): one[one["used"]]
        for sample in found["report"]["samples"]
        for one in sample["scores"]
    }


def test_those_in_the_round_read_of_each_score_that_moved_from_what_to_what(renewed, testers):
    client = client_of(testers[1])
    was, now = scores(client, renewed, 1), scores(client, renewed, 2)
    found = client.get(f"/api/v1/rounds/{renewed.pk}/report").json()
    handles = {one["participant"]: one["handle"] for one in found["participants"]}
    said = {
        (handles[one["participant"]], one["sample"]): (one["was"], one["is"])
        for one in found["changes"]
        if one["what"] == "score"
    }
    moved = {key for key in was if f"{was[key]:.2f}" != f"{now[key]:.2f}"}
    assert said == {key: (was[key], now[key]) for key in said}
    assert moved <= set(said)
    assert {handle for handle, _ in moved} == {tester.handle for tester in testers}
    page = Page(browser(testers[1]).get(f"/rounds/{renewed.pk}/report/")).text
    own = Page(browser(testers[2]).get(f"/rounds/{renewed.pk}/report/mine/")).text
    for handle, sample in moved:
        at = f"{handle}: sample {sample} from {was[handle, sample]:.2f}".replace("-", "−")
        assert at in page.replace("-", "−")
        if handle == testers[2].handle:
            assert at.partition(": ")[2] in own.replace("-", "−")


def test_each_participants_notice_has_their_own_scores_and_nobody_elses(renewed, testers):
    client = client_of(testers[0])
    was, now = scores(client, renewed, 1), scores(client, renewed, 2)
    for tester in testers:
        [text] = Notice.objects.filter(to=tester, text__contains="new version, 2").values_list(
            "text", flat=True
        )
        for (handle, sample), value in now.items():
            moved = f"sample {sample} from {was[handle, sample]:.2f} to {value:.2f}"
            assert (moved in text) == (handle == tester.handle), (tester, handle)


def test_nobody_else_reads_of_a_score(renewed):
    """What is public of a change is named member by member, and of a score none is."""
    guest = Client()
    found = guest.get(f"/api/v1/rounds/{renewed.pk}/report").json()
    assert {one["what"] for one in found["changes"]} == {"corrected", "value"}
    allowed = {"what", "sample", "spool", "was_N", "is_N"}
    assert set().union(*found["changes"]) <= allowed
    assert "score" not in Page(guest.get(f"/rounds/{renewed.pk}/report/")).text.lower().replace(
        "scores go by", ""
    )
    whole = selectors.latest_report(renewed).changes
    assert any(one["what"] == "score" for one in whole)  # there is something to be hidden
