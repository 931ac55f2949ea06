"""One answer for all who wait with the same question, and none that is older than its question."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from deploy.tools.processes import TIMEOUT_S
from results.http_cache.single_flight import SingleFlight


class Desk:
    """Answers how often it was asked, the first time only once ``go_on`` is set."""

    def __init__(self) -> None:
        self.asked = 0
        self.begun, self.go_on = threading.Event(), threading.Event()
        self.error: Exception | None = None
        self.shared = SingleFlight(self)

    def __call__(self) -> int:
        self.asked += 1
        number = self.asked
        self.begun.set()
        assert self.go_on.wait(TIMEOUT_S)
        if self.error:
            raise self.error
        return number


class Queue:
    """A lock that tells how many wait at it."""

    def __init__(self) -> None:
        self._lock, self.waiting = threading.Lock(), threading.Semaphore(0)

    def __enter__(self) -> None:
        self.waiting.release()
        self._lock.acquire()

    def __exit__(self, *_raised: object) -> None:
        self._lock.release()


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def crowd(desk):
    """A first thread whose question is being answered, and three that came meanwhile."""
    desk.shared._one_at_a_time = queue = Queue()
    with ThreadPoolExecutor(4) as threads:
        asking = [threads.submit(desk.shared)]
        assert desk.begun.wait(TIMEOUT_S)
        asking += [threads.submit(desk.shared) for _ in range(3)]
        for _ in range(4):
            assert queue.waiting.acquire(timeout=TIMEOUT_S)
        yield asking
        desk.go_on.set()


def test_those_who_came_while_one_was_asking_share_one_later_answer(desk, crowd):
    desk.go_on.set()
    assert [each.result(TIMEOUT_S) for each in crowd] == [1, 2, 2, 2]


def test_a_later_caller_asks_again(desk):
    desk.go_on.set()
    assert [desk.shared(), desk.shared(), desk.shared()] == [1, 2, 3]


def test_an_error_reaches_all_who_waited_and_no_one_after_them(desk, crowd):
    desk.error = ConnectionError("gone")
    desk.go_on.set()
    for each in crowd:
        with pytest.raises(ConnectionError):
            each.result(TIMEOUT_S)
    assert desk.asked == 2
    desk.error = None
    assert desk.shared() == 3
