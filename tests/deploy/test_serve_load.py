"""The clients of `deploy/bench serve`: they take each answer whole, and no other for it."""

import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from deploy.benchmarks.serve_load import Round, beside_empty, measure

BODY = b"x" * 300_000
SLOW_S = 0.03


class Answers(BaseHTTPRequestHandler):
    """Nothing, a long body, or nothing after a while; 304 for whoever has the tag."""

    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        if self.path == "/slow":
            time.sleep(SLOW_S)
        kept = self.headers["If-None-Match"] == '"kept"'
        body = BODY if self.path == "/long" and not kept else b""
        self.send_response(304 if kept else 200)
        if not kept:
            self.send_header("content-length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_told: object) -> None:
        """Keep the tests' own output readable."""


@pytest.fixture
def port() -> Iterator[int]:
    with ThreadingHTTPServer(("127.0.0.1", 0), Answers) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1]
        server.shutdown()


def test_an_address_that_takes_longer_is_reported_as_a_smaller_share_of_the_empty_view(port):
    empty, slow = measure(port, [("/empty", ""), ("/slow", "")], clients=3, seconds=0.1, rounds=3)
    assert (empty.of_empty, empty.slower) == (1, 1)
    assert slow.of_empty < 1 < slow.slower
    assert slow.half_ms >= 1000 * SLOW_S


def test_clients_that_look_now_and_then_ask_no_more_often_than_they_look(port):
    questions = [("/empty", ""), ("/empty", "")]
    looked = measure(port, questions, clients=4, seconds=1, rounds=1, pause_s=0.1)[0]
    fast = measure(port, questions, clients=4, seconds=0.2, rounds=1)[0]
    assert 0 < looked.rate < min(60, fast.rate)


def test_a_look_that_had_to_wait_for_the_answer_before_is_late_from_when_it_was_due(port):
    found = measure(port, [("/empty", ""), ("/slow", "")], 1, seconds=1, rounds=1, pause_s=0.005)
    assert found[1].half_ms > 5 * 1000 * SLOW_S


def test_long_answers_and_answers_without_a_body_are_taken_whole(port):
    questions = [("/empty", ""), ("/long", ""), ("/long", '"kept"')]
    found = measure(port, questions, clients=2, seconds=0.1, rounds=1)
    assert all(each.rate > 0 for each in found)


def test_another_answer_than_the_wanted_one_ends_the_measurement(port):
    with pytest.raises(RuntimeError, match=r"wanted b'HTTP/1\.1 304', found b'HTTP/1\.1 200"):
        measure(port, [("/empty", ""), ("/long", '"old"')], clients=1, seconds=0.1, rounds=1)


def test_each_round_is_set_beside_the_empty_view_of_its_own_time():
    empty = [Round(100, 1, 2), Round(10, 10, 20), Round(50, 2, 4)]
    asked = [Round(50, 2, 4), Round(5, 20, 40), Round(25, 4, 8)]
    found = beside_empty(empty, asked)
    assert (found.of_empty, found.slower, found.rate) == (0.5, 2, 25)
