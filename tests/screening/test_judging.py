"""Checks of one submission weighed together: what holds, what marks, and fairness between them."""

import numpy as np
import pytest

from results.statistics.screening import efficiencies, order, repeats, rig, scatter, spacing
from results.statistics.screening.check import Check, Level
from results.statistics.screening.judging import judge


def check(p: float | None, *, at_most=Level.HOLD, level=Level.NONE, alpha=0.01) -> Check:
    return Check(
        "a check", "set 1", 1.0, 2.0, p, level, "It saw something.", "a source", at_most, alpha
    )


def levels(*checks: Check) -> list[Level]:
    return [judged.level for judged in judge(checks)]


def test_one_small_p_value_among_many_checks_holds_only_if_it_survives_all_of_them():
    others = [check(0.5)] * 29
    assert levels(check(0.0002), *others)[0] == Level.HOLD
    assert levels(check(0.001), *others)[0] == Level.MARK
    assert levels(check(0.01), *others)[0] == Level.NONE


def test_a_check_that_stands_by_itself_keeps_its_level_and_counts_for_no_other():
    alone = check(None, level=Level.HOLD)
    assert levels(alone, check(0.03)) == [Level.HOLD, Level.MARK]


def test_what_has_honest_reasons_marks_and_never_holds():
    assert levels(check(1e-12, at_most=Level.MARK)) == [Level.MARK]


def test_small_p_values_of_weak_tying_do_not_loosen_the_threshold_of_what_can_hold():
    weak = [check(1e-9, at_most=Level.MARK)] * 9
    assert levels(check(0.009), *weak, check(0.9))[0] == Level.MARK


def test_an_honest_submission_is_held_about_once_in_a_hundred_times_at_most():
    rng = np.random.default_rng(1)
    held = [
        max(levels(*(check(float(p)) for p in rng.random(20)))) == Level.HOLD for _ in range(1000)
    ]
    assert np.mean(held) < 0.01 + 3 * (0.01 * 0.99 / 1000) ** 0.5


@pytest.mark.parametrize(("scatter_steps", "pulls"), [(1.0, 10), (4.0, 8), (40.0, 12)])
def test_honest_readings_on_any_scale_rarely_repeat_too_often_or_lie_too_evenly(
    scatter_steps, pulls
):
    """At p < 0.01, 400 sets: more than 12 would come less than once in 1000 runs of a true test."""
    rng = np.random.default_rng(2)
    repeated = even = 0
    for _ in range(400):
        steps = np.rint(rng.normal(500.3, scatter_steps, pulls))
        repeated += repeats.repeated_values("set 1", [steps]).p < 0.01
        even += spacing.even_spacing("set 1", steps).p < 0.01
    assert repeated <= 12
    assert even <= 12


def test_readings_one_step_apart_from_first_to_last_are_too_even():
    assert spacing.even_spacing("set 1", 700 + 5 * np.arange(10)).p < 0.02
    assert order.order_trend("set 1", 700 + 5 * np.arange(10)).p < 1e-5


def test_a_set_copied_under_another_join_is_found_and_a_coarse_scale_is_not_blamed():
    rng = np.random.default_rng(3)
    fine = np.rint(rng.normal(700, 50, 10)).astype(int).tolist()
    coarse = np.rint(rng.normal(14, 0.8, 5)).astype(int).tolist()
    found = repeats.copied_run("copied", "set 2", fine, [("'set 1'", fine)], compared=4)
    honest = repeats.copied_run("copied", "set 2", coarse, [("'set 1'", coarse)], compared=40)
    assert found.p < 1e-6
    assert "10 readings in a row are the same as in 'set 1'" in found.sentence
    assert honest.p > 0.05


def test_half_the_usual_scatter_is_skill_and_a_tenth_of_it_is_not():
    def session(share):
        return scatter.too_little_scatter(
            "the session", [share * 0.06] * 5, [9] * 5, [0.06] * 5, [0.001] * 5
        )

    assert session(0.55).p > 0.5
    assert session(0.10).p < 1e-9


def test_weak_and_uneven_tying_can_only_be_marked():
    weak = efficiencies.below_the_pool("set 1", 0.5, np.log(0.5), np.log(0.8), 0.05, 8)
    uneven = scatter.more_scatter("set 1", 0.2, 9, 0.06, 90, 11)
    assert weak.p < 1e-4
    assert uneven.p < 1e-4
    assert [one.level for one in judge([weak, uneven])] == [Level.MARK, Level.MARK]


def test_more_pulls_than_minutes_and_a_day_to_come_are_held():
    assert rig.possible_times("the session", 1441, 0, 0).level == Level.HOLD
    assert rig.possible_times("the session", 60, 90_000, 0).level == Level.HOLD
    assert rig.possible_times("the session", 60, 0, 3).level == Level.HOLD
    assert rig.possible_times("the session", 200, 3600, 1).level == Level.NONE


def test_a_calibration_of_twenty_seven_months_is_marked_as_stale_and_none_as_missing():
    """ISO 7500-1:2018: at most 26 months between calibrations."""
    known = rig.Calibrated(age_days=27 * 30.5, lowest_N=20, highest_N=200, worst_error=0.01)
    marked = {one.name for one in rig.calibration("the session", known, 250) if one.level}
    assert marked == {"calibration stale", "beyond the calibration"}
    (missing,) = rig.calibration("the session", None, 100)
    assert (missing.name, missing.level) == ("calibration missing", Level.MARK)


def test_a_calibration_whose_line_leaves_more_than_class_three_allows_is_marked_as_poor():
    """ISO 7500-1:2018, table 2: at most 3 percent."""

    def marked(worst_error):
        known = rig.Calibrated(30, lowest_N=20, highest_N=200, worst_error=worst_error)
        return [one.name for one in rig.calibration("the session", known, 150) if one.level]

    assert marked(0.029) == []
    assert marked(0.031) == ["calibration poor"]


def test_sets_on_a_coarse_scale_that_agree_pull_by_pull_are_found_together():
    """Readings of 1 step scatter agree by chance in 3 of 10 pulls, not in 4 of 5 of every set."""
    rng = np.random.default_rng(5)
    honest = [np.rint(rng.normal(14, 1, 5)).astype(int) for _ in range(5)]
    copied = [np.append(honest[0][:4], one[4]) for one in honest]
    assert repeats.agreeing_sets("the session", honest).p > 0.05
    assert repeats.agreeing_sets("the session", copied).p < 1e-4


def test_honest_sets_rarely_agree_pull_by_pull():
    """At p < 0.01, 300 sessions: more than 10 would come less than once in 1000 runs."""
    rng = np.random.default_rng(6)
    sessions = (
        [np.rint(rng.normal(14 + shift, 1.2, 6)).astype(int) for shift in (0, 0.2, 1, 3)]
        for _ in range(300)
    )
    assert sum(repeats.agreeing_sets("the session", one).p < 0.01 for one in sessions) <= 10


def test_spacing_is_not_judged_where_it_would_only_tell_honest_loads_from_the_normal_law():
    loads = np.rint(np.random.default_rng(7).weibull(12, 200) * 500)
    assert spacing.even_spacing("set 1", loads) is None
    assert spacing.even_spacing("set 1", loads[:40]) is not None
