"""From an upload to a stored session and its job, whatever form it came in."""

import hashlib
import json

import pytest

from results.intake import receive
from results.models import Pull, Session
from tests import making
from tests.intake.conftest import sheet, without


def test_a_session_is_stored_with_its_baselines_sets_and_pulls(send, right):
    receipt = send(right)

    session = receipt.session
    assert receipt.created
    assert (session.unit, session.state, session.version) == ("lbf", "dry", 1)
    assert session.baselines.get().line.name == "thin"
    pull_set = session.pull_sets.get()
    assert (pull_set.connection.name, pull_set.leader_spool) == ("Double uni", "B")
    assert pull_set.parameters == {"turns_main": 6}
    assert pull_set.discarded_ties == 1


def test_readings_are_kept_as_written_and_in_newtons(send, right):
    pulls = send(right).session.pull_sets.get().pulls.all()

    assert [pull.reading_written for pull in pulls] == ["15.2", "16.0", "15,5", ""]
    # 1 lbf is 4.4482216152605 N exactly (force of 0.45359237 kg at 9.80665 m/s2).
    assert pulls[0].reading_N == pytest.approx(15.2 * 4.4482216152605, rel=1e-12)
    assert pulls[2].reading_N == pytest.approx(15.5 * 4.4482216152605, rel=1e-12)


def test_void_pulls_and_ties_thrown_away_are_kept(send, right):
    session = send(right).session

    void = Pull.objects.get(pull_set__session=session, failure_mode="void")
    assert (void.reading_N, void.note) == (None, "grip slipped")
    assert session.pull_sets.get().discarded_ties == 1


def test_the_upload_is_kept_byte_for_byte_with_its_hash(send, right):
    body = json.dumps(right, indent=3).encode()

    upload = send(body).session.upload

    assert bytes(upload.body) == body
    assert upload.sha256 == hashlib.sha256(body).hexdigest()


def test_a_job_waits_for_the_session(send, right):
    receipt = send(right)

    assert receipt.job.state == "queued"
    assert receipt.job.session == receipt.session


@pytest.fixture
def of_document(send, right):
    """The fingerprint of the session as a document, which then makes way for another telling."""
    session = send(right).session
    Session.objects.update(standing="replaced")
    return session.fingerprint


def test_a_sheet_stores_what_the_document_stores(send, of_document):
    session = send(sheet()).session

    assert session.fingerprint == of_document
    assert session.pull_sets.get().discarded_ties == 1
    assert session.pull_sets.get().pulls.get(failure_mode="slip").reading_written == "15.5"


@pytest.mark.parametrize(
    "text",
    [
        sheet().replace(",", ";").replace("20.5", "20,5"),
        sheet().replace(",", "\t"),
        "\ufeff" + sheet(),
        sheet().replace("\n", "\r\n"),
        sheet().replace("\n", "\n\n,,,\n"),
        without("unit", sheet()).replace("reading", "Reading (lbs)"),
        sheet().replace("failure mode", "Failure_Mode").replace("thick", " THICK "),
        sheet().replace("Double uni", "uni to UNI"),
    ],
    ids=["semicolons", "tabs", "BOM", "CRLF", "blank lines", "unit above", "spelling", "alias"],
)
def test_a_sheet_may_come_in_many_spellings(send, of_document, text):
    assert send(text).session.fingerprint == of_document


def test_a_session_is_received_in_few_statements_however_large_it_is(
    bench, right, owner, django_assert_max_num_queries
):
    """Each is a message there and back; what is known by its exact name is asked for at once."""
    for number in range(30):
        making.line(f"line {number}")
    one = right["pull_sets"][0]
    right["pull_sets"] = [{**one, "label": f"set {number}"} for number in range(20)]
    body = json.dumps(right).encode()

    with django_assert_max_num_queries(17):
        receive(owner, body, "application/json", None)
