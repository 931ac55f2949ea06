"""A real worker, on a real queue: what is sent is worked out once, whatever is lost on the way."""

import json
from uuid import UUID

import numpy as np
import psycopg
import pytest
from django.db import connection, transaction

from deploy.tools.processes import wait_until
from results.jobs import queue as job_queue
from results.models import Job, Pool, PoolMembership
from tests import making
from tests.workers import database_url, empty_queue, kill, wait_for_worker, working

pytestmark = pytest.mark.worker
CUT_OFF = """
    CREATE FUNCTION cut_off() RETURNS trigger LANGUAGE plpgsql AS
    $$ BEGIN PERFORM pg_terminate_backend(pg_backend_pid()); RETURN NEW; END $$;
    CREATE TRIGGER cut_off BEFORE INSERT ON results_poolversion
    FOR EACH ROW EXECUTE FUNCTION cut_off()
"""
PROMPT = {"SAMESPOOL_SWEEP_SECONDS": "0.5", "SAMESPOOL_LEASE_SECONDS": "20"}


def send(owner, sessions: int) -> None:
    """Store sessions of one pull set each, with their jobs, as an upload does.

    Their readings differ, since a session told twice is held for a moderator.
    """
    rng = np.random.default_rng(5)
    revision = making.revision_of(owner)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for _ in range(sessions):
        with transaction.atomic():
            session = making.session(revision)
            making.straight(session, main, 100 * np.exp(rng.normal(0, 0.025, 6)))
            making.joined(session, main, leader, 80 * np.exp(rng.normal(0, 0.06, 6)))
            job_queue.enqueue(session)


def test_what_is_sent_is_worked_out_and_pooled_by_the_worker(owner, worker, drain):
    send(owner, sessions=3)

    drain()

    assert set(Job.objects.values_list("state", "attempts")) == {("done", 1)}
    assert PoolMembership.objects.filter(until=None).count() == 3


def test_a_job_whose_message_was_lost_is_found_by_the_sweeper(owner, queue, tmp_path):
    send(owner, sessions=2)
    empty_queue()

    with working(tmp_path, **PROMPT):
        wait_for_worker()

    assert set(Job.objects.values_list("state", flat=True)) == {"done"}


def test_no_upload_waits_for_drawings_which_have_a_queue_of_their_own(owner, queue, tmp_path):
    send(owner, sessions=2)
    with working(tmp_path, queues="celery"):
        wait_for_worker()
    assert set(Job.objects.values_list("state", flat=True)) == {"done"}
    assert Pool.objects.get().current.forest_light == ""

    with working(tmp_path, queues="later"):
        wait_until(lambda: Pool.objects.get().current.forest_light != "", "The drawing")


def test_a_worker_killed_in_the_middle_loses_and_doubles_nothing(owner, queue, tmp_path):
    with working(tmp_path, **PROMPT) as worker:
        send(owner, sessions=20)
        wait_until(lambda: Job.objects.filter(attempts=1).exists(), "The first job")
        kill(worker)

    with working(tmp_path, **PROMPT):
        wait_for_worker()

    assert set(Job.objects.values_list("state", flat=True)) == {"done"}
    pooled = PoolMembership.objects.filter(until=None).values_list("pull_set", flat=True)
    assert len(pooled) == len(set(pooled)) == 20


def test_a_pool_that_takes_the_connection_with_it_each_time_ends_as_failed(owner, queue, tmp_path):
    with connection.cursor() as cursor:
        cursor.execute(CUT_OFF)
    try:
        send(owner, sessions=1)
        with working(tmp_path, **PROMPT):
            wait_until(lambda: Job.objects.filter(state=Job.State.FAILED).exists(), "The end")
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DROP FUNCTION cut_off CASCADE")

    assert "A pool of this session could not be computed" in Job.objects.get().problem["detail"]


def test_a_lock_that_is_held_for_long_uses_up_no_attempts(owner, queue, tmp_path):
    """Ten minutes of it would meet a job dozens of times; here each meeting is short."""
    redis_client = {"DATABASE_URL": f"{database_url()}?options=-c%20lock_timeout%3D100ms"}
    log = tmp_path / "worker.log"
    with psycopg.connect(database_url()) as holder, working(tmp_path, **PROMPT, **redis_client):
        holder.execute("LOCK TABLE results_normalisedset IN EXCLUSIVE MODE")
        send(owner, sessions=2)
        met = lambda: log.read_text().count("LockNotAvailable") >= 6  # noqa: E731
        wait_until(met, "The lock, met several times")
        states = set(Job.objects.values_list("state", "problem"))
        assert states <= {("queued", None), ("running", None)}
        holder.rollback()
        wait_for_worker()
    assert set(Job.objects.values_list("state", "attempts")) == {("done", 1)}


def test_each_line_of_a_task_carries_the_ids_of_its_own_work(owner, queue, tmp_path):
    """One job has the others of its pool screened again: their lines must not carry its ids."""
    send(owner, sessions=4)
    with working(tmp_path, **PROMPT):
        wait_for_worker()
    log = (tmp_path / "worker.log").read_text().splitlines()
    answer = [json.loads(line) for line in log if line.startswith("{")]
    subjects = {"run_job": "job", "refresh_pool": "pool", "complete_pool": "pool"}
    sessions = dict(Job.objects.values_list("pk", "session"))
    lines = [line for line in answer if line.get("task", "").rpartition(".")[2] in subjects]
    assert {line["event"] for line in lines} >= {
        "session normalised and screened",
        "task_succeeded",
    }
    for line in lines:
        own = subjects[line["task"].rpartition(".")[2]]
        assert own in line, line
        assert {"job", "pool"} & set(line) == {own}, line
        if line["event"] == "session normalised and screened":
            assert line["session"] == sessions[UUID(line["job"])]
