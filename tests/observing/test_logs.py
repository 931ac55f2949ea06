"""Lines of the log carry the ids by which one request is followed to its end."""

import json

from results import draining, jobs
from results.models import Job
from tests import making


def lines(capsys) -> list[dict]:
    out = capsys.readouterr().out
    return [json.loads(line) for line in out.splitlines() if line.startswith("{")]


def test_the_answer_and_its_log_line_carry_the_same_request_id(client, db, capsys):
    answers = [client.get("/healthz") for _ in range(2)]

    told = [line["request_id"] for line in lines(capsys)]
    assert told == [answer["X-Request-ID"] for answer in answers]
    assert len(set(told)) == 2


def test_a_request_id_sent_by_a_stranger_is_not_taken_over(client, db):
    assert client.get("/healthz", HTTP_X_REQUEST_ID="forged")["X-Request-ID"] != "forged"


def test_neither_query_nor_a_secret_in_the_address_is_logged(client, db, capsys):
    client.get("/account/password/forgotten/3f-sandgrain/")
    client.get("/healthz", {"handle": "sandgrain"})

    out = capsys.readouterr().out
    assert "GET /healthz" in out
    assert "sandgrain" not in out


def test_a_job_that_is_done_is_logged_with_its_session(owner, capsys):
    session = making.session(making.revision_of(owner))
    making.straight(session, making.line("thin"))
    job = jobs.enqueue(session)

    draining.drain()

    told = [line for line in lines(capsys) if line["event"] == "job worked out"]
    assert [(line["job"], line["session"]) for line in told] == [(str(job.pk), session.pk)]


def test_a_job_that_broke_off_is_logged_with_its_ids_and_where_it_broke(owner, capsys):
    session = making.session(making.revision_of(owner))
    making.straight(session, making.line("thin")).pulls.update(reading_N=float("inf"))
    making.joined(session, making.line("thin"), making.line("thick"), [80, 83, 78])
    job = jobs.enqueue(session)

    jobs.run(job.pk)

    told = [line for line in lines(capsys) if line["event"] == "job failed"]
    assert [(line["job"], line["session"]) for line in told] == [(str(job.pk), session.pk)]
    assert "Traceback" in told[0]["exception"]
    assert Job.objects.get().state == "queued"
