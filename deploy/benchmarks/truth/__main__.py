"""Do the intervals hold what they promise?  `deploy/bench truth [--repeats N]`.

Draws worlds from the scenario (3 to 100 testers, even and uneven, much alike, a third of the pulls
parting in the line, grips that part, drifting rigs, one weak tyer; single joins with half their
pulls parting in the line) and prints how often each interval covered its truth, biases and false
alarms, with the Monte Carlo error in brackets.  A world and a repeat always draw the same numbers.
"""

import argparse
import os
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import groupby
from multiprocessing import get_context
from time import perf_counter
from zlib import crc32

import numpy as np

from deploy.benchmarks.truth.joins import JoinWorld, join_worlds, judge_join
from deploy.benchmarks.truth.judging import judge
from deploy.benchmarks.truth.worlds import World, draw, worlds
from results.statistics.errors import StatisticsError

Tally = dict[str, list[float]]
Chunk = tuple[World | JoinWorld, range]

CHUNK = 20
SETS_A_POOL = 8
"""A single join costs so much less than a pool that this many more are drawn."""

AIMS = {"mean, CR2": "94 to 96", "prediction": "93 to 97", "own against pool": "94 to 96"}


def tally(chunk: Chunk) -> Tally:
    """Measures of some repeats of one world; a pool that is refused is counted."""
    world, repeats = chunk
    found: Tally = defaultdict(list)
    for repeat in repeats:
        random = np.random.default_rng((crc32(repr(world).encode()), repeat))
        try:
            if isinstance(world, JoinWorld):
                measures = list(judge_join(world, random))
            else:
                measures = list(judge(world, draw(world, random), random))
        except StatisticsError:
            found["refused"].append(1.0)
            continue
        for name, value in measures:
            found[name].append(value)
    return dict(found)


def main() -> None:
    asked = _arguments()
    os.environ["OMP_NUM_THREADS"] = "1"
    chunks = [
        *_chunks([world for world in worlds() if asked.only in world.name], asked.repeats),
        *_chunks(
            [world for world in join_worlds() if asked.only in world.name],
            asked.repeats * SETS_A_POOL,
        ),
    ]
    began = perf_counter()
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        judged = zip(chunks, pool.map(tally, chunks), strict=True)
        for name, of_name in groupby(judged, key=lambda pair: pair[0][0].name):
            _print(name, _merged(of_name))
    print(f"\n{asked.repeats} repeats a world, {perf_counter() - began:.0f} s")


def _merged(judged: Iterable[tuple[Chunk, Tally]]) -> dict[World | JoinWorld, Tally]:
    whole: dict[World | JoinWorld, Tally] = {}
    for (world, _), found in judged:
        merged = whole.setdefault(world, defaultdict(list))
        for name, values in found.items():
            merged[name] += values
    return whole


def _chunks(judged: Sequence[World | JoinWorld], repeats: int) -> Iterator[Chunk]:
    for world in judged:
        for start in range(0, repeats, CHUNK):
            yield world, range(start, min(start + CHUNK, repeats))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/bench truth", description=__doc__)
    parser.add_argument("--repeats", type=int, default=60, help="pools drawn a world")
    parser.add_argument("--only", default="", help="judge only worlds with this in their name")
    return parser.parse_args()


def _print(name: str, judged: dict[World | JoinWorld, Tally]) -> None:
    sizes = [w.testers if isinstance(w, World) else w.pulls for w in judged]
    what = "testers" if isinstance(next(iter(judged)), World) else "pulls"
    print(f"\n{name}")
    print(f"  {what:34}" + "".join(f"{size:>14}" for size in sizes) + "   aim")
    for measure in dict.fromkeys(measure for one in judged.values() for measure in one):
        cells = "".join(f"{_cell(measure, one.get(measure, [])):>14}" for one in judged.values())
        print(f"  {measure:34}{cells}   {AIMS.get(measure, '')}".rstrip(), flush=True)


def _cell(measure: str, values: list[float]) -> str:
    if measure == "refused":
        return str(len(values))
    if not values:
        return "-"
    scaled = np.array(values) * (1.0 if "percent" in measure else 100.0)
    return f"{scaled.mean():.2f} ({scaled.std() / np.sqrt(scaled.size):.2f})"


if __name__ == "__main__":
    main()
