"""Time our pool beside metafor, statsmodels and PyMARE on the same data: `deploy/bench pooling`.

One run prints, for 100, 1000 and 5000 sets (dense covariance up to 1000), seconds, how many times
as long as ours, and how far estimates and log-likelihoods lie apart; then ours alone to 100 000
sets in unequal blocks, the whole pool (fit, profiles, CR2, leave-one-tester-out, prediction), and
both estimands by one model of all pulls.
Worlds are invented: testers with one to three sessions of one to four sets on a shared baseline.
Give numbers of sets to compare at others.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from time import perf_counter, process_time
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from pymare import Dataset
from pymare.estimators import VarianceBasedLikelihoodEstimator
from statsmodels.stats.meta_analysis import combine_effects

from deploy.benchmarks.agreement.two_level_pool import pool_two_level
from results.statistics.one_stage.one_stage import Loads, one_stage
from results.statistics.pool_fit import fit_pool
from results.statistics.pooling import pool

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Found = TypeVar("Found")

SIZES = (100, 1000, 5000)
LARGEST_DENSE = 1000
ALONE = (1_000, 10_000, 100_000)
WHOLE = (100, 1_000, 2_000, 4_000)
REPEATS = 5
OURS = "ours"
R_SCRIPT = Path(__file__).with_name("pooling.R")


@dataclass(frozen=True)
class World:
    """k sets drawn from a pool with scatter of testers, sessions and sets."""

    y: Floats
    own: Floats
    shared: Floats
    tester: NDArray[np.int64]
    session: NDArray[np.int64]

    @property
    def columns(self) -> tuple[NDArray[np.generic], ...]:
        return (self.y, self.own, self.shared, self.tester, self.session, self.session)


@dataclass(frozen=True)
class TimingRow:
    """One program's time and what it found; theta = (tester, session, set)."""

    name: str
    seconds: float
    mu: float
    theta: tuple[float, ...]
    loglik: float


def draw(sets: int, seed: int = 1) -> World:
    """A world of about so many sets: one to three sessions a tester, one to four sets each."""
    rng = np.random.default_rng(seed)
    sessions_of_tester = rng.integers(1, 4, sets)
    tester_of_session = np.repeat(np.arange(sets), sessions_of_tester)
    session = np.repeat(
        np.arange(tester_of_session.size), rng.integers(1, 5, tester_of_session.size)
    )
    session = session[:sets]
    tester = tester_of_session[session]
    own = 0.0064 / rng.integers(3, 9, sets)
    shared = (0.0009 / rng.integers(3, 9, session.max() + 1))[session]
    y = (
        -0.25
        + rng.normal(0, 0.045, tester.max() + 1)[tester]
        + rng.normal(0, 0.03, session.max() + 1)[session]
        + rng.normal(0, 1, session.max() + 1)[session] * np.sqrt(shared)
        + rng.normal(0, 0.03, sets)
        + rng.normal(0, np.sqrt(own))
    )
    return World(y, own, shared, tester, session)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("sets", nargs="*", type=int, default=list(SIZES), metavar="SETS")
    sizes = parser.parse_args().sets
    has_r = shutil.which("Rscript") is not None
    if not has_r:
        print("Rscript isn't here: metafor is left out.", file=sys.stderr)
    for number, size in enumerate(sizes):
        world = draw(size)
        testers = np.unique(world.tester).size
        print(f"\n{size} sets, {testers} testers, {np.unique(world.session).size} sessions")
        _print_rows(_multilevel(world, versions=has_r and not number, metafor=has_r))
        print("two levels, errors taken as independent")
        _print_rows(_two_level(world))
    _alone()
    _whole()
    _one_stage()
    return 0


def _ours(world: World) -> TimingRow:
    fit, seconds = _timed(lambda: fit_pool(*world.columns), REPEATS)
    return TimingRow(
        OURS,
        seconds,
        fit.centre + float(fit.best.likelihood.beta[0]),
        tuple(fit.best.theta.tolist()),
        fit.best.likelihood.value,
    )


def _timed(task: Callable[[], Found], repeats: int) -> tuple[Found, float]:
    """What the task gives, and the median of its seconds, the first run apart."""
    found, times = task(), []
    for _ in range(repeats):
        start = perf_counter()
        found = task()
        times.append(perf_counter() - start)
    return found, float(np.median(times))


def _multilevel(world: World, *, versions: bool, metafor: bool) -> Iterator[TimingRow]:
    if versions:
        print(*_from_r(world, ["versions"]), flush=True)
    yield _ours(world)
    if metafor:
        wanted = ["default", "sparse", *(["dense"] if world.y.size <= LARGEST_DENSE else [])]
        yield from map(_row, _from_r(world, wanted))


def _from_r(world: World, wanted: list[str]) -> Iterator[str]:
    table = np.column_stack((*world.columns[:5], np.arange(world.y.size)))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sets.csv"
        header = "y,own,shared,tester,session,set"
        np.savetxt(path, table, fmt="%.17g", delimiter=",", header=header, comments="")
        command = ["Rscript", str(R_SCRIPT), str(path), *wanted]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
            assert running.stdout is not None
            yield from (line.strip() for line in running.stdout if line.strip())
    if running.returncode:
        print("metafor stopped with an error.", file=sys.stderr)


def _row(line: str) -> TimingRow:
    name, *texts = line.split(",")
    seconds, mu, *theta, loglik = (float(text) for text in texts)
    return TimingRow(name, seconds, mu, tuple(theta), loglik)


def _two_level(world: World) -> Iterator[TimingRow]:
    y, v = world.y, world.own + world.shared
    ours, seconds = _timed(lambda: pool_two_level(y, v, "REML"), REPEATS)
    yield TimingRow(OURS, seconds, ours.mu, (ours.tau2, 0.0, 0.0), np.nan)
    if shutil.which("Rscript"):
        yield from (_row(line) for line in _from_r(world, ["uni"]))
    yield from _pymare(y, v)
    yield from _statsmodels(y, v)


def _pymare(y: Floats, v: Floats) -> Iterator[TimingRow]:
    data = Dataset(y=y[:, None], v=v[:, None], X=np.ones((y.size, 1)), add_intercept=False)

    def fit() -> tuple[float, float]:
        found = VarianceBasedLikelihoodEstimator(method="REML").fit_dataset(data).summary()
        return float(np.ravel(found.fe_params)[0]), float(np.ravel(found.tau2)[0])

    (mu, tau2), seconds = _timed(fit, REPEATS)
    yield TimingRow("PyMARE REML", seconds, mu, (tau2, 0.0, 0.0), np.nan)


def _statsmodels(y: Floats, v: Floats) -> Iterator[TimingRow]:
    found, seconds = _timed(lambda: combine_effects(y, v, method_re="iterated"), REPEATS)
    yield TimingRow(
        "statsmodels Paule-Mandel",
        seconds,
        float(found.mean_effect_re),
        (float(found.tau2), 0, 0),
        np.nan,
    )


def _print_rows(rows: Iterable[TimingRow]) -> None:
    print(
        f"{'':36}{'seconds':>10}{'times ours':>12}{'mu':>14}"
        f"{'tau2 tester, session, set':>40}{'log-likelihood':>18}"
    )
    ours = np.nan
    for row in rows:
        ours = row.seconds if row.name == OURS else ours
        theta = " ".join(f"{part:.7g}" for part in row.theta)
        print(
            f"{row.name:36}{row.seconds:10.4f}{row.seconds / ours:12.1f}{row.mu:14.8f}"
            f"{theta:>40}{row.loglik:18.8f}",
            flush=True,
        )


def _alone() -> None:
    print("\nours alone, unequal blocks: the fit")
    before = np.nan
    for size in ALONE:
        seconds = _ours(draw(size)).seconds
        print(f"{size:8} sets {seconds:8.4f} s, {seconds / before:5.1f} times the one before")
        before = seconds


def _whole() -> None:
    print("\nthe whole pool: fit, profiles, CR2, leave-one-tester-out, prediction")
    for size in WHOLE:
        columns = draw(size).columns
        _, seconds = _timed(partial(pool, *columns), 1)
        print(f"{size:8} sets {seconds:8.4f} s")


def _one_stage() -> None:
    """In seconds of the processor: on a shared machine the clock says little.

    To be run with OMP_NUM_THREADS=1, as what is deployed runs: on many small matrices a second
    thread costs more than it gives.
    """
    print("\nboth estimands by one model of all pulls")
    for size in ALONE:
        sets = draw_pulls(size)
        began = process_time()
        one_stage(*sets)
        seconds, k = process_time() - began, sets[0].size
        print(f"{k:8} sets {seconds:8.2f} s of the processor, {1e3 * seconds / k:.3f} ms a set")


def draw_pulls(size: int) -> tuple[Codes, Codes, Codes, Loads, Loads, Loads]:
    """About so many sets of 3 to 8 pulls, some of which part in the line, as `one_stage` has it."""
    rng = np.random.default_rng(size)
    of_session = np.repeat(np.arange(size // 6), rng.integers(1, 5, size // 6))
    session = np.repeat(np.arange(of_session.size), rng.integers(1, 5, of_session.size))
    tester, k = of_session[session], session.size
    level = rng.normal(0, 0.04, of_session.max() + 1)[tester]
    level += rng.normal(0, 0.02, of_session.size)[session] + rng.normal(0, 0.01, k)
    group = np.repeat(np.arange(k), rng.integers(3, 9, k))
    own = level[group] - 0.03 + rng.normal(0, 0.07, group.size)
    line = rng.normal(0, 0.035, group.size)
    straight = np.repeat(np.arange(of_session.size), rng.integers(3, 9, of_session.size))
    straight_N = 100 * np.exp(rng.normal(0, 0.035, straight.size))
    load_N, every = 100 * np.exp(np.minimum(own, line)), np.ones(group.size, dtype=bool)
    return (
        tester,
        session,
        session,
        Loads(straight_N, np.ones(straight.size, dtype=bool), straight),
        Loads(load_N, every, group),
        Loads(load_N, own < line, group),
    )


if __name__ == "__main__":
    sys.exit(main())
