"""Amending and withdrawing: history stays, and every figure follows."""

import json
import threading

import pytest
from django.db import connection

from results.intake import amend as intake_amend
from results.intake import receive
from results.models import Pool, PoolMembership, Session
from results.worker.embedded import drain
from rigs.refusals import Conflict, Forbidden, Invalid
from tests.intake.conftest import RIGHT


@pytest.fixture
def stored(send, right):
    return send(right).session


@pytest.fixture
def corrected(right) -> dict:
    """The same pulls, which were kilograms all along."""
    return {**right, "unit": "kg", "pulled_on": "2026-01-09"}


def members(pool: Pool) -> list[int]:
    counting = PoolMembership.objects.filter(pool=pool, until=None)
    return list(counting.values_list("pull_set__session", flat=True))


def test_an_amended_session_is_a_new_version_and_the_old_one_stays_readable(
    send, stored, corrected
):
    new = send(corrected, replaces=stored, reason="kilograms entered as pounds").session

    stored.refresh_from_db()
    assert (new.version, new.replaces, new.standing) == (2, stored, "current")
    assert (stored.standing, stored.standing_reason) == ("replaced", "kilograms entered as pounds")
    assert stored.pull_sets.get().pulls.count() == 4
    assert bytes(stored.upload.body) != bytes(new.upload.body)


def test_the_pool_follows_an_amendment(send, stored, corrected):
    drain()
    (pool,) = Pool.objects.all()
    assert members(pool) == [stored.pk]

    new = send(corrected, replaces=stored, reason="kilograms entered as pounds").session
    drain()

    assert members(pool) == [new.pk]
    assert stored.pull_sets.get().state == "withdrawn"


def test_the_change_is_kept_with_who_and_why(send, stored, corrected, owner):
    send(corrected, replaces=stored, reason="kilograms entered as pounds")

    change = stored.pull_sets.get().state_changes.get()
    assert (change.by, change.reason) == (owner.user, "kilograms entered as pounds")


def test_an_amendment_may_say_the_same_pulls_with_another_note(send, stored, right):
    right["note"] = "tied by my brother"

    assert send(right, replaces=stored, reason="note").session.note == "tied by my brother"


def test_a_refused_amendment_leaves_the_session_as_it_was(send, stored, corrected):
    corrected["state"] = "damp"

    with pytest.raises(Invalid):
        send(corrected, replaces=stored, reason="a slip")

    stored.refresh_from_db()
    assert stored.standing == "current"
    assert stored.pull_sets.get().state == "received"


def test_an_amendment_sent_again_with_its_key_gets_the_same_receipt(send, stored, corrected):
    first = send(corrected, key="fix", replaces=stored, reason="kilograms")
    again = send(corrected, key="fix", replaces=stored, reason="kilograms")

    assert (again.session, again.created) == (first.session, False)


def test_an_amendment_is_not_a_new_session_under_the_same_key(send, stored, corrected):
    send(corrected, key="fix", replaces=stored, reason="kilograms")

    with pytest.raises(Invalid, match="used for another upload"):
        send(corrected, key="fix")


def test_only_the_current_version_can_be_amended(send, stored, corrected):
    send(corrected, replaces=stored, reason="kilograms")
    corrected["pulled_on"] = "2026-01-08"

    with pytest.raises(
        Conflict, match=f"Session {stored.pk} is no longer current: it was replaced"
    ):
        send(corrected, replaces=stored, reason="once more")


@pytest.mark.parametrize("reason", ["", "  ", "x" * 1001, "bell \u0007"])
def test_a_reason_is_needed(send, stored, corrected, owner, reason):
    with pytest.raises(Invalid, match="A reason is needed"):
        send(corrected, replaces=stored, reason=reason)
    with pytest.raises(Invalid, match="A reason is needed"):
        intake_amend.withdraw(stored, owner, reason)


def test_no_one_amends_or_withdraws_the_session_of_another(send, stored, moderator, other):
    for person in (other, moderator):
        with pytest.raises(Forbidden):
            intake_amend.withdraw(stored, person, "I know better")

    assert Session.objects.get().standing == "current"


def test_a_withdrawn_session_leaves_every_figure_and_stays_in_the_history(stored, owner):
    drain()
    (pool,) = Pool.objects.all()

    intake_amend.withdraw(stored, owner, "the scale stuck")
    drain()

    assert members(pool) == []
    assert pool.versions.count() == 2
    stored.refresh_from_db()
    assert (stored.standing, stored.standing_reason) == ("withdrawn", "the scale stuck")


def test_a_session_withdrawn_before_its_job_ran_never_counts(stored, owner):
    intake_amend.withdraw(stored, owner, "the scale stuck")
    drain()

    assert not Pool.objects.exists()
    assert stored.jobs.get().state == "done"


def test_earlier_versions_are_withdrawn_with_the_last(send, stored, corrected, owner):
    new = send(corrected, replaces=stored, reason="kilograms").session

    intake_amend.withdraw(new, owner, "the scale stuck")

    stored.refresh_from_db()
    assert (stored.standing, stored.standing_reason) == ("withdrawn", "kilograms")


def test_a_session_is_withdrawn_once(stored, owner):
    intake_amend.withdraw(stored, owner, "the scale stuck")

    with pytest.raises(Conflict, match="no longer current: it was withdrawn"):
        intake_amend.withdraw(stored, owner, "again")


@pytest.mark.django_db(transaction=True)
def test_of_two_amendments_at_one_instant_one_wins(owner, bench):
    stored = receive(owner, json.dumps(RIGHT).encode(), "application/json", None).session
    start, outcomes = threading.Barrier(2), []

    def amend(day: str) -> None:
        body = json.dumps({**RIGHT, "pulled_on": day}).encode()
        start.wait()
        try:
            form = "application/json"
            outcomes.append(receive(owner, body, form, None, replaces=stored, reason="the day"))
        except Conflict as refusal:
            outcomes.append(refusal)
        finally:
            connection.close()

    threads = [threading.Thread(target=amend, args=[day]) for day in ("2026-01-08", "2026-01-09")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sum(isinstance(outcome, Conflict) for outcome in outcomes) == 1
    assert Session.objects.filter(standing="current").count() == 1
    assert Session.objects.count() == 2
