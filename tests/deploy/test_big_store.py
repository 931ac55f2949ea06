"""The large store of the benchmarks holds what the service would make of the same pulls."""

import numpy as np
import pytest

from deploy.benchmarks.large_store.drawing import draw
from deploy.benchmarks.large_store.working import normalised
from deploy.benchmarks.large_store.writing import write
from results.models import NormalisedSet, Session
from results.normalising.normalise import normalise_session

LEFT_OUT = {"notes", "computed_at", "placed_at"}


def test_its_sets_are_what_normalising_makes_of_their_pulls(db):
    world = draw(np.random.default_rng(8), 20)
    write(world, normalised(world))
    made = {row["pull_set_id"]: row for row in NormalisedSet.objects.values()}
    assert all(row["placed_at"] == row["computed_at"] for row in made.values())

    for session in Session.objects.order_by("pk")[:10]:
        normalise_session(session.pk, still_ours=lambda: True)

    again = NormalisedSet.objects.filter(pull_set__session__lte=10).values()
    assert len(again) > 40
    for row in again:
        store = made[row["pull_set_id"]]
        # The store goes without the join's own strength, which no pool is made from.
        store["join_itself"] = row["join_itself"] | store["join_itself"]
        for name in row.keys() - LEFT_OUT:
            answer = pytest.approx(row[name]) if isinstance(row[name], float) else row[name]
            assert store[name] == answer, name
