"""Has my rig drifted? The straight line answers, session after session."""

import numpy as np
import pytest
from scipy import stats

from rigs.metrology.day_to_day import DAY_TO_DAY_CV, USUAL, shrunk_before, successive_factors
from rigs.metrology.errors import (
    NoScatter,
    NotFinite,
    NotPositive,
    TooFewValues,
    UnequalLengths,
)
from rigs.metrology.watch import Change, StraightLineWatch, watch_straight_line


def sessions(rng, means, cv=0.025, n=8):
    """Mean, CV and count of n straight pulls a session, each day 1 percent off at random."""
    days = np.array(means) * np.exp(rng.normal(0, 0.01, len(means)))
    pulls = days[:, None] * np.exp(rng.normal(0, cv, (len(means), n)))
    return pulls.mean(axis=1), pulls.std(axis=1, ddof=1) / pulls.mean(axis=1), [n] * len(means)


def watch(means, cvs, counts, prior=USUAL) -> StraightLineWatch:
    """Charts of a rig that has pulled nothing else."""
    before = [prior, *shrunk_before(successive_factors(means, cvs, counts).tolist(), prior)]
    return watch_straight_line(means, cvs, counts, before[-1], before[:-1])


def test_a_fading_battery_signals_and_its_change_a_session_is_shown():
    rng = np.random.default_rng(11)
    watched = watch(*sessions(rng, 92 * np.exp(-0.035 * np.arange(8))))
    assert watched.signals
    assert watched.per_session.lower < -3.44 < watched.per_session.upper < 0
    assert watched.since_first[-1].upper < -5


def test_a_steady_rig_seldom_signals():
    rng = np.random.default_rng(12)
    signalled = [bool(watch(*sessions(rng, [92] * 20)).signals) for _ in range(400)]
    assert np.mean(signalled) < 0.05


def test_the_intervals_cover_the_truth_as_often_as_they_promise():
    rng = np.random.default_rng(13)
    watched = [watch(*sessions(rng, 92 * 0.98 ** np.arange(4))) for _ in range(600)]
    slopes = [w.per_session.lower < -2 < w.per_session.upper for w in watched]
    assert np.mean(slopes) == pytest.approx(0.95, abs=0.027)


def steady(rng, k, day_sd):
    """A rig with days of its own, heavy-tailed: three to eight pulls, lognormal or Weibull."""
    n = rng.integers(3, 9, k)
    days = np.exp(day_sd * rng.standard_t(4, k) / np.sqrt(2))
    shape = 1.2 / 0.035
    pulls = [
        100 * day * (rng.weibull(shape, m) if at % 2 else np.exp(rng.normal(-0.017, 0.035, m)))
        for at, (day, m) in enumerate(zip(days, n, strict=True))
    ]
    means = [float(p.mean()) for p in pulls]
    return means, [float(p.std(ddof=1) / p.mean()) for p in pulls], n.tolist()


@pytest.mark.parametrize("day_sd", [0.01, 0.015])
def test_a_rig_whose_days_scatter_more_than_usual_signals_no_more_often(day_sd):
    rng = np.random.default_rng(16)
    signalled = [bool(watch(*steady(rng, 20, day_sd)).signals) for _ in range(500)]
    assert np.mean(signalled) < 0.05, "seen 0.02 to 0.03; at limits that are fixed 0.09 and 0.24"


def test_a_step_of_a_twentieth_is_found_within_a_few_sessions():
    rng = np.random.default_rng(17)
    needed = []
    for _ in range(120):
        means, cvs, counts = steady(rng, 24, 0.01)
        means = [mean * (0.95 if at >= 9 else 1.0) for at, mean in enumerate(means)]
        found = (
            k - 9 for k in range(10, 25) if k - 1 in watch(means[:k], cvs[:k], counts[:k]).signals
        )
        needed.append(next(found, 99))
    assert np.median(needed) <= 8
    assert np.mean(np.array(needed) < 99) > 0.7


def test_changes_since_the_first_hold_together_over_rigs_that_differ_as_the_prior_says():
    rng = np.random.default_rng(18)
    usual_sd = np.sqrt(0.025**2 / 8 + DAY_TO_DAY_CV**2)
    hold = []
    for _ in range(500):
        sd = usual_sd * np.sqrt(USUAL.degrees_of_freedom / rng.chisquare(USUAL.degrees_of_freedom))
        found = watch(92 * np.exp(rng.normal(0, sd, 12)), [0.025] * 12, [8] * 12)
        hold.append([change.lower < 0 < change.upper for change in found.since_first])
    assert 0.94 < np.all(hold, axis=1).mean() < 0.992
    assert np.mean(hold) > 0.98, "each of them alone"


def test_a_single_day_far_off_signals_although_it_widens_the_scatter_itself():
    means = [98.0, 98.3, 97.9, 98.1, 98.0, 98.2, 90.5]
    assert watch(means, [0.02] * 7, [5] * 7).signals == (6,)


def test_two_sessions_show_a_change_and_no_slope():
    watched = watch([92.0, 85.0], [0.03, 0.02], [8, 6])
    assert watched.per_session is None
    cv2 = (7 * 0.03**2 + 5 * 0.02**2) / 12
    usual = cv2 / 8 + cv2 / 6 + 2 * 0.01**2
    factor = (6 + np.log(92 / 85) ** 2 / usual) / 7
    half = stats.t.ppf(0.975, 7) * np.sqrt(factor * usual)
    assert watched.since_first[0].percent == pytest.approx(100 * (85 / 92 - 1))
    assert watched.since_first[0].upper == pytest.approx(100 * np.expm1(np.log(85 / 92) + half))


def test_sessions_that_cannot_be_watched_are_refused():
    with pytest.raises(TooFewValues):
        watch([92.0], [0.03], [8])
    with pytest.raises(UnequalLengths):
        watch([92.0, 91.0], [0.03], [8, 8])
    with pytest.raises(NotFinite):
        watch([92.0, float("nan")], [0.03, 0.03], [8, 8])
    with pytest.raises(NotPositive):
        watch([92.0, 0.0], [0.03, 0.03], [8, 8])
    with pytest.raises(NoScatter):
        watch([92.0, 92.0], [0.0, 0.0], [8, 8])
    with pytest.raises(UnequalLengths):
        watch_straight_line([92.0, 91.0], [0.03, 0.03], [8, 8], USUAL, [USUAL])


def test_sessions_all_alike_have_a_change_of_nothing():
    watched = watch([80.0] * 4, [0.02] * 4, [5] * 4)
    assert vars(watched.per_session) == pytest.approx(vars(Change(0.0, 0.0, 0.0)), abs=1e-9)
    assert watched.signals == ()
