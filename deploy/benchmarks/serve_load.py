"""Clients that ask for one address after another, each beside the empty view in the same seconds.

`python -m deploy.benchmarks.serve_load PORT CLIENTS SECONDS ROUNDS PAUSE` reads the addresses as
lines of JSON, `["/path", "etag or empty"]`, the empty view first, and prints as JSON what each
came to. With a pause of 0 s each client asks again as soon as it has its answer; else it looks at
random times, that far apart on average, and a request that could not go out at its time is late
from then on. One process, connections that are kept and no more parsing than finding an answer's
end, so that the clients take little from the cores that the server needs too.
"""

from __future__ import annotations

import json
import select
import socket
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from random import Random
from statistics import median

AT_ONCE = 1 << 18
"""Bytes read from a connection at once; more than most answers have."""
TIMEOUT_S = 60.0


@dataclass
class Client:
    """A persistent connection, when its request was due, and the response so far."""

    connection: socket.socket
    due_at: float = 0.0
    answer: bytearray = field(default_factory=bytearray)


@dataclass(frozen=True)
class Round:
    """Requests a second, and the median and the 99th percentile of their times in ms."""

    rate: float
    half_ms: float
    nearly_all_ms: float


@dataclass(frozen=True)
class Beside:
    """Medians over the rounds; ``of_empty`` and ``slower`` set rate and 99th percentile of each
    round against the empty view's just before it."""

    rate: float
    half_ms: float
    nearly_all_ms: float
    of_empty: float
    slower: float


def beside_empty(empty: Sequence[Round], asked: Sequence[Round]) -> Beside:
    """Results of an address, round by round beside the empty view."""
    pairs = list(zip(empty, asked, strict=True))
    return Beside(
        rate=median(each.rate for each in asked),
        half_ms=median(each.half_ms for each in asked),
        nearly_all_ms=median(each.nearly_all_ms for each in asked),
        of_empty=median(each.rate / nothing.rate for nothing, each in pairs),
        slower=median(each.nearly_all_ms / nothing.nearly_all_ms for nothing, each in pairs),
    )


def ask(
    clients: dict[int, Client], request: bytes, wanted: bytes, seconds: float, pause_s: float = 0.0
) -> Round:
    """Each client sends its next request once its last answer is in and the next is due."""
    waiting = select.epoll()
    times = Random(1)
    begun = time.perf_counter()
    until = begun + seconds
    idle: list[tuple[float, int]] = []
    taken: list[float] = []

    def plan(number: int, last: float) -> None:
        due = last + times.expovariate(1 / pause_s) if pause_s else time.perf_counter()
        if due < until:
            heappush(idle, (due, number))

    for number in clients:
        waiting.register(number, select.EPOLLIN)
        plan(number, begun)
    asking = 0
    while idle or asking:
        while idle and idle[0][0] <= time.perf_counter():
            due, number = heappop(idle)
            _send(clients[number], request, due)
            asking += 1
        rest = max(idle[0][0] - time.perf_counter(), 0.0) if idle else TIMEOUT_S
        ready = waiting.poll(rest)
        if not ready and not idle:
            raise TimeoutError(f"no answer to {request!r} within {TIMEOUT_S:.0f} s")
        for number, _ in ready:
            client = clients[number]
            if _answered(client, wanted):
                asking -= 1
                taken.append(time.perf_counter() - client.due_at)
                plan(number, client.due_at)
    waiting.close()
    rate = len(taken) / (time.perf_counter() - begun)
    taken.sort()
    at = [taken[int(share * (len(taken) - 1))] for share in (0.5, 0.99)]
    return Round(rate, 1000 * at[0], 1000 * at[1])


def _send(client: Client, request: bytes, due_at: float) -> None:
    client.answer.clear()
    client.due_at = due_at
    client.connection.sendall(request)


def _answered(client: Client, wanted: bytes) -> bool:
    """Read what has come; whether it is all of the answer."""
    read = client.connection.recv(AT_ONCE)
    client.answer += read
    head_ends = client.answer.find(b"\r\n\r\n")
    if not read or (head_ends >= 0 and not client.answer.startswith(wanted)):
        raise RuntimeError(f"wanted {wanted!r}, found {bytes(client.answer[:300])!r}")
    return head_ends >= 0 and len(client.answer) == head_ends + 4 + _length(client.answer)


def _length(answer: bytearray) -> int:
    head, _, _ = answer.partition(b"\r\n\r\n")
    _, found, rest = head.lower().partition(b"content-length:")
    return int(rest.partition(b"\r\n")[0]) if found else 0


def measure(
    port: int,
    questions: Sequence[tuple[str, str]],
    clients: int,
    seconds: float,
    rounds: int,
    pause_s: float = 0.0,
) -> list[Beside]:
    """Rounds of so many seconds for every address, the first one again before each."""
    connected = [Client(socket.create_connection(("127.0.0.1", port))) for _ in range(clients)]
    by_number = {client.connection.fileno(): client for client in connected}
    empty, *others = [_question(path, etag) for path, etag in questions]
    found: list[list[tuple[Round, Round]]] = [[] for _ in others]
    for _ in range(rounds):
        for pairs, other in zip(found, others, strict=True):
            nothing = ask(by_number, *empty, seconds, pause_s)
            pairs.append((nothing, ask(by_number, *other, seconds, pause_s)))
    for client in connected:
        client.connection.close()
    of_empty = [pair[0] for pairs in found for pair in pairs]
    return [beside_empty(of_empty, of_empty), *(beside_empty(*zip(*p, strict=True)) for p in found)]


def _question(path: str, etag: str) -> tuple[bytes, bytes]:
    """A request, and how its answer has to begin."""
    header = f"If-None-Match: {etag}\r\n" if etag else ""
    request = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n{header}\r\n".encode()
    return request, b"HTTP/1.1 304" if etag else b"HTTP/1.1 200"


if __name__ == "__main__":
    port_, clients_, seconds_, rounds_, pause = sys.argv[1:]
    requests = [json.loads(line) for line in sys.stdin]
    results = measure(
        int(port_), requests, int(clients_), float(seconds_), int(rounds_), float(pause)
    )
    print(json.dumps([vars(result) for result in results]))
