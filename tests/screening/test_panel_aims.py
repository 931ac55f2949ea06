"""Aims of screening on a fixed part of the panel: ten worlds that thresholds were chosen on.

Each kind was held in all of its cases, or in none, before screening was rebuilt; see
`deploy/benchmarks/screening/before.csv`.
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


@pytest.fixture(scope="module")
def outcomes(django_db_setup, django_db_blocker):
    """Every case once, by kind."""
    found = {name: [] for name in (*NEVER_HELD, *ALWAYS_HELD)}
    with django_db_blocker.unblock():
        for seed in SEEDS:
            with world_in_store(seed, whole=False, as_fourth=False) as (world, store):
                for name, of_kind in found.items():
                    of_kind.append(outcome_of(KINDS[name], world, store))
    return found


@pytest.mark.parametrize("name", NEVER_HELD)
def test_an_honest_oddity_is_never_held(outcomes, name):
    assert [(one.seed, one.checks) for one in outcomes[name] if one.held] == []


@pytest.mark.parametrize("name", ALWAYS_HELD)
def test_a_plain_mistake_is_always_held(outcomes, name):
    assert [one.seed for one in outcomes[name] if not one.held] == []
