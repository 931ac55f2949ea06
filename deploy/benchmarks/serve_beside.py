"""Stores of several sizes in one run, asked in turn: a part of `deploy/bench serve`.

Each store has its own servers, made by a process of its own. An upload or a reading is sent to one
store and then to the other, so that whatever else the machine does bears on all alike.
"""

from __future__ import annotations

import contextlib
import statistics
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import requests
from celery import current_app

Taken = dict[str, float]
Answers = Callable[[int], Taken]
READ = ("pool list", "one pool", "its sets", "page of the list", "page of the pool")
"""Of the addresses that are read: each first after an upload, and then kept."""
TIMEOUT_S = 600.0


def print_side_by_side(stores: Sequence[tuple[float, Any]], rounds: int) -> None:
    """Ask stores in turn, and print what each question took at the median beside the first's.

    A store is its scale and the options of who makes it and answers.
    """
    spawning = get_context("spawn")
    with contextlib.ExitStack() as stack:
        asked = []
        for scale, made_by in stores:
            ours, theirs = spawning.Pipe()
            process = spawning.Process(target=_answer, args=(made_by, theirs))
            process.start()
            theirs.close()
            stack.callback(process.join)
            stack.callback(ours.close)
            ours.recv()
            asked.append((f"{scale:g}", ours))
        taken: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
        for number in range(rounds):
            for name, pipe in asked:
                pipe.send(number)
                for what, seconds in pipe.recv().items():
                    taken[what][name].append(seconds)
        _print(taken, [name for name, _ in asked])


def _print(taken: dict[str, dict[str, list[float]]], scales: list[str]) -> None:
    first = scales[0]
    print(f"\nIn turn, at the median; times those of scale {first}\n\n{'':36}", end="")
    print("".join(f"{scale:>10}" for scale in scales), *(f"{'times':>8}" for _ in scales[1:]))
    for what, of_scale in taken.items():
        medians = [statistics.median(of_scale[scale]) for scale in scales]
        times = "".join(f"{each / medians[0]:>9.2f}" for each in medians[1:])
        print(f"{what:36}" + "".join(f"{each:>10.4g}" for each in medians) + times, flush=True)


def _answer(made_by: Callable[[], contextlib.AbstractContextManager[Answers]], pipe: Any) -> None:
    """Make a store, and answer until the other end is closed."""
    with made_by() as answers, contextlib.suppress(EOFError):
        pipe.send("made")
        while True:
            pipe.send(answers(pipe.recv()))


@contextlib.contextmanager
def answering(address: str) -> Iterator[Answers]:
    """One round: an upload until its pools are fresh, and reading after it; seconds, and MiB."""
    from deploy.benchmarks.large_store.uploads import Newcomer  # noqa: PLC0415, models are ready
    from results.models import Pool  # noqa: PLC0415

    newcomer = Newcomer(address)
    largest = Pool.objects.filter(current__isnull=False).order_by("-current__sets")[0].pk
    of_pool = f"/api/v1/pools/{largest}"
    addresses = ("/api/v1/pools", of_pool, f"{of_pool}/sets", "/", f"/pools/{largest}/")
    paths = dict(zip(READ, addresses, strict=True))

    def answer(number: int) -> Taken:
        taken = {f"upload, {what}, s": seconds for what, seconds in newcomer.upload(number).items()}
        for name, path in paths.items():
            for when in ("first", "again"):
                begun = time.perf_counter()
                requests.get(f"{address}{path}", timeout=TIMEOUT_S).raise_for_status()
                taken[f"{name}, {when}, ms"] = 1000 * (time.perf_counter() - begun)
        taken["most of a worker process, MiB"] = max(map(_peak_MiB, _workers()))
        return taken

    yield answer


def _workers() -> list[int]:
    """The processes that take jobs, of all workers."""
    stats = current_app.control.inspect(timeout=10).stats()
    return [process for each in stats.values() for process in each["pool"]["processes"]]


def _peak_MiB(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024
