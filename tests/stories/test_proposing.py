"""A session names what the catalogue lacks: it is proposed from there, and the session waits."""

import copy
import json

import pytest

from results.catalogue.proposals import Decision, resolve
from results.intake.proposing import propose_and_wait
from results.models import Connection, Notice, Proposal, PullSet, Session, WaitingSession
from results.notices import address_of
from rigs.models import Line
from rigs.refusals import Conflict, Forbidden, Invalid
from tests import making
from tests.intake.conftest import RIGHT, bench, sheet
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.pages.test_upload_page import check

__all__ = ["bench"]
JSON = "application/json"
WAITING = "/api/v1/sessions/waiting"
DESK = "/admin/results/proposal/{}/change/"
State = Proposal.State


def unknown(**changed) -> dict:
    """The session that is right, but for names that the catalogue lacks."""
    said = copy.deepcopy(RIGHT)
    said["pull_sets"][0] |= changed
    return said


@pytest.fixture
def at_home(owner, bench):
    return browser(owner)


@pytest.fixture
def at_desk(moderator):
    return browser(moderator)


@pytest.fixture
def wait(as_owner, bench):
    """Sends a session to wait, and returns it."""

    def send(said: dict) -> WaitingSession:
        answer = as_owner.post(WAITING, said, format="json")
        assert answer.status_code == 202, answer.json()
        return WaitingSession.objects.get(pk=answer.json()["key"])

    return send


def test_a_new_join_is_proposed_on_the_upload_page_and_its_session_goes_on_by_itself(
    at_home, at_desk, owner
):
    answer = check(at_home, sheet().replace("Double uni", "Marsh hitch"))
    page = Page(answer)
    assert answer.status_code == 422
    assert "Join Marsh hitch" in page.text
    [form] = [each for each in page.all("form") if each.get("action", "").endswith("/propose/")]
    sent = {"name": ["Marsh hitch"], "note": ["Six turns, like a uni without the loop."]}
    there = at_home.post(form["action"], sent).headers["Location"]
    assert "Your session waits for the catalogue" in Page(at_home.get(there)).text
    assert "Marsh hitch" in Page(at_home.get("/bench/")).text
    assert not Session.objects.exists()
    assert "1 proposals" in Page(at_desk.get("/bench/")).text

    proposal = Proposal.objects.get()
    shown = Page(at_desk.get(DESK.format(proposal.pk))).text
    assert "Six turns, like a uni without the loop." in shown
    assert "1 session waits for it" in shown
    lacking = {"decision": "new", "name": "Marsh hitch", "kind": "", "answer": ""}
    assert "Needed for a new one" in Page(at_desk.post(DESK.format(proposal.pk), lacking)).text
    decided = lacking | {"kind": "line to line"}
    # the sheet says how the join was tied, and the new join has no such parameter yet
    assert at_desk.post(DESK.format(proposal.pk), decided).status_code == 302
    assert Connection.objects.get(name="Marsh hitch").accepted
    [notice] = Notice.objects.filter(to=owner)
    assert address_of(notice) == there
    assert f'href="{there}"' in at_home.get("/bench/").content.decode()
    assert at_home.get(there).status_code == 200


def test_a_session_without_anything_else_to_correct_is_stored_once_its_join_is_there(
    wait, at_desk, at_home, owner
):
    waiting = wait(unknown(connection="Marsh hitch", parameters={}))
    proposal = Proposal.objects.get()
    decided = {"decision": "new", "name": "Marsh hitch", "kind": "line to line", "answer": ""}
    at_desk.post(DESK.format(proposal.pk), decided)
    waiting.refresh_from_db()
    assert waiting.state == "stored"
    assert PullSet.objects.get(session=waiting.session).connection.name == "Marsh hitch"
    assert waiting.session.jobs.exists()
    assert "is in the catalogue now" in Notice.objects.get(to=owner).text
    assert "It waited, and is stored" in Page(at_home.get(f"/upload/waiting/{waiting.pk}/")).text


def test_a_name_that_means_something_known_is_mapped_and_known_from_then_on(
    wait, moderator, as_owner
):
    waiting = wait(unknown(connection="Uni uni", leader={"line": "Dick 20", "spool": "B"}))
    join, line = Proposal.objects.get(kind="join"), Proposal.objects.get(kind="line")
    mapped = Decision(State.MAPPED, "", Connection.objects.get(name="Double uni"))
    assert resolve(moderator.user, join, mapped) == []
    waiting.refresh_from_db()
    assert waiting.state == "waiting"
    thick = Decision(State.MAPPED, "It is this one.", Line.objects.get(name="thick"))
    resolve(moderator.user, line, thick)
    waiting.refresh_from_db()
    assert waiting.state == "stored"
    [pull_set] = PullSet.objects.all()
    assert (pull_set.connection.name, pull_set.leader_line.name) == ("Double uni", "thick")
    again = unknown(connection="uni UNI", leader={"line": "dick 20", "spool": "B"})
    again["pulled_on"] = "2026-01-11"
    assert as_owner.post("/api/v1/sessions", again, format="json").status_code == 202


def test_a_parameter_is_proposed_of_its_join_and_mapped_or_added(wait, at_desk, as_owner):
    waiting = wait(unknown(parameters={"wraps": 6, "wax": True}))
    wraps, wax = Proposal.objects.get(name="wraps"), Proposal.objects.get(name="wax")
    uni = Connection.objects.get(name="Double uni")
    assert {wraps.connection, wax.connection} == {uni}
    turns = uni.parameters.get(name="turns_main")
    mapped = {"decision": "meant", "meant": turns.pk, "name": "wraps", "answer": ""}
    assert at_desk.post(DESK.format(wraps.pk), mapped).status_code == 302
    new = {"decision": "new", "name": "wax", "type": "yes or no", "answer": ""}
    assert at_desk.post(DESK.format(wax.pk), new).status_code == 302
    waiting.refresh_from_db()
    assert (waiting.state, waiting.problem) == ("stored", "")
    assert PullSet.objects.get().parameters == {"turns_main": 6, "wax": True}


def test_what_is_declined_stops_its_session_with_the_reason(wait, at_desk, at_home, owner):
    waiting = wait(unknown(connection="Nonsense"))
    proposal = Proposal.objects.get()
    declined = {"decision": "no", "name": "Nonsense", "answer": ""}
    assert "Say why it is declined" in Page(at_desk.post(DESK.format(proposal.pk), declined)).text
    declined["answer"] = "I can't tell which join this is."
    assert at_desk.post(DESK.format(proposal.pk), declined).status_code == 302
    page = Page(at_home.get(f"/upload/waiting/{waiting.pk}/")).text
    assert "It can't be stored as it is" in page
    assert "I can't tell which join this is." in page
    assert "'Nonsense'" in page
    at_home.post(f"/upload/waiting/{waiting.pk}/delete/")
    assert not WaitingSession.objects.exists()
    assert at_home.get(address_of(Notice.objects.get(to=owner))).status_code == 200


def test_a_refusal_says_where_the_same_can_wait_only_if_nothing_else_is_wrong(as_owner, bench):
    lacking = as_owner.post("/api/v1/sessions", unknown(connection="Marsh hitch"), format="json")
    assert lacking.status_code == 422
    assert lacking.json()["wait_at"] == WAITING
    wrong = unknown(connection="Marsh hitch", discarded_ties=-1)
    refused = as_owner.post("/api/v1/sessions", wrong, format="json").json()
    assert "wait_at" not in refused
    assert as_owner.post(WAITING, wrong, format="json").status_code == 422
    assert as_owner.post(WAITING, RIGHT, format="json").status_code == 409
    assert not Proposal.objects.exists()


def test_the_same_is_kept_once_and_the_same_name_of_two_testers_is_decided_once(
    wait, as_other, other, moderator
):
    first, second = (wait(unknown(connection="Marsh hitch")) for _ in range(2))
    assert first == second
    theirs = Proposal.objects.create(contributor=other, kind="join", name="marsh HITCH")
    entry = Connection(name="Marsh hitch", kind="line to line")
    proposal = Proposal.objects.exclude(pk=theirs.pk).get()
    resolve(moderator.user, proposal, Decision(State.ACCEPTED, "", entry))
    theirs.refresh_from_db()
    assert (theirs.state, theirs.became) == ("accepted", entry)
    with pytest.raises(Conflict):
        resolve(moderator.user, proposal, Decision(State.ACCEPTED, "", entry))


def test_all_that_was_said_of_a_name_and_each_session_that_needs_it_are_on_its_page(
    wait, at_home, at_desk, other, owner, bench
):
    """From the rig first, which says nothing of it; then on the page; and by another tester."""
    first = wait(unknown(connection="Marsh hitch"))
    for said in ("Six turns.", "Six turns.", "The tag end goes back through."):
        again = unknown(connection="Marsh hitch")
        again["note"] = said
        propose_and_wait(owner, "", json.dumps(again).encode(), JSON, {"Marsh hitch": said})
    making.calibrate(making.revision_of(other), gain=1.0, offset_N=0.0)
    theirs = unknown(connection="marsh HITCH") | {"rig": "shed winch"}
    body = json.dumps(theirs).encode()
    propose_and_wait(other, "evening.json", body, JSON, {"marsh HITCH": "As at the club."})
    for proposal in Proposal.objects.filter(kind="join"):
        page = at_desk.get(DESK.format(proposal.pk)).content.decode()
        for said in ("Six turns.", "The tag end goes back through.", "As at the club."):
            assert page.count(said) == 1
        for session in WaitingSession.objects.all():
            assert f'href="/upload/waiting/{session.pk}/"' in page
    there = f"/upload/waiting/{first.pk}/"
    read = at_desk.get(there)
    assert "owner" in Page(read).text
    assert "take-back" not in read.content.decode()
    assert "Delete it" not in Page(read).text
    assert browser(other).get(there).status_code == 404
    assert at_desk.post(f"{there}delete/").status_code == 404


def test_only_moderators_decide_and_each_sees_their_own_sessions(wait, as_other, other, bench):
    waiting = wait(unknown(connection="Marsh hitch"))
    assert as_other.get(WAITING).json()["results"] == []
    assert browser(other).get(f"/upload/waiting/{waiting.pk}/").status_code == 404
    proposal = Proposal.objects.get()
    assert browser(other).get(DESK.format(proposal.pk)).status_code in (302, 403)
    with pytest.raises(Forbidden):
        resolve(other.user, proposal, Decision(State.DECLINED, "No."))


def test_mapping_takes_an_entry_of_its_kind(wait, moderator):
    wait(unknown(connection="Marsh hitch"))
    line = Line.objects.get(name="thin")
    for decision in (Decision(State.MAPPED, ""), Decision(State.MAPPED, "", line)):
        with pytest.raises(Invalid):
            resolve(moderator.user, Proposal.objects.get(), decision)


def corrected(as_owner) -> tuple[Session, dict]:
    """A session that is stored, and a correction of it that names a join the catalogue lacks."""
    stored = as_owner.post("/api/v1/sessions", RIGHT, format="json")
    assert stored.status_code == 202
    return Session.objects.get(), unknown(connection="Marsh hitch", parameters={})


def test_a_correction_waits_as_a_first_upload_does_and_takes_the_sessions_place(
    as_owner, moderator, bench
):
    session, correction = corrected(as_owner)
    versions = f"/api/v1/sessions/{session.pk}/versions?reason=another+join"
    refused = as_owner.post(versions, correction, format="json")
    assert refused.status_code == 422
    kept = as_owner.post(refused.json()["wait_at"], correction, format="json")
    assert kept.status_code == 202
    assert kept.json()["replaces"].endswith(f"/sessions/{session.pk}")
    assert kept.json()["reason"] == "another join"
    session.refresh_from_db()
    assert session.standing == "current"

    entry = Connection(name="Marsh hitch", kind="line to line")
    [waiting] = resolve(moderator.user, Proposal.objects.get(), Decision(State.ACCEPTED, "", entry))
    assert (waiting.state, waiting.problem) == ("stored", "")
    assert (waiting.session.replaces, waiting.session.version) == (session, 2)
    session.refresh_from_db()
    assert (session.standing, session.standing_reason) == ("replaced", "another join")


def test_a_correction_on_the_page_is_offered_to_wait_and_asks_what_was_wrong(
    at_home, as_owner, moderator
):
    session, correction = corrected(as_owner)
    page = Page(check(at_home, json.dumps(correction), "day.json", replaces=session.pk))
    [form] = [each for each in page.all("form") if each.get("action", "").endswith("/propose/")]
    sent = {"name": ["Marsh hitch"], "note": [""], "replaces": session.pk}
    assert "A reason is needed" in Page(at_home.post(form["action"], sent)).text
    there = at_home.post(form["action"], sent | {"reason": "another join"}).headers["Location"]
    assert f"session {session.pk} , which counts until then" in Page(at_home.get(there)).text
    as_owner.post(f"/api/v1/sessions/{session.pk}/withdrawal", {"reason": "a bad scale"})
    declined = Decision(State.DECLINED, "It is a Double uni.")
    [waiting] = resolve(moderator.user, Proposal.objects.get(), declined)
    assert waiting.state == "stopped"
    assert at_home.get(there).status_code == 200


def test_a_correction_of_what_is_not_ones_own_or_not_there_does_not_wait(as_owner, as_other, bench):
    session, correction = corrected(as_owner)
    for number, status in ((session.pk, 403), (session.pk + 1, 422), ("x", 422)):
        answer = as_other.post(f"{WAITING}?replaces={number}&reason=no", correction, format="json")
        assert answer.status_code == status
    without_reason = as_owner.post(f"{WAITING}?replaces={session.pk}", correction, format="json")
    assert without_reason.status_code == 422
    assert not WaitingSession.objects.exists()


def test_bytes_of_a_waiting_session_are_what_was_sent(wait):
    said = unknown(connection="Marsh hitch")
    assert json.loads(bytes(wait(said).body)) == said
