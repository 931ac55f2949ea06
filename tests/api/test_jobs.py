"""Jobs: how far a session has come."""

from results import draining
from results.jobs import enqueue
from results.models import Job, Pool
from tests import making


def sent(person) -> Job:
    session = making.session(making.revision_of(person))
    making.straight(session, making.line("thin"))
    making.joined(session, making.line("thin"), making.line("thick", label_N=180), [80.0, 84.0])
    return enqueue(session)


def test_an_unfinished_job_says_when_to_ask_again(owner, as_stranger):
    job = sent(owner)
    answer = as_stranger.get(f"/api/v1/jobs/{job.pk}")
    told = answer.json()
    assert (told["state"], told["step"], told["attempts"]) == ("queued", "waiting", 0)
    assert int(answer["Retry-After"]) >= 1
    assert told["pools"] == []


def test_a_finished_job_points_to_its_session_and_pools(owner, as_stranger):
    job = sent(owner)
    draining.drain()
    answer = as_stranger.get(f"/api/v1/jobs/{job.pk}")
    told = answer.json()
    assert (told["state"], told["step"], told["attempts"]) == ("done", "finished", 1)
    assert "Retry-After" not in answer
    assert told["session"].endswith(f"/api/v1/sessions/{job.session_id}")
    assert told["pools"] == [f"http://testserver/api/v1/pools/{Pool.objects.get().pk}"]


def test_a_failed_job_shows_its_problem(owner, as_stranger):
    job = sent(owner)
    problem = {"type": "/problems/job-failed", "status": 500}
    Job.objects.update(state=Job.State.FAILED, problem=problem)
    answer = as_stranger.get(f"/api/v1/jobs/{job.pk}")
    assert answer.json()["problem"] == problem
    assert "Retry-After" not in answer


def test_a_job_is_read_in_two_queries(owner, as_stranger, django_assert_num_queries):
    job = sent(owner)
    with django_assert_num_queries(2):  # the job, its pools
        as_stranger.get(f"/api/v1/jobs/{job.pk}")
