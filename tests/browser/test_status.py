"""The administrator's page, on a phone and at a desk."""

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from results.jobs import queue, stale_marks
from results.models import Job, Pool
from results.worker.embedded import drain
from tests import making


@pytest.fixture
def trouble(owner) -> Job:
    """A pool that waits, a job that waits and one that failed."""
    revision = making.revision_of(owner)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    made = []
    for number in range(3):
        session = making.session(revision)
        making.straight(session, main, [98.0 + number, 101, 99, 102, 100.5])
        making.joined(session, main, leader, [80.0 - number, 83, 78, 81.5])
        made.append(queue.enqueue(session))
        if number == 0:
            drain()
    stale_marks.mark([Pool.objects.get().pk], "the rig of a set was calibrated again")
    problem = {"detail": "The worker stopped before it could say why, each time it was tried."}
    Job.objects.filter(pk=made[1].pk).update(
        state="failed", attempts=5, finished_at=timezone.now(), problem=problem
    )
    return made[1]


def test_an_administrator_sees_what_stands_still_and_has_it_run_again(
    trouble, page, live_server, look
):
    client = Client()
    client.force_login(User.objects.create_superuser("admin"))
    name = settings.SESSION_COOKIE_NAME
    value = client.cookies[name].value
    page.context.add_cookies([{"name": name, "value": value, "url": live_server.url}])

    look("/admin/standing/", "standing")
    page.get_by_label(f"run job {trouble.pk} again").check()
    page.get_by_role("button", name="Run the chosen again").click()

    assert "Sent to run again: 1." in page.text_content("body")
    trouble.refresh_from_db()
    assert trouble.state == "queued"
