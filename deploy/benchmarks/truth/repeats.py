"""Results of single repeats, kept as they come in: one line of JSON each.

A repeat of a row draws the same numbers whatever ran before it, on however many processes. A line
that was cut short when the benchmark was stopped is left out, and its repeat is run again. Each
line says by which code it was found: results of other code are left alone and don't count.
"""

from __future__ import annotations

import json
import traceback
from collections.abc import Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from hashlib import sha256
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np

from deploy.benchmarks.throwaway import set_up

ROOT = Path(__file__).parents[3]
CODE = ("results/statistics", "results/pools", "results/normalising", "rigs/metrology",
        "deploy/benchmarks/truth")  # fmt: skip

Found = dict[str, Any]
Job = tuple[str, int]
"""A row's key, and the number of a repeat."""


def digest_of_code() -> str:
    """Twelve digits that change with the code that computes."""
    found = sha256()
    for folder in CODE:
        for path in sorted((ROOT / folder).rglob("*.py")):
            found.update(path.read_bytes())
    return found.hexdigest()[:12]


class Kept:
    """The file of the results, found by this code."""

    def __init__(self, path: Path, code: str) -> None:
        self.path, self.code = path, code
        self.found: dict[Job, Found] = {}
        for line in _whole_lines(path):
            if line["code"] == code:
                self.found[line["row"], line["repeat"]] = line["found"]

    def add(self, job: Job, found: Found) -> None:
        line = {"row": job[0], "repeat": job[1], "code": self.code, "found": found}
        with self.path.open("a", encoding="utf-8") as out:
            out.write(json.dumps(line) + "\n")
        self.found[job] = found


def _whole_lines(path: Path) -> list[Found]:
    """The file's lines; one that was cut short at the end is cut off."""
    if not path.exists():
        return []
    whole, _, rest = path.read_bytes().rpartition(b"\n")
    if rest:
        path.write_bytes(whole + b"\n" if whole else b"")
    return [json.loads(line) for line in whole.splitlines()]


def run(jobs: Iterable[Job], folder: Path, processes: int) -> Iterator[tuple[Job, Found]]:
    """What each job found, as they come in."""
    if processes == 1:
        for job in jobs:
            yield job, once(job)
        return
    left = iter(jobs)
    with ProcessPoolExecutor(
        processes, mp_context=get_context("spawn"), initializer=set_up, initargs=(folder,)
    ) as pool:
        running = {pool.submit(once, job): job for job in islice(left, 2 * processes)}
        while running:
            for done in wait(running, return_when=FIRST_COMPLETED).done:
                yield running.pop(done), done.result()
                running.update({pool.submit(once, job): job for job in islice(left, 1)})


def once(job: Job) -> Found:
    """The measures of one repeat, each a list; and why it was refused or crashed, if it did."""
    from deploy.benchmarks.truth.rows.registry import ROWS  # noqa: PLC0415
    from results.statistics.errors import StatisticsError  # noqa: PLC0415

    key, repeat = job
    row = next(row for row in ROWS if row.key == key)
    found: Found = {}
    try:
        for name, value in row.once(np.random.default_rng((crc32(key.encode()), repeat))):
            found.setdefault(name, []).append(round(float(value), 9))
    except StatisticsError as error:
        return {"refused": [1.0], "why": f"{type(error).__name__}: {error}"}
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{Path(where.filename).name}:{where.lineno}"
        return {"crashed": [1.0], "why": f"{type(error).__name__} at {place}: {error}"[:300]}
    return found
