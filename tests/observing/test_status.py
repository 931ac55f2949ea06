"""The administrator's page: what waits, what failed, and sending it to run again."""

import re
import uuid
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from results.jobs import queue, stale_marks
from results.jobs.database_clock import from_now
from results.models import Job, Pool, PoolVersion, Screening
from results.worker import embedded
from tests import making

PAGE = "/admin/standing/"


@pytest.fixture
def as_admin(db) -> Client:
    client = Client()
    client.force_login(User.objects.create_superuser("admin"))
    return client


def sent(owner) -> Job:
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    making.joined(session, main, leader, [80.0, 83, 78, 81.5])
    return queue.enqueue(session)


def failed(owner) -> Job:
    job = sent(owner)
    problem = {"detail": "The worker stopped before it could say why, each time it was tried."}
    Job.objects.filter(pk=job.pk).update(
        state="failed", attempts=5, finished_at=timezone.now(), problem=problem
    )
    return job


def words_of(client: Client) -> str:
    """The page as it is read, without its tags."""
    answer = client.get(PAGE)
    assert answer.status_code == 200
    return " ".join(re.sub(r"<[^>]*>", " ", answer.content.decode()).split())


def test_an_empty_service_has_nothing_to_tell_and_says_so(as_admin):
    page = words_of(as_admin)

    assert "Version 0.1.0. All migrations are applied." in page
    assert "No job has finished yet." in page
    assert "Failed jobs None." in page
    assert "No check has marked or held anything." in page


def test_what_waits_is_counted_with_how_long_it_waits(owner, as_admin):
    job = sent(owner)
    Job.objects.filter(pk=job.pk).update(created_at=timezone.now() - timedelta(hours=3))

    page = words_of(as_admin)

    assert "Queued 1 Running 0 Done 0 Failed 0 Oldest has waited for 3 hours" in page


def test_a_stale_pool_is_reported_with_its_reason(owner, as_admin):
    sent(owner)
    embedded.drain()
    stale_marks.mark([Pool.objects.get().pk], "its rig was calibrated again")

    page = words_of(as_admin)

    assert (
        "Blood, nylon monofilament to nylon monofilament, dry its rig was calibrated again" in page
    )


def test_pools_that_no_one_draws_are_reported(owner, as_admin):
    sent(owner)
    embedded.drain()
    assert "Computed but not drawn yet: 0." in words_of(as_admin)

    PoolVersion.objects.update(forest_light="", forest_dark="")
    assert "Computed but not drawn yet: 1." in words_of(as_admin)


def test_what_the_checks_said_is_counted(owner, as_admin):
    screening = Screening.objects.create(session=making.session(making.revision_of(owner)))
    for level in ("none", "mark", "mark"):
        screening.checks.create(name="order", figure=1, threshold=1, level=level)

    assert "order mark 2" in words_of(as_admin)


def test_a_failed_job_is_reported_with_its_reason_and_runs_again_to_its_end(owner, as_admin):
    job = failed(owner)
    assert "The worker stopped before it could say why" in words_of(as_admin)

    answer = as_admin.post(PAGE, {"jobs": [str(job.pk)]}, follow=True)

    assert "Sent to run again: 1." in answer.content.decode()
    embedded.drain()
    job.refresh_from_db()
    assert (job.state, job.problem, job.attempts) == ("done", None, 1)
    assert Pool.objects.get().current.pulls == 4


def test_a_pool_that_failed_at_each_attempt_is_computed_once_its_job_runs_again(owner, as_admin):
    job = sent(owner)
    embedded.drain()
    pool = Pool.objects.get()
    stale_marks.mark([pool.pk], "a set came")
    Pool.objects.update(failures=5, attempted_at=from_now(1))
    Job.objects.update(state="failed", finished_at=timezone.now(), problem={"detail": "A pool."})
    embedded.drain()
    assert pool.stale_marks.exists()

    as_admin.post(PAGE, {"jobs": [str(job.pk)]})
    embedded.drain()

    assert not pool.stale_marks.exists()
    assert Job.objects.get().state == "done"


def test_a_job_that_has_not_failed_is_left_alone(owner, as_admin):
    job = sent(owner)
    queue.claim(job.pk)

    answer = as_admin.post(PAGE, {"jobs": [str(job.pk)]}, follow=True)

    assert f"Job {job.pk} has not failed, or is already running again." in answer.content.decode()
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("running", 1)


@pytest.mark.parametrize(
    ("chosen", "expected"),
    [
        ([], "Choose the jobs to run again."),
        (["no job"], "is not a valid UUID"),
        ([str(uuid.uuid4())], "has not failed, or is already running again."),
    ],
    ids=["none", "no id", "an unknown one"],
)
def test_a_choice_that_makes_no_sense_is_answered_in_words(chosen, expected, as_admin):
    answer = as_admin.post(PAGE, {"jobs": chosen}, follow=True)

    assert answer.status_code == 200
    assert expected in answer.content.decode()


def test_neither_moderator_nor_tester_nor_stranger_sees_it_or_has_jobs_run(owner, moderator):
    job = failed(owner)
    for person, refused in ((moderator, 403), (owner, 302), (None, 302)):
        client = Client()
        if person:
            client.force_login(person.user)
        assert client.get(PAGE).status_code == refused
        assert client.post(PAGE, {"jobs": [str(job.pk)]}).status_code == refused
    job.refresh_from_db()
    assert job.state == "failed"


def test_the_admins_first_page_leads_there_for_an_administrator_alone(moderator, as_admin):
    desk = Client()
    desk.force_login(moderator.user)

    assert PAGE in as_admin.get("/admin/").content.decode()
    assert PAGE not in desk.get("/admin/").content.decode()
