"""Interrupted uploads: the web process killed at each step of one, and slow clients."""

from __future__ import annotations

import os
import signal
import socket
import statistics
import threading
import time
from collections.abc import Callable
from functools import partial

from deploy.benchmarks.faults.bench import Bench
from deploy.benchmarks.faults.senders import HANDLES
from deploy.benchmarks.faults.stalls import Step, stalled, wait_for_stall
from deploy.tools.processes import wait_until

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
        bench.repaired()
        sending.join()
    bench.note = ", ".join(step.name for step in STEPS)


def killed_before_its_answer(bench: Bench) -> None:
    """Killed after storing and before answering: a hung Redis holds the answer back."""
    for number in range(bench.repeats):
        stored = "SELECT count(*) FROM results_upload"
        before = bench.database.query(stored)[0][0]
        server = bench.queue.process
        assert server is not None
        server.send_signal(signal.SIGSTOP)
        sending = _begin_one(bench, number)
        wait_until(lambda: bench.database.query(stored)[0][0] > before, "The upload", 60)  # noqa: B023
        _kill_web(bench, number)
        server.send_signal(signal.SIGCONT)
        bench.repaired()
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
        bench.repaired()


def slow_clients(number: int, bench: Bench) -> None:
    """Bodies half sent over so many connections, while others send theirs.

    The web process is asked directly. Each of its threads waits for the body it has begun to read,
    so that as many slow clients as it has threads would hold up all others: the proxy in front
    must read bodies whole before it passes them on.
    """
    body = bench.senders.draw(HANDLES[0]).body
    head = (
        f"POST /api/v1/sessions HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        f"Authorization: Token {bench.tokens[HANDLES[0]]}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    address = ("127.0.0.1", bench.service.port)
    slow = [socket.create_connection(address, timeout=30) for _ in range(number)]
    for each in slow:
        each.sendall(head.encode() + body[: len(body) // 2])
        bench.strike()
    with bench.senders.at_work() as accepted:
        time.sleep(SLOW_FOR_S)
        meanwhile = accepted()
        for each in slow:
            each.close()
        bench.repaired()
        wait_until(lambda: accepted() >= meanwhile + 4, "Four more sessions", 120)
    took = [sending.took_s for sending in bench.senders.sent]
    bench.note = (
        f"half-sent bodies held for {SLOW_FOR_S:.0f} s: {meanwhile} uploads of others accepted "
        f"meanwhile; median of all {statistics.median(took):.1f} s, slowest {max(took):.1f} s"
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
    "10 slow clients": partial(slow_clients, 10),
    "60 slow clients, no proxy": partial(slow_clients, 60),
}
