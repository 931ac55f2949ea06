"""Whether any pool breaks: `deploy/bench pools [--pools N] [--keep FOLDER]`.

Draws pools (the demo league's with noise of 0 to 5 percent; equal values; no scatter; one tester
with nearly all sets; variances to 1e12 times one another; 2 to 200 testers; censored; extreme
loads) and computes all of their figures, comparisons, meta-regressions, networks and ranks; draws
pools pull by pull for the one model that sees pulls; then puts pools of a throwaway store through
a version, its drawing, comparison, screening and the page of a case. Prints the pools' outcomes,
which parts could not be computed, and every exception that is no refusal; exits with 1 where there
is one. With a folder to keep it in, what is done is done: the same command goes on where it was
stopped.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from time import perf_counter
from typing import Any

from deploy.benchmarks.throwaway import migrate, set_up

CHUNK = 200


def main() -> int:
    """Run the benchmark and print its tables; 1 where something crashed."""
    asked = _arguments()
    with contextlib.ExitStack() as stack:
        folder = asked.keep or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        folder.mkdir(parents=True, exist_ok=True)
        set_up(folder)
        _lay_league_once()
        pools = _sum("pools", folder, asked.seed, asked.pools, asked.processes)
        pulls = _sum("pulls", folder, asked.seed, asked.pulls, asked.processes)
        stored = _sum("stored", folder, asked.seed, asked.stored, 1)
    return 1 if any(each["exceptions"] for each in (pools, pulls, stored)) else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/bench pools", description=__doc__)
    parser.add_argument("--pools", type=int, default=100_000, help="pools to draw")
    parser.add_argument("--pulls", type=int, default=20_000, help="pools to draw pull by pull")
    parser.add_argument("--stored", type=int, default=2_000, help="of them through the database")
    parser.add_argument("--seed", type=int, default=14)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder that keeps what is done")
    return parser.parse_args()


def _lay_league_once() -> None:
    from deploy.benchmarks.pools.stored import lay_league  # noqa: PLC0415
    from results.models import Pool  # noqa: PLC0415

    migrate()
    if not Pool.objects.exists():
        lay_league()


def _sum(what: str, folder: Path, seed: int, wanted: int, processes: int) -> dict[str, Any]:
    """Tallies of all chunks, done before or now, printed when the last is done."""
    kept, began = folder / f"{what}-{seed}.jsonl", perf_counter()
    done = {row["first"]: row for row in _rows(kept)}
    left = [first for first in range(0, wanted, CHUNK) if first not in done]
    jobs = [(what, str(folder), seed, first, min(CHUNK, wanted - first)) for first in left]
    with _workers(processes) as work, kept.open("a") as out:
        for row in work(jobs):
            out.write(json.dumps(row) + "\n")
            out.flush()
            done[row["first"]] = row
    total: dict[str, Any] = {"pools": 0, "figures": 0, "seconds": 0.0}
    counters = {name: Counter[str]() for name in ("came_to", "not_estimable", "exceptions")}
    for row in done.values():
        for name in total:
            total[name] += row[name]
        for name, counter in counters.items():
            counter.update(row[name])
    _print(what, total | counters, perf_counter() - began)
    return total | counters


@contextlib.contextmanager
def _workers(processes: int) -> Iterator[Any]:
    if processes == 1:
        yield lambda jobs: map(_chunk, jobs)
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        yield lambda jobs: pool.map(_chunk, jobs)


def _rows(kept: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []


def _chunk(job: tuple[str, str, int, int, int]) -> dict[str, Any]:
    what, folder, seed, first, size = job
    began = perf_counter()
    set_up(Path(folder))
    from deploy.benchmarks.pools.draws import draw  # noqa: PLC0415
    from deploy.benchmarks.pools.pulls import try_pulls  # noqa: PLC0415
    from deploy.benchmarks.pools.stored import try_stored  # noqa: PLC0415
    from deploy.benchmarks.pools.trying import Tally, try_pool  # noqa: PLC0415

    tally = Tally()
    for number in range(first, first + size):
        if what == "stored":
            try_stored(seed, number, _league(folder), tally)
        elif what == "pulls":
            try_pulls(seed, number, tally)
        else:
            try_pool(draw(seed, number, list(_league(folder).values())), number, tally)
    return {"first": first, "seconds": perf_counter() - began, **vars(tally)}


@cache
def _league(_folder: str) -> dict[int, Any]:
    from deploy.benchmarks.pools.stored import league  # noqa: PLC0415

    return league()


def _print(what: str, total: dict[str, Any], seconds: float) -> None:
    pools = max(total["pools"], 1)
    print(
        f"\n{what}: {total['pools']} pools, {total['figures']} with a figure; "
        f"{total['seconds']:.0f} s of work ({1000 * total['seconds'] / pools:.0f} ms a pool), "
        f"{seconds:.0f} s now; {sum(total['exceptions'].values())} crashes"
    )
    for name in ("came_to", "not_estimable", "exceptions"):
        for answer, count in sorted(total[name].items()):
            print(f"  {name.replace('_', ' '):14} {count:>7}  {answer}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
