"""API6 of 2023, unrestricted access to sensitive business flows.

What many requests, each allowed, could bend: accounts in bulk, floods of words for moderators, and
pools steered by many uploads of one tester or by copies under several accounts.
"""

import json

import numpy as np
import pytest
from django.test import Client

from results.intake import receive
from results.models import Message, PullSet
from results.review.decisions import MOST_UNANSWERED, decide, decide_many
from results.worker import embedded
from tests import making
from tests.api.leagues import league_of, send
from tests.pages.conftest import pool_of
from tests.people import contributor
from tests.stories.test_screening import document, marks_of


def test_api6_accounts_are_not_made_in_bulk_from_one_address(db):
    somewhere = Client(REMOTE_ADDR="10.1.2.3")
    statuses = [somewhere.post("/sign-up/", {"username": "x"}).status_code for _ in range(21)]
    assert statuses == [200] * 20 + [429]
    assert Client(REMOTE_ADDR="10.9.9.9").post("/sign-up/", {}).status_code == 200


@pytest.fixture
def pull_set(owner, db) -> PullSet:
    session = making.session(making.revision_of(owner))
    return making.joined(session, making.line("thin"), making.line("thick"), [80.0, 84.0])


def test_api6_no_one_floods_a_thread_that_no_one_answers(pull_set, as_owner, as_moderator):
    thread = f"/api/v1/pull-sets/{pull_set.pk}/thread"

    def say(client) -> int:
        return client.post(thread, {"text": "look again"}, format="json").status_code

    assert [say(as_owner) for _ in range(MOST_UNANSWERED)] == [201] * MOST_UNANSWERED
    assert say(as_owner) == 409
    assert Message.objects.count() == MOST_UNANSWERED
    assert say(as_moderator) == 201
    assert say(as_owner) == 201


def test_api6_one_appeal_waits_at_a_time(pull_set, moderator, as_owner):
    decide(by=moderator.user, pull_set=pull_set, decision="hold", reason="a question")
    appeals = f"/api/v1/pull-sets/{pull_set.pk}/appeals"
    answer = [as_owner.post(appeals, {"text": "no"}, format="json").status_code for _ in range(3)]
    assert answer == [201, 409, 409]


def test_api6_many_uploads_of_one_tester_weigh_as_one_tester(moderator):
    league_of({"Blood": 86.0}, testers=4)
    honest = pool_of("Blood").current.efficiency
    rng = np.random.default_rng(20260111)
    stubborn = contributor("stubborn")

    def pooled_after(uploads: int) -> float:
        for _ in range(uploads):
            send(stubborn, rng, "Blood", 60.0)
        embedded.drain()
        if held := list(PullSet.objects.filter(state="held")):
            decide_many(
                by=moderator.user, pull_sets=held, decision="release", reason="let it count"
            )
            embedded.drain()
        return pool_of("Blood").current.efficiency

    once, often = pooled_after(1), pooled_after(7)
    sets_of_stubborn = 8
    in_proportion_to_sets = (0.86 - 0.60) * sets_of_stubborn / (sets_of_stubborn + 4)
    assert pool_of("Blood").current.sets == sets_of_stubborn + 4
    assert 0 < honest - once < 0.1
    assert honest - often < 1.3 * (honest - once) < in_proportion_to_sets


def test_api6_readings_copied_under_another_account_are_noticed(owner, other):
    readings = [80.3, 77.1, 84.9, 81.2, 79.6, 86.4, 75.8, 82.7]
    sessions = []
    for person in (owner, other):
        making.calibrate(making.revision_of(person), gain=1.0, offset_N=0.0)
        for name in ("thin", "thick"):
            making.line(name)
        making.connection()
        sent = json.dumps(document(readings)).encode()
        sessions.append(receive(person, sent, "application/json", None).session)
        embedded.drain()
    copied = sessions[1].pull_sets.get()
    assert "copied from another session" in marks_of(copied)
