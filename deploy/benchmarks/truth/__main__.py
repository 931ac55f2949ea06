"""Do the figures hold what they promise?  `deploy/bench truth [--row NAME] [--repeats N]`.

Draws worlds by other rules than the methods' (heavy-tailed testers, Weibull and skewed joins, line
products, clubs with one spool, ties by another hand, rounding, zero errors, uneven sessions, weak
grips; and the scenario's own) and prints of every row how often what was said was true, with the
Monte Carlo error in brackets. Most rows are tried by the pure functions, those of the whole path
from readings to pool in a throwaway store. With a folder to keep it in, what is done is done: the
same command goes on where it was stopped, and loses no more than what was being computed.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import tempfile
from collections import Counter
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np

from deploy.benchmarks.throwaway import migrate, set_up
from deploy.benchmarks.truth.repeats import Found, Kept, digest_of_code, run

if TYPE_CHECKING:
    from deploy.benchmarks.truth.row import Row

KEPT = "truth.jsonl"


def main() -> int:
    """Run what is missing and print it; 1 where a repeat crashed, 2 where no row is named."""
    asked = _arguments()
    with contextlib.ExitStack() as stack:
        folder = asked.keep or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        folder.mkdir(parents=True, exist_ok=True)
        set_up(folder)
        from deploy.benchmarks.truth.rows.registry import rows_named  # noqa: PLC0415

        rows = rows_named(asked.row)
        if not rows:
            print(f"no row has {asked.row!r} in its name", file=sys.stderr)
            return 2
        if asked.list:
            print("\n".join(row.key for row in rows))
            return 0
        if any(row.whole for row in rows):
            migrate()
        kept = Kept(folder / KEPT, digest_of_code())
        crashed = [
            _row(row, kept, asked.whole if row.whole else asked.repeats, asked.processes)
            for row in rows
        ]
    return 1 if any(crashed) else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/bench truth", description=__doc__)
    parser.add_argument("--row", default="", help="only rows with this in their name or case")
    parser.add_argument("--repeats", type=int, default=1_000, help="worlds by the pure functions")
    parser.add_argument("--whole", type=int, default=50, help="worlds by the whole path")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder that keeps what is done")
    parser.add_argument("--list", action="store_true", help="name the rows and end")
    return parser.parse_args()


def _row(row: Row, kept: Kept, repeats: int, processes: int) -> bool:
    """Run and print one row; whether a repeat crashed."""
    began = perf_counter()
    jobs = [(row.key, repeat) for repeat in range(repeats)]
    left = [job for job in jobs if job not in kept.found]
    # A store in one file has one writer.
    for job, found in run(left, kept.path.parent, 1 if row.whole else processes):
        kept.add(job, found)
    print(f"\n{row.key}  ({repeats} repeats, {perf_counter() - began:.0f} s now)")
    all_found = [kept.found[job] for job in jobs]
    for line in table(row, all_found):
        print(line, flush=True)
    for why, number in Counter(one["why"] for one in all_found if "why" in one).most_common(3):
        print(f"  {number:>6} x {why}", flush=True)
    return any("crashed" in one for one in all_found)


def table(row: Row, found: list[Found]) -> list[str]:
    """A line a measure: its mean, the Monte Carlo error, of how many, and the aim.

    Shares are in percent; measures that are percents already say so in their name.
    """
    names = dict.fromkeys(name for one in found for name in one if name != "why")
    return [_measure(row, name, [one[name] for one in found if name in one]) for name in names]


def _measure(row: Row, name: str, by_repeat: list[list[float]]) -> str:
    scale = 1.0 if "percent" in name else 100.0
    # Several measures of one repeat share a world: the repeat is what varies.
    means = scale * np.array([np.mean(values) for values in by_repeat])
    error = means.std(ddof=1) / np.sqrt(means.size) if means.size > 1 else float("nan")
    if name in ("refused", "crashed"):
        return f"  {name:36}{means.size:>9} of the repeats"
    cell = f"{means.mean():.2f} ({error:.2f})"
    return f"  {name:36}{cell:>16}  n={means.size:<6}{row.aims.get(name, '')}".rstrip()


if __name__ == "__main__":
    sys.exit(main())
