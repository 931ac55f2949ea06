"""The embedded service, killed with -9 in the middle of its work, loses and doubles nothing.

Here at four of the steps that `deploy/bench faults --only embedded` strikes.
"""

from functools import partial

import pytest

from deploy.benchmarks.faults.embedded import STEPS, cut_at, embedded_in

CUT = (
    "claimed",
    "between normalising and screening",
    "an attempt at a pool counted",
    "not drawn",
)


@pytest.fixture
def ground(tmp_path):
    files = tmp_path / "var"
    files.mkdir()
    with embedded_in(tmp_path, files, repeats=1, random_state=3) as made:
        yield made


def test_what_a_killed_process_was_working_on_is_taken_up_at_the_next_start(ground):
    steps = tuple(step for step in STEPS if step.name in CUT)
    assert len(steps) == len(CUT)

    row = ground.run("power cuts", partial(cut_at, steps))

    assert row.audit.complaints == []
    assert row.is_clean, row
    assert (row.repeats, row.audit.accepted, row.audit.marked_failed) == (4, 4, 0)
