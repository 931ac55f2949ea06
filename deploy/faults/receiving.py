"""Uploads broken off: the web process killed at each step of one, and slow clients."""

from __future__ import annotations

import os
import signal
import socket
import statistics
import threading
import time
from collections.abc import Callable

from deploy.faults.bench import Bench
from deploy.faults.senders import HANDLES
from deploy.faults.stalls import Step, stalled, wait_for_stall
from deploy.processes import wait_until

SLOW = 60
SLOW_FOR_S = 15.0
STEPS = (
    Step("storing the session", "results_session", "INSERT"),
    Step("storing the pulls", "results_pullset", "INSERT"),
    Step("storing the bytes", "results_upload", "INSERT"),
    Step("at the commit", "results_upload", "INSERT", at_commit=True),
)


def killed_while_storing(bench: Bench) -> None:
    """Kill the web process at each step of storing; the tester sends again under the same key."""
    for number, step in enumerate(STEPS * bench.repeats):
        with stalled(bench.database, step):
            sending = _begin_one(bench, number)
            wait_for_stall(bench.database, step)
            _kill_web(bench, number // len(STEPS))
        bench.mended()
        sending.join()
    bench.note = ", ".join(step.name for step in STEPS)


def killed_before_its_answer(bench: Bench) -> None:
    """Stored, and killed before the tester is told: a hung Redis holds the answer back."""
    for number in range(bench.repeats):
        stored = "SELECT count(*) FROM results_upload"
        before = bench.database.tell(stored)[0][0]
        server = bench.queue.process
        assert server is not None
        server.send_signal(signal.SIGSTOP)
        sending = _begin_one(bench, number)
        wait_until(lambda: bench.database.tell(stored)[0][0] > before, "The upload", 60)  # noqa: B023
        _kill_web(bench, number)
        server.send_signal(signal.SIGCONT)
        bench.mended()
        sending.join()
        bench.service.wait_until_done()


def killed_under_load(bench: Bench) -> None:
    """One web process, or all of them, killed every now and then while sessions come in."""
    with bench.senders.at_work() as accepted:
        for number in range(3 * bench.repeats):
            wanted = accepted() + 2
            wait_until(lambda: accepted() >= wanted, "More sessions", 120)  # noqa: B023
            time.sleep(float(bench.rng.uniform(0, 0.3)))
            _kill_web(bench, number)
        bench.mended()


def slow_clients(bench: Bench) -> None:
    """Bodies half sent over many connections, while others send theirs."""
    body = bench.senders.draw(HANDLES[0]).body
    head = (
        f"POST /api/v1/sessions HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        f"Authorization: Token {bench.tokens[HANDLES[0]]}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    address = ("127.0.0.1", bench.service.port)
    slow = [socket.create_connection(address, timeout=30) for _ in range(SLOW)]
    for each in slow:
        each.sendall(head.encode() + body[: len(body) // 2])
        bench.strike()
    with bench.senders.at_work():
        time.sleep(SLOW_FOR_S)
    bench.mended()
    for each in slow:
        each.close()
    took = [sending.took_s for sending in bench.senders.sent]
    bench.note = (
        f"{SLOW} half-sent bodies; others' uploads: median {statistics.median(took):.2f} s, "
        f"slowest {max(took):.2f} s"
    )


def _begin_one(bench: Bench, number: int) -> threading.Thread:
    sending = threading.Thread(target=bench.senders.one, args=[HANDLES[number % len(HANDLES)]])
    sending.start()
    return sending


def _kill_web(bench: Bench, number: int) -> None:
    """At one time its workers alone, at another all of it."""
    if number % 2:
        bench.service.web.kill()
    else:
        for pid in bench.service.web.children():
            os.kill(pid, signal.SIGKILL)
    bench.strike()


FAULTS: dict[str, Callable[[Bench], None]] = {
    "web killed storing": killed_while_storing,
    "web killed: stored, not answered": killed_before_its_answer,
    "web killed under load": killed_under_load,
    "slow clients": slow_clients,
}
