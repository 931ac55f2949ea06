"""Has my rig drifted? The straight line answers, session after session."""

import numpy as np
import pytest
from scipy import stats

from rigs.metrology.errors import (
    NoScatter,
    NotFinite,
    NotPositive,
    TooFewValues,
    UnequalLengths,
)
from rigs.metrology.watch import Change, watch_straight_line


def sessions(rng, means, cv=0.025, n=8):
    """Mean, CV and count of n straight pulls a session, each day 1 percent off at random."""
    days = np.array(means) * np.exp(rng.normal(0, 0.01, len(means)))
    pulls = days[:, None] * np.exp(rng.normal(0, cv, (len(means), n)))
    return pulls.mean(axis=1), pulls.std(axis=1, ddof=1) / pulls.mean(axis=1), [n] * len(means)


def test_a_fading_battery_signals_and_its_change_a_session_is_shown():
    rng = np.random.default_rng(11)
    watched = watch_straight_line(*sessions(rng, 92 * np.exp(-0.035 * np.arange(5))))
    assert watched.signals
    assert watched.per_session.lower < -3.44 < watched.per_session.upper < 0
    assert watched.since_first[-1].upper < -5


def test_a_steady_rig_seldom_signals():
    rng = np.random.default_rng(12)
    signalled = [bool(watch_straight_line(*sessions(rng, [92] * 5)).signals) for _ in range(400)]
    assert np.mean(signalled) < 0.05


def test_the_intervals_cover_the_truth_as_often_as_they_promise():
    rng = np.random.default_rng(13)
    watched = [watch_straight_line(*sessions(rng, 92 * 0.98 ** np.arange(4))) for _ in range(600)]
    slopes = [w.per_session.lower < -2 < w.per_session.upper for w in watched]
    changes = [w.since_first[0].lower < -2 < w.since_first[0].upper for w in watched]
    assert np.mean(slopes) == pytest.approx(0.95, abs=0.027)
    assert np.mean(changes) == pytest.approx(0.95, abs=0.027)


def test_two_sessions_show_a_change_and_no_slope():
    watched = watch_straight_line([92.0, 85.0], [0.03, 0.02], [8, 6])
    assert watched.per_session is None
    cv2 = (7 * 0.03**2 + 5 * 0.02**2) / 12
    half = stats.t.ppf(0.975, 12) * np.sqrt(cv2 / 8 + cv2 / 6 + 2 * 0.01**2)
    assert watched.since_first[0].percent == pytest.approx(100 * (85 / 92 - 1))
    assert watched.since_first[0].upper == pytest.approx(100 * np.expm1(np.log(85 / 92) + half))


def test_sessions_that_cannot_be_watched_are_refused():
    with pytest.raises(TooFewValues):
        watch_straight_line([92.0], [0.03], [8])
    with pytest.raises(UnequalLengths):
        watch_straight_line([92.0, 91.0], [0.03], [8, 8])
    with pytest.raises(NotFinite):
        watch_straight_line([92.0, float("nan")], [0.03, 0.03], [8, 8])
    with pytest.raises(NotPositive):
        watch_straight_line([92.0, 0.0], [0.03, 0.03], [8, 8])
    with pytest.raises(NoScatter):
        watch_straight_line([92.0, 92.0], [0.0, 0.0], [8, 8])


def test_sessions_all_alike_have_a_change_of_nothing():
    watch = watch_straight_line([80.0] * 4, [0.02] * 4, [5] * 4)
    assert vars(watch.per_session) == pytest.approx(vars(Change(0.0, 0.0, 0.0)), abs=1e-9)
    assert watch.signals == ()
