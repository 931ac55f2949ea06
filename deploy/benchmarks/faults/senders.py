"""Testers who send sessions while something breaks, each again and again until it is accepted."""

from __future__ import annotations

import hashlib
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import msgspec
import numpy as np
import requests

from deploy.demo.client import Client

HANDLES = ("alder", "birch", "cedar", "damson")
PASSWORD = "only-for-this-benchmark"
JOINS = ("Double uni", "Blood", "Surgeon's", "Alberto", "Albright", "FG")
LINES = {"main": "15 lbf", "leader": "40 lbf"}
REVISION = {
    "made_on": "2025-10-04",
    "load_generation": "hand winch",
    "indicator": "digital scale",
    "peak_capture": "peak hold",
    "resolution": "0.001 lbf",
    "capacity": "110 lbf",
    "first_grip": "bollard",
    "second_grip": "bollard",
}
STRAIGHT, JOINED, SETS = 8, 6, 3
GIVES_UP_AFTER_S = 150.0
ASKS_AGAIN_AFTER_S = 0.3


def lay_world(address: str) -> None:
    """Lines, joins and a rig for each tester."""
    for handle in HANDLES:
        tester = Client(address, handle, PASSWORD)
        tester.post("/rigs", {"name": f"rig of {handle}", "revision": REVISION})
    for name, strength in LINES.items():
        material = {"material": "nylon monofilament", "label_strength": strength}
        tester.post("/lines", {"name": name, **material})
    for join in JOINS:
        tester.post("/connections", {"name": join, "kind": "line to line"})


@dataclass
class Sending:
    """One document on its way: what was sent, and what was answered to it."""

    handle: str
    body: bytes
    key: str
    receipt: Any = None
    took_s: float = 0.0

    @property
    def sha256(self) -> str:
        """Of the bytes that were sent."""
        return hashlib.sha256(self.body).hexdigest()

    @property
    def session(self) -> int:
        """The id of the session that it became."""
        return int(self.receipt["session"].rstrip("/").rpartition("/")[2])


@dataclass
class Senders:
    """Four testers; ``refusals`` counts their answers other than 202."""

    address: str
    tokens: dict[str, str]
    rng: np.random.Generator
    sent: list[Sending] = field(default_factory=list)
    refusals: Counter[str] = field(default_factory=Counter)

    def draw(self, handle: str, state: str = "dry") -> Sending:
        """A session that was not sent yet."""
        joins = self.rng.choice(JOINS, SETS, replace=False)
        place = int(self.rng.integers(0, 60))
        document = {
            "rig": f"rig of {handle}",
            "revision": 1,
            "pulled_on": f"2026-{1 + place // 28:02d}-{1 + place % 28:02d}",
            "state": state,
            "unit": "lbf",
            "baselines": [{"line": "main", "pulls": self._pulls(STRAIGHT, 21.0, "line", "")}],
            "pull_sets": [
                {
                    "label": f"set {number}",
                    "connection": str(join),
                    "main": {"line": "main"},
                    "leader": {"line": "leader"},
                    "pulls": self._pulls(JOINED, 15.0 + 0.3 * JOINS.index(join), "join", "main"),
                }
                for number, join in enumerate(joins, start=1)
            ],
        }
        return Sending(handle, msgspec.json.encode(document), str(uuid.uuid4()))

    def _pulls(self, number: int, mean: float, mode: str, place: str) -> list[dict[str, Any]]:
        spread = 0.02 if mode == "line" else 0.05
        readings = np.round(self.rng.normal(mean, spread * mean, number), 3).tolist()
        return [{"reading": reading, "failure_mode": mode, "place": place} for reading in readings]

    def send(self, sending: Sending, *, again: bool = True) -> bool:
        """Send until it is accepted or patience ends, under the same key; whether it was."""
        begun = time.monotonic()
        while not self._accepted(sending):
            if not again or time.monotonic() - begun > GIVES_UP_AFTER_S:
                return False
            time.sleep(ASKS_AGAIN_AFTER_S)
        sending.took_s = time.monotonic() - begun
        return True

    def one(self, handle: str = HANDLES[0], state: str = "dry") -> Sending:
        """Send one session, and have it accepted."""
        sending = self.draw(handle, state)
        self.sent.append(sending)
        self.send(sending)
        return sending

    def _accepted(self, sending: Sending) -> bool:
        headers = {
            "Authorization": f"Token {self.tokens[sending.handle]}",
            "Content-Type": "application/json",
            "Idempotency-Key": sending.key,
        }
        try:
            with requests.Session() as http:
                http.trust_env = False
                url = f"{self.address}/api/v1/sessions"
                answer = http.post(url, sending.body, headers=headers, timeout=30)
        except requests.RequestException as error:
            self.refusals[type(error).__name__] += 1
            return False
        if answer.status_code != requests.codes.accepted:
            form = answer.headers.get("Content-Type", "no type").partition(";")[0]
            self.refusals[f"{answer.status_code} {form}"] += 1
            if answer.status_code < requests.codes.server_error:
                raise RuntimeError(f"{answer.status_code}: {answer.text[:500]}")
            return False
        sending.receipt = answer.json()
        return True

    @contextmanager
    def at_work(self, pause_s: float = 1.5) -> Iterator[Callable[[], int]]:
        """All four send one session after another until the block ends, and then all are in.

        Yields a function that returns how many were accepted so far.
        """
        done = threading.Event()
        lock = threading.Lock()

        def work(handle: str) -> None:
            while not done.is_set():
                with lock:
                    sending = self.draw(handle)
                    self.sent.append(sending)
                self.send(sending)
                done.wait(pause_s)

        with ThreadPoolExecutor(len(HANDLES)) as pool:
            working: list[Future[None]] = [pool.submit(work, handle) for handle in HANDLES]
            try:
                yield lambda: sum(each.receipt is not None for each in list(self.sent))
            finally:
                done.set()
            for each in working:
                each.result()

    def ledger(self) -> list[dict[str, Any]]:
        """What was answered 202, as the audit reads it."""
        return [
            {
                "handle": each.handle,
                "key": each.key,
                "sha256": each.sha256,
                "session": each.session,
                "job": each.receipt["job"]["id"],
                "body": each.body.decode(),
            }
            for each in self.sent
            if each.receipt is not None
        ]
