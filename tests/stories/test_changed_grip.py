"""I changed the grip: a new revision, whose pulls no baseline of the old one can normalise."""

import pytest
from django.test import Client

from results.models import PullSet
from tests import making
from tests.stories.bench import STRAIGHT_N, refusals, register, send, session

pytestmark = pytest.mark.django_db

CHANGE = {
    "made_on": "2026-01-12",
    "what_changed": "rubber tape in place of cork on both bollards",
    "why": "braid slid on the cork",
    "grip_cover": "rubber tape",
}


@pytest.fixture
def rig(as_owner, drain) -> dict:
    """A rig with one session on its first revision."""
    making.line("thin"), making.line("thick", label_N=180), making.connection()
    rig = register(as_owner)
    send(as_owner, session())
    drain()
    return rig


@pytest.fixture
def changed(rig, as_owner) -> dict:
    answer = as_owner.post(f"/api/v1/rigs/{rig['id']}/revisions", CHANGE, format="json")
    assert answer.status_code == 201, answer.json()
    return rig


def bridge_of(client, rig: dict) -> dict:
    [bridge] = client.get(f"/api/v1/rigs/{rig['id']}/bridges").json()
    return bridge


def figures_of(label: str) -> dict:
    return PullSet.objects.get(label=label).normalised


def test_the_history_of_the_rig_reads_as_a_story_to_its_owner(changed, as_owner, as_stranger):
    for revision in as_stranger.get(f"/api/v1/rigs/{changed['id']}").json()["revisions"]:
        assert {"grip_cover", "what_changed", "why"}.isdisjoint(revision)
    first, second = as_owner.get(f"/api/v1/rigs/{changed['id']}").json()["revisions"]
    assert (first["number"], first["grip_cover"]) == (1, "cork tape")
    assert (second["number"], second["grip_cover"]) == (2, "rubber tape")
    assert (second["what_changed"], second["why"]) == (CHANGE["what_changed"], CHANGE["why"])


def test_a_baseline_of_the_old_grip_can_not_normalise_new_pulls_and_the_refusal_says_why(
    changed, as_owner
):
    [finding] = refusals(as_owner, session(3, straight_N=(), revision=2))
    assert (finding["row"], finding["field"]) == ("pull_sets[0]", "baselines")
    assert "no straight-line pulls of thin" in finding["found"]
    assert "on revision 2 of shed winch" in finding["expected"]
    assert (
        "the one of 2026-01-10 can't be borrowed: pulled on another revision of the rig"
        in finding["expected"]
    )


def test_on_the_same_grip_it_may_be_borrowed_within_thirty_days_and_this_is_said(
    rig, as_owner, drain
):
    send(as_owner, session(12, straight_N=()))
    drain()
    own, borrowed = figures_of("blood, day 0"), figures_of("blood, day 12")
    assert borrowed.efficiency == pytest.approx(own.efficiency)
    assert borrowed.baseline == own.baseline
    assert any("was borrowed from session" in note for note in borrowed.notes)
    assert not any("borrowed" in note for note in own.notes)
    page = Client().get(f"/pull-sets/{borrowed.pk}/").content.decode()
    assert "Straight line borrowed from 10 Jan 2026" in page


def test_the_receipt_says_whose_straight_line_is_borrowed(rig, as_owner):
    document = session(12, straight_N=())
    of_the_day = as_owner.post("/api/v1/sessions", session(1), format="json").json()
    checked = as_owner.post("/api/v1/sessions?dry_run=true", document, format="json").json()
    receipt = as_owner.post("/api/v1/sessions", document, format="json").json()
    [warning] = receipt["warnings"]
    assert [warning] == checked["warnings"]
    assert not any(each["field"] == "baselines" for each in of_the_day["warnings"])
    assert (warning["row"], warning["field"]) == ("pull_sets[0]", "baselines")
    assert warning["found"].startswith("no straight line of thin")
    assert warning["found"].endswith("of 2026-01-11, is borrowed")


def test_a_dry_run_borrows_too(rig, as_owner):
    document = session(12, straight_N=())
    answer = as_owner.post("/api/v1/sessions?dry_run=true", document, format="json").json()
    [pull_set] = answer["sets"]
    assert pull_set["efficiency"] == pytest.approx(0.80, abs=0.005)
    assert any("borrowed" in note for note in pull_set["notes"])


@pytest.mark.parametrize(
    ("wanted", "why"),
    [
        (session(31, straight_N=()), "pulled 31 days away, expected at most 30"),
        (session(3, straight_N=(), state="soaked"), "pulled in another state"),
    ],
    ids=["another month", "another state"],
)
def test_what_can_not_be_borrowed_is_reported_with_its_reason(rig, as_owner, wanted, why):
    [finding] = refusals(as_owner, wanted)
    assert why in finding["expected"]


def test_another_spool_lends_nothing(rig, as_owner):
    document = session(3, straight_N=())
    document["pull_sets"][0]["main"]["spool"] = "B"
    [finding] = refusals(as_owner, document)
    assert "pulled from another spool" in finding["expected"]


def test_two_sessions_on_one_baseline_are_pooled_as_one_block(rig, as_owner, drain):
    """Their baseline's error is one and the same: a pool that took it for two would be too sure."""
    send(as_owner, session(5, straight_N=(), joined_N=(76.5, 83.0, 79.5, 81.5, 78.0)))
    send(as_owner, session(9, straight_N=(), joined_N=(80.5, 77.0, 82.5, 79.0, 84.0)))
    drain()
    version = PullSet.objects.get(label="blood, day 5").normalised.pool.current
    assert (version.sets, version.sessions) == (3, 1)


def test_when_the_lender_is_withdrawn_the_borrower_loses_its_figure_and_says_why(
    rig, as_owner, drain
):
    lender = PullSet.objects.get(label="blood, day 0").session
    send(as_owner, session(12, straight_N=()))
    drain()
    as_owner.post(
        f"/api/v1/sessions/{lender.pk}/withdrawal", {"reason": "the scale stuck"}, format="json"
    )
    drain()
    borrower = PullSet.objects.get(label="blood, day 12")
    assert not hasattr(borrower, "normalised")
    assert "no straight-line pulls of thin" in borrower.not_normalised


def test_straight_line_before_and_after_says_that_the_change_moved_nothing(
    changed, as_owner, as_stranger, drain
):
    send(as_owner, session(3, [load * 1.002 for load in STRAIGHT_N], revision=2))
    drain()
    assert bridge_of(as_owner, changed)["what_changed"] == CHANGE["what_changed"]
    bridge = bridge_of(as_stranger, changed)
    assert bridge["verdict"] == "same"
    straight = bridge["comparisons"][0]["told"]
    assert straight["ratio"] == pytest.approx(1.002, abs=0.0001)
    assert 0.95 < straight["lower"] < straight["upper"] < 1.05


def test_a_change_that_moved_the_readings_is_reported_as_moved(
    changed, as_owner, as_stranger, drain
):
    send(as_owner, session(3, [load * 0.88 for load in STRAIGHT_N], revision=2))
    drain()
    assert bridge_of(as_stranger, changed)["verdict"] == "moved"


def test_too_few_pulls_say_how_many_more_would_tell(changed, as_owner, as_stranger, drain):
    uneven = (66.0, 79.0, 85.0, 95.0, 74.0)
    send(as_owner, session(3, (95.0, 99.0, 103.0), uneven, revision=2))
    drain()
    bridge = bridge_of(as_stranger, changed)
    assert bridge["verdict"] == "can't tell yet"
    answer = bridge["comparisons"][0]["told"]
    assert answer["lower"] < 0.95 < answer["upper"] < 1.05
    more = answer["more_pulls"]
    assert more > 0
    assert bridge["advice"] == f"Pull {more} more of the same on the new revision."


def test_a_change_with_nothing_pulled_after_it_says_what_to_pull(changed, as_stranger):
    bridge = bridge_of(as_stranger, changed)
    assert bridge["verdict"] == "can't tell yet"
    assert "Nothing was pulled both before and after" in bridge["advice"]


def test_first_and_last_baseline_of_a_session_are_compared(rig, as_owner, as_stranger, drain):
    document = session(4)
    after = [{"reading": load * 0.88, "failure_mode": "line"} for load in STRAIGHT_N]
    document["baselines"].append(
        {"line": "thin", "spool": "A", "position": "after", "pulls": after}
    )
    sent = send(as_owner, document)
    drain()
    number = PullSet.objects.get(label="blood, day 4").session_id
    assert sent
    [straight] = as_stranger.get(f"/api/v1/sessions/{number}/straight-lines").json()
    assert straight["first_against_last"]["verdict"] == "moved"
    assert (straight["valid"], straight["borrowed_from"]) == (True, None)
    assert straight["over_label"] == pytest.approx(straight["mean_N"] / 90)
