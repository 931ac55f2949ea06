"""Pull sets over the API, and a moderator's decisions on them."""

import pytest

from results.jobs.queue import enqueue
from results.models import NormalisedSet, PullSet
from results.open_data.pulled import PULL_SETS
from results.worker import embedded
from tests import making


def send(person) -> PullSet:
    """A session of one set, worked out."""
    revision = making.revision_of(person)
    session = making.session(revision)
    making.straight(session, making.line("thin"))
    readings_N = [80.0, 84.0, 78.0, 82.0]
    pull_set = making.joined(
        session, making.line("thin"), making.line("thick", label_N=180), readings_N
    )
    enqueue(session)
    embedded.drain()
    return pull_set


def test_a_set_has_each_figure_that_open_data_has_of_it(owner, as_stranger):
    """So that who reads the API can compute the pool as who reads the archive can."""
    answer = as_stranger.get(f"/api/v1/pull-sets/{send(owner).pk}").json()
    shown = {*answer, *answer["figures"]}
    shown |= {f"interval_{end}" for end in answer["figures"]["interval"]}
    of_figures = {field.attname for field in NormalisedSet._meta.get_fields() if field.concrete}
    columns = {column.name for column in PULL_SETS.columns if column.name in of_figures}
    assert len(columns) > 15
    assert not columns - shown


def decide(client, pull_set, decision="hold", reason="The baseline reads as kilograms: pounds?"):
    return client.post(
        f"/api/v1/pull-sets/{pull_set.pk}/decisions",
        {"decision": decision, "reason": reason},
        format="json",
    )


def test_a_set_shows_what_it_came_to_and_how_it_stands(owner, as_stranger):
    pull_set = send(owner)
    answer = as_stranger.get(f"/api/v1/pull-sets/{pull_set.pk}").json()
    assert (answer["tester"], answer["connection"], answer["state"]) == ("owner", "Blood", "pooled")
    # means of 81 N and of 100 N; the small-sample correction is below one in a thousand
    assert answer["figures"]["efficiency"] == pytest.approx(0.81, abs=0.001)
    assert answer["figures"]["interval"]["low"] < 0.81 < answer["figures"]["interval"]["high"]
    assert answer["pool"].startswith("http://testserver/api/v1/pools/")
    assert [(c["to_state"], c["by"]) for c in answer["state_changes"]] == [
        ("normalised", "service"),
        ("pooled", "service"),
    ]


def test_a_set_that_can_not_be_worked_out_says_why(owner, as_stranger):
    session = making.session(making.revision_of(owner))
    pull_set = making.joined(session, making.line("thin"), making.line("thick"), [80.0, 84.0])
    enqueue(session)
    embedded.drain()
    answer = as_stranger.get(f"/api/v1/pull-sets/{pull_set.pk}").json()
    assert (answer["figures"], answer["pool"]) == (None, None)
    assert answer["not_normalised"]


def test_a_moderator_holds_a_set_with_a_reason_that_its_tester_reads(
    owner, as_moderator, as_owner, as_stranger
):
    pull_set = send(owner)
    answer = decide(as_moderator, pull_set)
    assert answer.status_code == 201
    assert answer.json()["to_state"] == "held"
    shown = as_stranger.get(f"/api/v1/pull-sets/{pull_set.pk}").json()
    assert shown["state"] == "held"
    assert shown["state_changes"][-1]["by"] == "moderator"
    assert "reason" not in shown["state_changes"][-1]
    shown = as_owner.get(f"/api/v1/pull-sets/{pull_set.pk}").json()
    assert shown["state_changes"][-1]["reason"] == "The baseline reads as kilograms: pounds?"


def test_a_moderator_does_not_decide_on_their_own_submission(moderator, as_moderator):
    answer = decide(as_moderator, send(moderator))
    assert answer.status_code == 403
    assert "your own submission" in answer.json()["detail"]


def test_only_a_moderator_decides(owner, as_owner, as_other, as_stranger):
    pull_set = send(owner)
    assert decide(as_owner, pull_set).status_code == 403
    assert decide(as_other, pull_set).status_code == 403
    assert decide(as_stranger, pull_set).status_code == 401
    pull_set.refresh_from_db()
    assert pull_set.state == "pooled"


@pytest.mark.parametrize(
    ("expected", "field"), [({"decision": "burn"}, "decision"), ({"reason": " "}, "reason")]
)
def test_a_decision_needs_a_known_word_and_a_reason(owner, as_moderator, expected, field):
    answer = decide(as_moderator, send(owner), **expected)
    assert answer.status_code == 422
    assert [finding["field"] for finding in answer.json()["findings"]] == [field]


def test_a_step_that_the_state_does_not_allow_is_a_conflict(owner, as_moderator):
    answer = decide(as_moderator, send(owner), decision="release")
    assert answer.status_code == 409


def test_a_set_is_read_in_four_queries(owner, as_stranger, django_assert_num_queries):
    pull_set = send(owner)
    # The set with all it points to, its state changes, accepted names, its pool's figures.
    with django_assert_num_queries(4):
        as_stranger.get(f"/api/v1/pull-sets/{pull_set.pk}")
