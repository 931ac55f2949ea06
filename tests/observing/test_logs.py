"""Lines of the log carry the ids by which one request is followed to its end."""

import json
import logging.config

import pytest
from django.test import Client
from django.urls import path
from structlog.contextvars import bound_contextvars

from deploy import urls
from deploy.observing.logs import LIBRARIES
from results.jobs import queue
from results.models import Job, Pool
from results.worker import embedded, run_session
from tests import making
from tests.stories import bench


def lines(capsys) -> list[dict]:
    out = capsys.readouterr().out
    return [json.loads(line) for line in out.splitlines() if line.startswith("{")]


def test_the_answer_and_its_log_line_carry_the_same_request_id(client, db, capsys):
    answers = [client.get("/healthz") for _ in range(2)]

    shown = [line["request_id"] for line in lines(capsys)]
    assert shown == [answer["X-Request-ID"] for answer in answers]
    assert len(set(shown)) == 2


def test_a_request_id_sent_by_a_stranger_is_not_taken_over(client, db):
    assert client.get("/healthz", HTTP_X_REQUEST_ID="forged")["X-Request-ID"] != "forged"


def test_neither_query_nor_a_secret_in_the_address_is_logged(client, db, capsys):
    client.get("/account/password/forgotten/3f-sandgrain/")
    client.get("/healthz", {"handle": "sandgrain"})

    out = capsys.readouterr().out
    assert "GET /healthz" in out
    assert "sandgrain" not in out


def test_a_request_that_is_refused_is_reported_once_and_its_secret_address_nowhere(db, capfd):
    """Set up anew, since pytest has handlers of its own on what is not passed on."""
    logging.config.dictConfig(LIBRARIES)
    client = Client(enforce_csrf_checks=True)
    assert client.post("/account/password/forgotten/3f-sandgrain/").status_code == 403
    assert client.get("/nowhere/").status_code == 404

    answer = "".join(capfd.readouterr())
    assert answer.count("password/forgotten") == answer.count("/nowhere/") == 1
    assert "sandgrain" not in answer


def test_the_request_of_an_upload_its_session_and_its_job_are_named_in_one_line(
    transactional_db, as_owner, capsys
):
    bench.register(as_owner)
    making.line("thin")
    making.line("thick", label_N=180)
    making.connection()

    answer = as_owner.post("/api/v1/sessions", bench.session(), format="json")

    assert answer.status_code == 202, answer.json()
    job = Job.objects.get()
    [shown] = [line for line in lines(capsys) if line["event"] == "job made"]
    assert shown["request_id"] == answer["X-Request-ID"]
    assert (shown["job"], shown["session"]) == (str(job.pk), job.session_id)


def test_a_job_that_is_done_is_logged_with_its_session(owner, capsys):
    session = making.session(making.revision_of(owner))
    making.straight(session, making.line("thin"))
    job = queue.enqueue(session)

    embedded.drain()

    answer = [line for line in lines(capsys) if line["event"] == "session normalised and screened"]
    assert [(line["job"], line["session"]) for line in answer] == [(str(job.pk), session.pk)]


def test_a_job_that_failed_is_logged_with_its_ids_and_where_it_broke(owner, capsys, monkeypatch):
    def breaks(*_given, **_named):
        raise RuntimeError("a fault of ours")

    session = making.session(making.revision_of(owner))
    making.straight(session, making.line("thin"))
    making.joined(session, making.line("thin"), making.line("thick"), [80, 83, 78])
    job = queue.enqueue(session)
    monkeypatch.setattr("results.worker.run_session.normalise_session", breaks)

    run_session.run(job.pk)

    answer = [line for line in lines(capsys) if line["event"] == "job failed"]
    assert [(line["job"], line["session"]) for line in answer] == [(str(job.pk), session.pk)]
    assert "Traceback" in answer[0]["exception"]
    assert Job.objects.get().state == "queued"


def test_a_pool_that_was_computed_is_logged_with_its_version(owner, capsys):
    session = making.session(making.revision_of(owner))
    making.straight(session, making.line("thin"))
    making.joined(session, making.line("thin"), making.line("thick"), [80, 83, 78])
    queue.enqueue(session)

    embedded.drain()

    answer = [line for line in lines(capsys) if line["event"] == "pool computed"]
    assert [(line["pool"], line["version"]) for line in answer] == [(Pool.objects.get().pk, 1)]


def test_a_line_of_a_library_has_the_form_and_the_ids_of_our_own(capsys):
    """Its handler holds the stream of the time it was made, so it is made anew here."""
    logging.config.dictConfig(LIBRARIES)
    with bound_contextvars(request_id="3f"):
        logging.getLogger("celery").error("connection lost")

    answer = json.loads(capsys.readouterr().err)
    assert (answer["event"], answer["level"], answer["logger"], answer["request_id"]) == (
        "connection lost",
        "error",
        "celery",
        "3f",
    )


def fails(_request):
    raise LookupError("no such thing")


urlpatterns = [path("fails/", fails), *urls.urlpatterns]


@pytest.mark.urls(__name__)
def test_a_request_that_failed_is_answered_and_logged_with_its_id_and_where_it_broke(db, capsys):
    answer = Client(raise_request_exception=False).get("/fails/", {"handle": "sandgrain"})

    assert answer.status_code == 500
    [shown] = [line for line in lines(capsys) if line["event"] == "request_failed"]
    assert (shown["request_id"], shown["request"]) == (answer["X-Request-ID"], "GET /fails/")
    assert "in fails" in shown["exception"]
    assert "sandgrain" not in shown["exception"]
