"""Run the panel: `deploy/bench screening [--kind NAME ...] [--cases N] [--half choose|report]`.

Every kind is drawn in ``--cases`` worlds. Its rows go straight into the tables and the job of an
upload normalises and screens them; with ``--whole`` it is sent through intake and its pools are
computed as well. Thresholds are chosen on the worlds of even seeds (``--half choose``) and reported
on those of odd ones (``--half report``). Stopped, a run goes on from what ``--keep`` holds; use
another folder after a change of the code. ``--league`` sends the demo league instead.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import sys
import tempfile
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from deploy.benchmarks.screening.panel import KINDS
from deploy.benchmarks.screening.table import print_table, save

CASES = {False: 120, True: 10}
Task = tuple[int, bool, bool, tuple[str, ...]]


def main() -> int:
    """Run what is missing and print the table."""
    arguments = _arguments()
    if arguments.league:
        return _run_league(arguments)
    chosen = _chosen(arguments.kind)
    kept = Path(arguments.keep) if arguments.keep else Path(tempfile.mkdtemp(prefix="panel-"))
    kept.mkdir(parents=True, exist_ok=True)
    file = kept / "outcomes.jsonl"
    rows = [json.loads(line) for line in file.read_text().splitlines()] if file.exists() else []
    seeds = _seeds(arguments.half, arguments.cases or CASES[arguments.whole])
    tasks = list(_missing(rows, seeds, chosen, whole=arguments.whole))
    with file.open("a") as written:
        for number, found in enumerate(_run(tasks, arguments.processes), start=1):
            written.writelines(json.dumps(row) + "\n" for row in found)
            written.flush()
            rows += found
            print(f"{number} of {len(tasks)} worlds", file=sys.stderr, end="\r")
    shown = [
        row
        for row in rows
        if row["kind"] in chosen and row["seed"] in seeds and row["whole"] == arguments.whole
    ]
    print_table(shown, with_checks=arguments.checks)
    if arguments.save:
        save(Path(arguments.save), [row for row in rows if row["seed"] in seeds or row["whole"]])
    return 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kind", action="append", help="a kind, or the beginning of its name")
    parser.add_argument("--cases", type=int, help="a kind: 120, or 10 by the whole way")
    parser.add_argument("--half", choices=("choose", "report", "both"), default="both")
    parser.add_argument("--whole", action="store_true", help="through intake, job and pool")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--keep", metavar="FOLDER", help="outcomes, to go on from")
    parser.add_argument("--checks", action="store_true", help="name the checks that hold most")
    parser.add_argument("--save", metavar="FILE", help="write the summaries as CSV")
    parser.add_argument("--league", action="store_true", help="the demo league and its faults")
    parser.add_argument("--worlds", type=int, default=8, help="leagues to draw")
    parser.add_argument("--seed", type=int, default=6, help="of the leagues")
    return parser.parse_args()


def _chosen(wanted: list[str] | None) -> list[str]:
    """Names of the kinds that are asked for. Raises SystemExit where there is none."""
    chosen = [name for name in KINDS if not wanted or name.startswith(tuple(wanted))]
    if not chosen:
        raise SystemExit(f"no such kind; there are: {', '.join(KINDS)}")
    return chosen


def _seeds(half: str, cases: int) -> list[int]:
    if half == "both":
        return list(range(cases))
    return list(range(half == "report", 2 * cases, 2))


def _missing(
    rows: Iterable[dict[str, Any]], seeds: Iterable[int], chosen: Iterable[str], *, whole: bool
) -> Iterator[Task]:
    """What is still to be run, a task a world: with three testers in it, or with all."""
    done = {(row["kind"], row["seed"], row["whole"]) for row in rows}
    for seed in seeds:
        for as_fourth in (False, True):
            names = tuple(
                name
                for name in chosen
                if KINDS[name].as_fourth == as_fourth and (name, seed, whole) not in done
            )
            if names:
                yield seed, whole, as_fourth, names


def _run(tasks: list[Task], processes: int) -> Iterator[list[dict[str, Any]]]:
    if processes == 1:
        set_up()
        yield from map(run_task, tasks)
        return
    with ProcessPoolExecutor(processes, initializer=set_up) as pool:
        yield from pool.map(run_task, tasks)


def set_up() -> None:
    """A database of this process's own, in a folder that goes with it."""
    folder = tempfile.TemporaryDirectory(prefix="samespool-")
    _FOLDERS.append(folder)
    os.environ.update(SAMESPOOL_VAR=folder.name, DJANGO_SETTINGS_MODULE="deploy.settings")
    for name in ("DATABASE_URL", "REDIS_URL"):
        os.environ.pop(name, None)
    import django  # noqa: PLC0415  (settings are read from the environment above)

    django.setup()
    import structlog  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415

    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))
    call_command("migrate", verbosity=0)


_FOLDERS: list[tempfile.TemporaryDirectory[str]] = []


def run_task(task: Task) -> list[dict[str, Any]]:
    """The outcomes of some kinds in one world."""
    from deploy.benchmarks.screening.cases import (  # noqa: PLC0415  (after Django's set-up)
        outcome_of,
        world_in_store,
    )

    seed, whole, as_fourth, names = task
    with world_in_store(seed, whole=whole, as_fourth=as_fourth) as (world, store):
        return [outcome_of(KINDS[name], world, store).as_row() for name in names]


def _run_league(arguments: argparse.Namespace) -> int:
    from deploy.benchmarks.screening.league import run  # noqa: PLC0415

    set_up()
    run(arguments.worlds, arguments.seed)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
