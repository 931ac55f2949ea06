"""What traces say of a set's error: alike in straight line and joins it cancels, else it stays."""

from __future__ import annotations

from math import sqrt

import pytest

from results.models import Pull, PullSet
from results.normalising.normalise import normalise_session
from results.normalising.uncertainty_budget import budgets_of
from tests import making

JOINED = [79.0, 81.0, 80.0, 80.5, 79.5]
RATE, SAMPLES_PER_S = 20.0, 5.0
STEP = RATE / SAMPLES_PER_S
"""Newtons from one sample to the next: a peak may lie as far above the highest of them."""


@pytest.fixture
def worked_out(owner):
    """A set of 80 N on straight line of 100 N; ``recorded`` names which of both has traces."""

    def worked_out(*recorded: str, **how) -> PullSet:
        revision = making.revision_of(owner)
        making.calibrate(revision, gain=1.0, offset_N=0.0)
        session = making.session(revision)
        main, leader = making.line("thin"), making.line("thick", label_N=180)
        making.straight(session, main)
        pull_set = making.joined(session, main, leader, JOINED)
        for name in recorded:
            for pull in Pull.objects.filter(**{f"{name}__isnull": False}):
                making.traced(pull, samples_per_s=SAMPLES_PER_S, **how)
        normalise_session(session.pk, still_ours=lambda: True)
        return PullSet.objects.select_related("session__revision", "normalised").get(pk=pull_set.pk)

    return worked_out


def contribution(pull_set: PullSet, source: str) -> float:
    rows = budgets_of(pull_set).efficiency.rows
    return sum(row.contribution for row in rows if row.source == source)


MISSED, ZERO = "peaks missed between two samples", "zero before and after each pull"


def test_peaks_missed_in_joins_alone_stay_in_the_efficiency(worked_out):
    """Within r d of the peak with equal chance: r d / sqrt(3) about zero, GUM 4.3.7, of 100 N."""
    found = worked_out("pull_set", rate=RATE)
    assert contribution(found, MISSED) == pytest.approx(STEP / sqrt(3) / 100, rel=0.05)


def test_recorded_alike_most_of_it_cancels(worked_out):
    """Of the same newtons, a fifth is left where the join holds four fifths of its line.

    A tenth more or less, since few samples tell each pull's rate."""
    found = worked_out("pull_set", "baseline", rate=RATE)
    assert contribution(found, MISSED) == pytest.approx(0.2 * STEP / sqrt(3) / 100, rel=0.1)


def test_a_zero_that_both_have_in_common_is_left_by_its_difference_of_shares(worked_out):
    """A zero of 2 N: (1/100 - 80/100^2) 2 N, as the zero of a scale (GUM 5.1.2)."""
    found = worked_out("pull_set", "baseline", rate=RATE, zero=2.0)
    assert contribution(found, ZERO) == pytest.approx(0.004, rel=0.01)


@pytest.mark.parametrize("recorded", [["pull_set"], ["baseline"], ["pull_set", "baseline"]])
def test_what_the_budget_says_of_traces_is_stored_for_pools_as_it_moves_the_log_ratio(
    worked_out, recorded
):
    found = worked_out(*recorded, rate=RATE, zero=2.0)
    stored = found.normalised
    ratio = stored.mean_N / stored.baseline_mean_N
    assert ratio * abs(stored.zero_of_pulls_log) == pytest.approx(contribution(found, ZERO))
    assert ratio * abs(stored.missed_peak_log) == pytest.approx(contribution(found, MISSED))
    assert (stored.zero_of_pulls_log > 0) == ("pull_set" in recorded)


@pytest.mark.usefixtures("planted_past")
def test_a_reading_that_was_not_taken_from_the_trace_has_missed_nothing(worked_out):
    found = worked_out("pull_set", rate=RATE)
    before = contribution(found, MISSED)
    pulls = list(found.pulls.all())

    for pull in pulls:
        pull.trace.peak_N -= STEP / 2
        pull.trace.save()

    assert before > 0
    assert contribution(found, MISSED) == 0


def test_without_traces_the_budget_is_as_before(worked_out):
    found = worked_out()
    assert [found.normalised.zero_of_pulls_log, found.normalised.missed_peak_log] == [None, None]
    rows = budgets_of(found).efficiency.rows
    assert not {MISSED, ZERO} & {row.source for row in rows}


def test_the_sampling_is_what_to_improve_first_where_it_is_the_largest_part(worked_out):
    found = worked_out("pull_set", rate=RATE)
    assert budgets_of(found).advice.startswith("Peaks fall between two samples: sample faster")
