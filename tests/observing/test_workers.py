"""Workers and the sweeper tell that they are at work, and one that died is still known."""

from datetime import UTC, datetime, timedelta

import pytest
import redis
from django.conf import settings
from django.contrib.auth.models import User

from deploy.observing import workers
from deploy.tools.processes import wait_until
from tests.observing.test_metrics import scraped
from tests.workers import kill


@pytest.mark.worker
def test_a_worker_and_its_sweeper_are_seen_and_after_its_death_known_with_its_last_sign(worker):
    wait_until(lambda: len(workers.seen()) == 2, "A sign of the worker and of the sweeper")
    assert workers.SWEEPER in workers.seen()

    kill(worker)
    last = workers.seen()

    assert len(last) == 2
    assert workers.seen() == last
    assert all(datetime.now(UTC) - at < timedelta(minutes=1) for at in last.values())


@pytest.mark.worker
def test_a_worker_that_was_last_seen_days_ago_is_forgotten(queue):
    long_ago = datetime.now(UTC) - timedelta(days=2)
    just_now = datetime.now(UTC)
    with redis.from_url(settings.REDIS_URL) as server:
        server.hset(workers.SEEN, "celery@gone", str(long_ago.timestamp()))
        server.hset(workers.SEEN, "celery@here", str(just_now.timestamp()))

    assert workers.seen() == {"celery@here": just_now}


@pytest.mark.worker
def test_a_scrape_and_the_administrators_page_tell_for_how_long_a_worker_was_silent(queue, client):
    an_hour_ago = datetime.now(UTC) - timedelta(hours=1)
    with redis.from_url(settings.REDIS_URL) as server:
        server.hset(workers.SEEN, "celery@silent", str(an_hour_ago.timestamp()))

    answer = scraped(client)["samespool_worker_silent_seconds", ("worker", "celery@silent")]
    client.force_login(User.objects.create_superuser("admin"))
    page = client.get("/admin/standing/").content.decode()

    assert answer == pytest.approx(3600, abs=60)
    assert "celery@silent</th><td>1\xa0hour ago</td><td><strong>no</strong>" in page
    assert "Nothing was swept for a day" in page
