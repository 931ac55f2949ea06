"""What errors that traces show do to intervals: `deploy/bench traced [--worlds N] [--seconds S]`.

Draws pools by the rules of ``deploy.benchmarks.traced.worlds`` and prints how often the intervals
of the pool and of each tester hold the truth, first with what traces show left out, as it was once,
and then with it. A world always draws the same numbers. Ends after so many seconds for each row.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

import numpy as np

from deploy.benchmarks.throwaway import set_up

if TYPE_CHECKING:
    from deploy.benchmarks.traced.worlds import World
    from results.pools.pool_data import Members

TESTERS = 8
SET_SD = 0.01


def main() -> None:
    """Draw, and print a row for each rate of samples."""
    options = _options()
    with tempfile.TemporaryDirectory() as folder:
        set_up(Path(folder))
        from deploy.benchmarks.traced.worlds import RATES_Hz, drawn  # noqa: PLC0415

        print(
            "samples/s   worlds  held by pool's   its half width   tau2_tester   held by testers'"
        )
        for rate in (*RATES_Hz, None):
            ends, found = monotonic() + options.seconds, []
            for number in range(options.worlds):
                if monotonic() > ends:
                    break
                rng = np.random.default_rng([rate or 0, number])
                found.append(_both(drawn(rng, TESTERS, rate)))
            means = np.mean(found, axis=0)
            for name, row in zip(("without", "with"), means, strict=True):
                print(f"{rate or 'any':>9} {name:>8} {len(found):>6} {100 * row[0]:8.1f} "
                      f"{100 * row[1]:12.2f}% {row[2]:14.6f} {100 * row[3]:14.1f}",
                      flush=True)  # fmt: skip


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/bench traced", description=__doc__)
    parser.add_argument("--worlds", type=int, default=200, help="pools of each row")
    parser.add_argument("--seconds", type=float, default=600.0, help="at most, for each row")
    return parser.parse_args()


def _both(world: World) -> list[tuple[float, ...]]:
    """The figures of a row without and with what traces show."""
    none = np.zeros(len(world.members))
    without = replace(world.members, zero_of_pulls=none, missed_peak=none)
    return [_judged(members, world) for members in (without, world.members)]


def _judged(members: Members, world: World) -> tuple[float, ...]:
    from deploy.benchmarks.traced.worlds import EFFICIENCY  # noqa: PLC0415
    from results.pools.estimate import pooled_from  # noqa: PLC0415
    from results.pools.pool_data import log_ratios  # noqa: PLC0415
    from results.statistics.tester_means import means_by_tester  # noqa: PLC0415

    pooled, ratios = pooled_from(members).pooled, log_ratios(members)
    assert pooled is not None
    held = pooled.ci_low <= np.log(EFFICIENCY) <= pooled.ci_high
    of_testers = means_by_tester(
        ratios.y, ratios.own_variance, ratios.shared_variance, members.tester, members.session,
        members.baseline, tau2_session=0.0, tau2_set=SET_SD**2, zero=members.errors,
        scale=members.scale,
    )  # fmt: skip
    true = np.log(world.true)
    own = np.mean((of_testers.low <= true) & (true <= of_testers.high))
    half = (pooled.ci_high - pooled.ci_low) / 2
    return float(held), half, pooled.tau2_tester, float(own)


if __name__ == "__main__":
    main()
