"""Aims of screening on a fixed part of the panel: ten worlds that thresholds were chosen on.

Before screening was rebuilt, these honest oddities were held in most of their cases, and the
mistake in none; see `deploy/benchmarks/screening/before.csv`.
"""

import pytest

from deploy.benchmarks.screening.cases import outcome_of, world_in_store
from deploy.benchmarks.screening.panel import KINDS

SEEDS = range(0, 20, 2)
NEVER_HELD = (
    "whole pounds on a 0.1 lb scale",
    "half pounds on a 0.1 lb scale",
    "dial read at 0 and 5",
    "session of 200 pulls",
    "victim calibrates, the copy was rejected",
)
ALWAYS_HELD = ("kilograms in one set, said pounds",)


@pytest.mark.usefixtures("planted_past")
def test_honest_oddities_are_never_held_and_kilograms_in_one_set_always():
    wrongly = []
    for seed in SEEDS:
        with world_in_store(seed, whole=False, as_fourth=False) as (world, store):
            for name in (*NEVER_HELD, *ALWAYS_HELD):
                outcome = outcome_of(KINDS[name], world, store)
                if outcome.held != (name in ALWAYS_HELD):
                    wrongly.append((name, seed, outcome.checks))
    assert wrongly == []
