"""Single pulls in classes: how often a join held which share of its straight line."""

from results.statistics.pull_classes import distribution, places_of


def test_a_pull_at_the_edge_of_a_class_belongs_to_the_upper_one():
    assert places_of([0.5, 0.524, 0.525, 0.0], ["join"] * 4) == {"join": [0, 20, 20, 21]}


def test_what_broke_elsewhere_is_kept_apart():
    assert places_of([0.81, 0.82, 0.9], ["join", "grip", "join"]) == {
        "join": [32, 36],
        "grip": [32],
    }


def test_a_reading_beyond_all_bounds_is_counted_with_the_outermost_class():
    assert places_of([-0.1, 7.0], ["slip", "slip"]) == {"slip": [0, 80]}


def test_sets_add_up_by_class_and_by_ending():
    sets = [{"join": [30, 31, 31]}, {"join": [31], "line": [39]}, {}]
    assert distribution(sets) == [(0.75, "join", 1), (0.775, "join", 3), (0.975, "line", 1)]
