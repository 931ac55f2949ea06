"""Sending twice: the same key, another key, another body, and both at one instant."""

import json
import threading

import pytest
from django.db import connection

from results.intake import receive
from results.models import Job, Session, Upload
from rigs.refusals import Conflict, Invalid
from tests.intake.conftest import RIGHT, sheet


def test_the_same_key_and_body_give_the_same_receipt_and_store_nothing(send, right):
    first = send(right, key="monday")
    again = send(right, key="monday")

    assert (first.created, again.created) == (True, False)
    assert (again.session, again.job) == (first.session, first.job)
    assert Session.objects.count() == Job.objects.count() == Upload.objects.count() == 1


def test_a_resend_is_given_the_warnings_of_the_first_answer(send, right):
    right["baselines"][0]["pulls"] = [{"reading": 19.0, "failure_mode": "line"}] * 4

    assert send(right, key="monday").warnings == send(right, key="monday").warnings != ()


def test_the_same_key_with_another_body_is_refused(send, right):
    session = send(right, key="monday").session
    right["note"] = "changed"

    with pytest.raises(Invalid, match=f"became session {session.pk}"):
        send(right, key="monday")


def test_keys_of_two_contributors_do_not_meet(send, right, owner, other):
    send(right, key="monday")

    with pytest.raises(Exception, match="to correct"):
        send(right, key="monday", by=other)


def test_the_same_session_under_another_key_points_to_the_first(send, right):
    session = send(right, key="monday").session
    right["note"], right["pull_sets"][0]["label"] = "told again", "another label"

    with pytest.raises(Conflict, match=f"already stored as session {session.pk}"):
        send(right, key="tuesday")


def test_the_same_session_as_a_sheet_points_to_the_first(send, right):
    send(right)

    with pytest.raises(Conflict):
        send(sheet())


def test_one_reading_more_makes_another_session(send, right):
    send(right)
    right["pull_sets"][0]["pulls"].append({"reading": 15.9, "failure_mode": "join"})

    assert send(right).created


def test_a_withdrawn_session_may_be_sent_again(send, right):
    Session.objects.filter(pk=send(right).session.pk).update(standing="withdrawn")

    assert send(right).created


@pytest.mark.parametrize("key", ["", "  ", "x" * 201, "k\u00e9y", "a\tb"])
def test_a_key_that_can_not_be_kept_is_refused(send, right, key):
    with pytest.raises(Invalid, match="The Idempotency-Key can't be used"):
        send(right, key=key)


def at_one_instant(*calls):
    """Run the calls in threads that start together; their results or errors in order."""
    start, outcomes = threading.Barrier(len(calls)), [None] * len(calls)

    def run(number, call):
        start.wait()
        try:
            outcomes[number] = call()
        except Exception as error:
            outcomes[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return outcomes


@pytest.mark.django_db(transaction=True)
def test_two_of_the_same_key_at_one_instant_store_one_and_get_one_receipt(owner, bench):
    body = json.dumps(RIGHT).encode()

    receipts = at_one_instant(*[lambda: receive(owner, body, "application/json", "monday")] * 4)

    assert sorted(receipt.created for receipt in receipts) == [False, False, False, True]
    assert len({receipt.session.pk for receipt in receipts}) == 1
    assert Session.objects.count() == Job.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_of_other_keys_at_one_instant_store_one_and_the_rest_point_to_it(owner, bench):
    body = json.dumps(RIGHT).encode()

    outcomes = at_one_instant(
        *[
            lambda key=key: receive(owner, body, "application/json", key)
            for key in ("one", "two", "three", None)
        ]
    )

    (session,) = Session.objects.all()
    refused = [outcome for outcome in outcomes if isinstance(outcome, Conflict)]
    assert len(refused) == 3
    assert all(f"session {session.pk}" in outcome.detail for outcome in refused)
