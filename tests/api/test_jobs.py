"""Jobs: how far a session has come."""

from results.jobs.queue import enqueue
from results.models import Job, Pool
from results.worker import embedded
from tests import making


def sent(person) -> Job:
    session = making.session(making.revision_of(person))
    making.straight(session, making.line("thin"))
    making.joined(session, making.line("thin"), making.line("thick", label_N=180), [80.0, 84.0])
    return enqueue(session)


def test_an_unfinished_job_says_when_to_ask_again(owner, as_stranger):
    job = sent(owner)
    answer = as_stranger.get(f"/api/v1/jobs/{job.pk}")
    shown = answer.json()
    assert (shown["state"], shown["step"], shown["attempts"]) == ("queued", "waiting", 0)
    assert shown["ahead"] == 0
    assert shown["counts"]["sets"] == 1
    assert shown["counts"]["normalised"] == 0
    assert int(answer["Retry-After"]) >= 1
    assert shown["pools"] == []


def test_a_finished_job_points_to_its_session_and_pools(owner, as_stranger):
    job = sent(owner)
    embedded.drain()
    answer = as_stranger.get(f"/api/v1/jobs/{job.pk}")
    shown = answer.json()
    assert (shown["state"], shown["step"], shown["attempts"]) == ("done", "finished", 1)
    assert shown["ahead"] is None
    assert shown["counts"] == {
        "sets": 1,
        "normalised": 1,
        "counting": 1,
        "held": 0,
        "without_figure": 0,
    }
    assert "Retry-After" not in answer
    assert shown["session"].endswith(f"/api/v1/sessions/{job.session_id}")
    assert shown["pools"] == [f"http://testserver/api/v1/pools/{Pool.objects.get().pk}"]


def test_a_failed_job_shows_its_problem(owner, as_stranger):
    job = sent(owner)
    problem = {"type": "/problems/job-failed", "status": 500}
    Job.objects.update(state=Job.State.FAILED, problem=problem)
    answer = as_stranger.get(f"/api/v1/jobs/{job.pk}")
    assert answer.json()["problem"] == problem
    assert "Retry-After" not in answer


def test_a_waiting_job_tells_how_many_wait_before_it(owner, other, as_stranger):
    sent(other)
    job = sent(owner)
    assert as_stranger.get(f"/api/v1/jobs/{job.pk}").json()["ahead"] == 1


def test_a_job_is_read_in_three_queries(owner, as_stranger, django_assert_num_queries):
    job = sent(owner)
    with django_assert_num_queries(3):  # the job, those ahead of it, its pools
        as_stranger.get(f"/api/v1/jobs/{job.pk}")
