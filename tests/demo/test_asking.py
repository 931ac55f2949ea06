"""A client of the demo on a slow machine: it asks seldom, and waits when it is asked to."""

from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

import pytest
import requests

from deploy.demo import send
from deploy.demo.client import Client, Refusal


class Busy(BaseHTTPRequestHandler):
    """Answers 429 to the first two requests of each path but of jobs, which take their time."""

    asked: list[str] = []

    def do_GET(self):
        self.asked.append(self.path)
        job = self.path.rpartition("/jobs/")[2] if "/jobs/" in self.path else ""
        taken = job or (self.asked.count(self.path) > 2 and "never" not in self.path)
        body = b'{"state": "done"}' if taken else b'{"status": 429}'
        if job and len(self.asked) < 10 * int(job):
            body = b'{"state": "running"}'
        self.send_response(200 if taken else 429)
        self.send_header("Retry-After", "0")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        """Say nothing."""


@pytest.fixture
def busy():
    Busy.asked.clear()
    with HTTPServer(("127.0.0.1", 0), Busy) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


def test_who_is_asked_to_wait_waits_and_is_answered(busy):
    assert Client(busy).get("/pools") == {"state": "done"}
    assert Busy.asked == ["/api/v1/pools"] * 3


def test_who_is_never_answered_says_so(busy):
    with pytest.raises(Refusal, match="429"):
        Client(busy).get("/never")
    assert len(Busy.asked) == 6


def test_a_service_that_is_not_there_yet_is_found_out_at_once_and_in_silence(caplog):
    with pytest.raises(requests.ConnectionError):
        Client("http://127.0.0.1:9").get("/pools")
    assert caplog.text == ""


def test_thirty_jobs_that_wait_are_asked_about_one_at_a_time(busy, monkeypatch):
    """Each is done ten looks after the one before it."""
    monkeypatch.setattr(send, "ASK_EVERY_S", 0)
    send._wait_for(Client(busy), [f"/jobs/{number}" for number in range(1, 31)])
    assert len(Busy.asked) <= 30 * 11
