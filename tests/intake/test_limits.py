"""How much one session may hold, however it is sent."""

import json

import pytest

from results.intake.limits import (
    LONGEST_CELL,
    MOST_PARAMETERS,
    MOST_PULLS_OF_A_SET,
    MOST_SETS,
)
from rigs.refusals import TooLarge
from tests.intake.conftest import HEADER, ROWS, sheet

PULL = {"reading": 15.5, "failure_mode": "join"}


def test_a_set_of_too_many_pulls_is_named(send, right):
    right["pull_sets"][0]["pulls"] = [PULL] * (MOST_PULLS_OF_A_SET + 1)
    with pytest.raises(TooLarge, match=r"pull_sets\[0\] has 2001 pulls; at most 2000"):
        send(right)


def test_a_set_of_too_many_rows_is_named_all_the_same(send):
    with pytest.raises(TooLarge, match=r"pull_sets\[0\] has 2004 pulls; at most 2000"):
        send(sheet(*ROWS, *[ROWS[6]] * MOST_PULLS_OF_A_SET))


@pytest.mark.parametrize("name", ["baselines", "pull_sets"])
def test_too_many_parts_are_counted(name, send, right):
    right[name] = right[name] * (MOST_SETS + 1)
    with pytest.raises(TooLarge, match=f"{name} has 501 items; at most 500"):
        send(right)


def test_as_many_as_may_be_are_taken(send, right):
    one = right["pull_sets"][0]
    right["pull_sets"] = [
        {**one, "label": f"set {at}", "pulls": [PULL] * 3} for at in range(MOST_SETS)
    ]
    assert send(json.loads(json.dumps(right))).session.pull_sets.count() == MOST_SETS


def test_too_many_parameters_are_refused_before_any_is_looked_up(refused, right):
    right["pull_sets"][0]["parameters"] = {f"p{at}": 1 for at in range(MOST_PARAMETERS + 1)}
    ((row, field, _, expected),) = refused(right)
    assert (row, field) == ("pull_sets[0]", "parameters")
    assert expected.startswith("at most 50 tie parameters")


@pytest.mark.parametrize("row", [0, 3])
def test_a_long_cell_is_named_by_row_and_column(send, row):
    lines = [HEADER, *ROWS]
    cells = lines[row].split(",")
    cells[-1] = "x" * (LONGEST_CELL + 1)
    lines[row] = ",".join(cells)
    with pytest.raises(TooLarge) as error:
        send("\n".join(lines))
    (finding,) = error.value.findings
    assert (finding.row, finding.field) == (str(row + 1), "column 22")
    assert (finding.found, finding.expected) == ("4001 characters", "at most 4000")
