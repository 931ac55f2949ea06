"""The people of the stories, and the runs' own databases.

Four people appear: ``owner`` and ``other`` are testers with accounts, ``moderator`` is a tester
who also reviews, and the stranger only reads, without an account.
"""

import contextlib
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth.models import Group, User
from django.core.cache import cache, caches
from django.db import connections
from knox.models import AuthToken
from redis import Redis
from rest_framework.test import APIClient

from results.worker import embedded
from rigs.models import Contributor
from tests.rewriting import empty_between_stories, rewriting
from tests.workers import empty_queue, wait_for_worker, working

SLOW = frozenset(Path(__file__).with_name("slow.txt").read_text().split())
"""Folders and files of tests that take seconds or need migrations, a browser or a service."""
BROWSER_FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


def pytest_configure(config):
    """Give each process of a parallel run counters of its own in the one Redis."""
    if not settings.EMBEDDED:
        settings.CACHES["default"]["KEY_PREFIX"] += os.environ.get("PYTEST_XDIST_WORKER", "")
    empty_between_stories()


def pytest_collection_modifyitems(config, items):
    """Mark the slow folders; leave out a real worker's tests where the run has no queue."""
    for item in items:
        path = item.path.relative_to(settings.BASE_DIR)
        if {str(path), str(path.parent)} & SLOW:
            item.add_marker(pytest.mark.slow)
    left_out = [item for item in items if settings.EMBEDDED and item.get_closest_marker("worker")]
    items[:] = [item for item in items if item not in left_out]
    config.hook.pytest_deselected(items=left_out)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix, tmp_path_factory):
    """Give each embedded run a database file of its own, so that runs don't meet."""
    if settings.EMBEDDED:
        folder: Path = tmp_path_factory.mktemp("database")
        test_settings = connections["default"].settings_dict["TEST"]
        test_settings["NAME"] = str(folder / "test.sqlite3")


@pytest.fixture(autouse=True)
def _reset_rate_limits():
    """Begin each story with no request and no attempt to sign in counted."""
    if settings.EMBEDDED:
        cache.clear()
        return
    counts = settings.CACHES["default"]
    with Redis.from_url(counts["LOCATION"]) as redis:
        for key in redis.scan_iter(f"{counts['KEY_PREFIX']}:*"):
            redis.delete(key)


@pytest.fixture(autouse=True)
def _clear_caches():
    """Begin each story with no answer kept of another one's store."""
    caches["kept"].clear()


@contextlib.contextmanager
def chromium():
    """A browser of one's own: two in one thread don't go."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415  (slow, and few need it)

    with sync_playwright() as playwright:
        program = shutil.which("chromium")
        found = playwright.chromium.launch(executable_path=program, args=BROWSER_FLAGS)
        yield found
        found.close()


@pytest.fixture(scope="session")
def browser():
    """One browser for the whole run of a process, started on first use.

    Playwright keeps an event loop in this thread, and Django then takes the stories' own queries
    for asynchronous ones; they are not.
    """
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with chromium() as found:
        yield found
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


def contributor(handle: str) -> Contributor:
    """A tester with an account, who signs in by token only."""
    return Contributor.objects.create(user=User.objects.create_user(handle), handle=handle)


def client_of(person: Contributor) -> APIClient:
    """A client that carries a real token of this person."""
    _, token = AuthToken.objects.create(person.user)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {token}")
    return client


@pytest.fixture
def owner(db) -> Contributor:
    return contributor("owner")


@pytest.fixture
def other(db) -> Contributor:
    return contributor("other")


@pytest.fixture
def moderator(db) -> Contributor:
    person = contributor("moderator")
    person.user.groups.add(Group.objects.get_or_create(name="moderators")[0])
    return person


@pytest.fixture
def as_owner(owner) -> APIClient:
    return client_of(owner)


@pytest.fixture
def as_other(other) -> APIClient:
    return client_of(other)


@pytest.fixture
def as_moderator(moderator) -> APIClient:
    return client_of(moderator)


@pytest.fixture
def as_stranger(db) -> APIClient:
    return APIClient()


@pytest.fixture
def planted_past(db):
    """A story whose past is planted row by row, as nobody else may."""
    with rewriting():
        yield


@pytest.fixture
def queue(transactional_db) -> None:
    """An empty queue, for a story that starts workers by itself."""
    empty_queue()


@pytest.fixture
def worker(queue, tmp_path):
    """A real worker on this test's database."""
    with working(tmp_path) as process:
        yield process


@pytest.fixture
def drain(request, db) -> Callable[[], None]:
    """Brings every waiting job and stale pool to its end: by the worker, where there is one."""
    return wait_for_worker if "worker" in request.fixturenames else embedded.drain
