"""States of a pull set: which steps there are, who took them, and that two can't both win."""

import pytest
from django.db import IntegrityError, transaction

from results.models import PullSet
from results.models.lifecycle import State, move
from results.models.states import ALLOWED
from rigs.refusals import Conflict
from tests import making


@pytest.fixture
def pull_set(owner) -> PullSet:
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    return making.joined(session, main, leader, [70, 75, 72])


def test_every_step_keeps_who_when_and_why(pull_set, moderator):
    move([pull_set], State.HELD, by=moderator.user, reason="two units in one set")

    change = pull_set.state_changes.get()
    assert (change.from_state, change.to_state) == ("received", "held")
    assert change.by == moderator.user
    assert change.reason == "two units in one set"
    assert change.at is not None


def test_a_step_that_is_not_allowed_says_which_ones_are(pull_set):
    with pytest.raises(Conflict) as refusal:
        move([pull_set], State.RELEASED)

    assert "received can become held, normalised, withdrawn, not released" in refusal.value.detail
    pull_set.refresh_from_db()
    assert pull_set.state == State.RECEIVED


def test_a_decision_on_an_older_state_is_answered_that_someone_was_first(pull_set):
    seen_before = PullSet.objects.get(pk=pull_set.pk)
    move([pull_set], State.HELD)

    with pytest.raises(Conflict) as refusal:
        move([seen_before], State.NORMALISED)

    assert "no longer received" in refusal.value.detail
    assert pull_set.state_changes.count() == 1


def test_a_set_that_is_there_already_stays_and_adds_nothing_to_its_history(pull_set):
    assert move([pull_set], State.RECEIVED) == 0
    assert not pull_set.state_changes.exists()


def test_nothing_leads_out_of_withdrawn():
    assert ALLOWED[State.WITHDRAWN] == frozenset()


def test_the_database_itself_refuses_an_unknown_state(pull_set):
    with pytest.raises(IntegrityError), transaction.atomic():
        PullSet.objects.filter(pk=pull_set.pk).update(state="lost")
