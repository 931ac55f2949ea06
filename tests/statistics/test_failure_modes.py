"""What each way of ending says of the join, the assembly and the line (the design's table)."""

import pytest

from results.statistics.failure_modes import (
    UnknownFailureMode,
    counted,
    exact_for_assembly,
    exact_for_join,
    exact_for_line,
)

MODES = ["join", "slip", "line", "grip", "terminal", "none", "void"]


def names(flags):
    return {mode for mode, flag in zip(MODES, flags, strict=True) if flag}


def test_a_break_in_the_line_is_the_assemblys_strength_but_only_a_lower_bound_of_the_joins():
    assert names(exact_for_assembly(MODES)) == {"join", "slip", "line", "terminal"}
    assert names(exact_for_join(MODES)) == {"join", "slip"}


def test_straight_line_shows_its_strength_only_where_its_free_length_parts():
    assert names(exact_for_line(MODES)) == {"line"}


def test_every_pull_counts_but_a_void_one():
    assert names(counted(MODES)) == set(MODES) - {"void"}


def test_an_unknown_mode_is_refused_with_its_row_and_the_list_of_modes():
    with pytest.raises(UnknownFailureMode, match="pull 1: failure mode 'knot' is not one of join"):
        exact_for_join(["join", "knot"])
