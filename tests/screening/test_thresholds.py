"""Thresholds of the checks can be set; what is set has to exist and to fit."""

from results.screening.thresholds import check_thresholds, known, tuned
from results.statistics.screening import straight_line
from results.statistics.screening.check import Level
from results.statistics.screening.judging import HOLD_RATE, judge


def test_without_settings_the_defaults_of_the_sources_hold(settings):
    settings.SAMESPOOL_SCREENING = {}

    held = tuned(straight_line.against_label)("this line", 40.0, 100.0)

    assert held.level == Level.HOLD
    assert held.threshold == straight_line.LABEL_IMPOSSIBLE[0]


def test_a_threshold_of_the_settings_takes_the_place_of_the_default(settings):
    settings.SAMESPOOL_SCREENING = {"against_label": {"ask_outside": [0.3, 5.0]}}

    marked = tuned(straight_line.against_label)("this line", 40.0, 100.0)

    assert marked.level == Level.MARK


def test_the_rate_of_false_alarms_is_a_setting_too(settings):
    assert known()["judge"]["hold_rate"] == HOLD_RATE
    settings.SAMESPOOL_SCREENING = {"judge": {"hold_rate": 0.2}}

    assert tuned(judge).keywords == {"hold_rate": 0.2}
    assert check_thresholds(None) == []


def test_what_is_misnamed_or_does_not_fit_is_reported_at_the_start(settings):
    settings.SAMESPOOL_SCREENING = {
        "against_labels": {"alpha": 0.1},
        "order_trend": {"beta": 0.1},
        "judge": {"hold_rate": "often"},
        "against_label": {"ask_outside": [0.5]},
    }

    answer = [error.msg for error in check_thresholds(None)]

    assert len(answer) == 4
    assert "'against_labels' is no check; expected one of above_the_line" in answer[0]
    assert "'order_trend' has no threshold 'beta'; expected alpha" in answer[1]
    assert "'hold_rate' of 'judge' is 'often'; expected the like of 0.01" in answer[2]
    assert "'ask_outside' of 'against_label' is [0.5]" in answer[3]
