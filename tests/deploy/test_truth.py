"""`deploy/bench truth`: every row still runs, and a run that was stopped goes on."""

import json
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from deploy.benchmarks.truth.__main__ import table
from deploy.benchmarks.truth.hostile import World, draw, unit_loads
from deploy.benchmarks.truth.repeats import Kept, once
from deploy.benchmarks.truth.row import Row
from deploy.benchmarks.truth.rows.registry import ROWS, rows_named

CHEAP = [row for row in ROWS if not row.whole]
OF_ISSUE = (
    "chance of being best: 3 testers",
    "chance of being best: 5 testers",
    "chance of being best: 10 testers",
    "own value: 3 others",
    "own value: 4 others",
    "pool: 10 testers",
    "pool: 30 testers",
    "pool: 10 testers, Weibull joins",
    "equal joins",
    "lines differ: 10 testers on 2 products",
    "lines differ: 30 testers on 3 products",
    "reference line of equal lines: 4 pulls, CV 6%",
    "reference line of equal lines: 4 pulls, CV 10%",
    "own strength of a set",
    "straight line same or moved: day to day 1.5%",
    "drift chart: day to day 1.5%",
    "drift chart: day to day 3.0%",
    "planning, no difference: 5 others",
    "one stage: 30 testers",
)


@pytest.mark.parametrize("row", CHEAP, ids=lambda row: row.key)
def test_a_row_measures_what_it_aims_at(row):
    found = [once((row.key, repeat)) for repeat in range(2)]
    assert [one["why"] for one in found if "crashed" in one] == []
    measured = Counter(name for one in found for name in one)
    assert measured
    assert all(np.isfinite(one[name]).all() for one in found for name in one if name != "why")


def test_every_row_has_a_name_of_its_own_and_the_measures_it_aims_at_are_seen():
    assert max(Counter(row.key for row in ROWS).values()) == 1
    assert [name for name in OF_ISSUE if not rows_named(name)] == []
    seen = {name for row in CHEAP for repeat in range(2) for name in once((row.key, repeat))}
    aims = {name for row in CHEAP for name in row.aims}
    assert aims <= seen


@pytest.mark.django_db
@pytest.mark.parametrize("row", [row for row in ROWS if row.whole][:2], ids=lambda row: row.key)
def test_the_whole_path_comes_to_figures_and_leaves_nothing_behind(row, django_db_blocker):
    from results.models import Pool, Session  # noqa: PLC0415

    found = once((row.key, 0))
    assert "crashed" not in found, found["why"]
    assert found["a figure"] == [1.0, 1.0, 1.0]
    assert {"mean", "prediction", "own value", "said less true"} <= set(found)
    assert not Session.objects.exists()
    assert not Pool.objects.exists()


def test_a_repeat_draws_the_same_whatever_ran_before():
    key = rows_named("pool: 5 testers, normal")[0].key
    once((key, 4))
    assert once((key, 3)) == once((key, 3))
    assert once((key, 3)) != once((key, 4))


def test_a_line_that_was_cut_short_is_left_out_and_its_repeat_runs_again(tmp_path: Path):
    path = tmp_path / "truth.jsonl"
    kept = Kept(path, "abc")
    for repeat in range(3):
        kept.add(("row", repeat), {"mean": [1.0]})
    Kept(path, "of other code").add(("row", 7), {"mean": [0.0]})
    whole = path.read_text()
    path.write_text(whole + '{"row": "row", "rep')
    again = Kept(path, "abc")
    assert set(again.found) == {("row", 0), ("row", 1), ("row", 2)}
    again.add(("row", 3), {"mean": [1.0]})
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    assert [line["repeat"] for line in lines] == [0, 1, 2, 7, 3]
    assert path.read_text().startswith(whole)


def test_the_table_gives_means_in_percent_with_their_monte_carlo_error():
    row = Row("row", "case", lambda _: iter(()), {"mean": "94 to 96"})
    found = [{"mean": [1.0]}, {"mean": [1.0, 0.0]}, {"mean": [0.0]}, {"refused": [1.0], "why": "x"}]
    lines = table(row, found)
    assert lines[0].split() == ["mean", "50.00", "(28.87)", "n=3", "94", "to", "96"]
    assert lines[1].split() == ["refused", "1", "of", "the", "repeats"]


@pytest.mark.parametrize("law", ["lognormal", "weibull", "skewed"])
def test_loads_of_every_law_have_the_mean_and_scatter_asked_for(law):
    loads = unit_loads(np.random.default_rng(1), law, 0.07, 200_000)
    assert loads.mean() == pytest.approx(1, abs=0.001)
    assert loads.std() == pytest.approx(0.07, rel=0.02)


def test_a_world_is_as_hostile_as_it_says():
    world = World(
        40, sessions=(1, 4), products=3, clubs=4, friends=0.5, own=True, efficiencies=(1.0,)
    )
    drawn = draw(np.random.default_rng(2), world)
    assert set(np.bincount(drawn.tester)) == {1, 2, 3, 4}
    assert set(drawn.product) == {0, 1, 2}
    assert set(drawn.club) == {0, 1, 2, 3}
    assert 0.2 < np.mean(drawn.tyer != drawn.tester) < 0.8
    assert {"join", "line", "grip"} == set(drawn.joined.parted)
    assert np.allclose(np.mod(drawn.joined.reading_N, 0.5), 0)
    assert set(np.bincount(drawn.joined.group)) == {3, 4, 5, 6, 7, 8}
    assert 0.1 < drawn.zero_N.std() < 0.6
