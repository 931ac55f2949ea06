"""Workers and the sweeper tell that they are at work, and one that died is still known."""

from datetime import UTC, datetime, timedelta

import pytest
import redis
from django.conf import settings

from deploy.observing import workers
from deploy.processes import wait_until
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
