"""Where a set's uncertainty comes from, and what to improve first."""

from math import sqrt

import pytest

from results.models import PullSet
from results.normalising.normalise import normalise_session
from results.normalising.uncertainty_budget import budgets_of
from tests import making


@pytest.fixture
def figures(owner):
    """A set of so many pulls with its straight line, worked out."""

    def figures(joined_N, straight_N=making.PARTED_STRAIGHT, *, calibrated=True) -> PullSet:
        revision = making.revision_of(owner)
        if calibrated:
            making.calibrate(revision, gain=1.0, offset_N=0.0)
        session = making.session(revision)
        main, leader = making.line("thin"), making.line("thick", label_N=180)
        making.straight(session, main, straight_N)
        pull_set = making.joined(session, main, leader, joined_N)
        normalise_session(session.pk, still_ours=lambda: True)
        return PullSet.objects.select_related("session__revision", "normalised").get(pk=pull_set.pk)

    return figures


def test_contributions_are_standard_uncertainty_times_sensitivity(figures):
    """By hand (GUM 5.1.2): s of 78, 82, 80, 81, 79 is sqrt(2.5); means are 80 and 100 N."""
    rows = {
        row.source.split(":")[0]: row
        for row in budgets_of(figures([78, 82, 80, 81, 79])).efficiency.rows
    }
    mean_of_five = sqrt(2.5 / 5)
    assert rows["tying"].contribution == pytest.approx(mean_of_five / 100)
    assert rows["baseline"].contribution == pytest.approx(0.8 * mean_of_five / 100)
    assert rows["zero of the scale"].contribution == pytest.approx(0.3 * (1 / 100 - 0.8 / 100))
    assert rows["gain of the scale, which cancels"].contribution == 0


@pytest.mark.parametrize(
    ("expected", "advice"),
    [
        ({"joined_N": [60, 100, 80, 70, 90]}, "Pull more of these ties"),
        ({"joined_N": [79.8, 80.2, 80, 80.1, 79.9], "straight_N": [90, 110, 100]}, "straight line"),
        ({"joined_N": [30, 30.5, 31, 30.2], "calibrated": False}, "zero of the scale"),
    ],
    ids=["uneven ties", "a poor baseline", "an unknown zero"],
)
def test_it_says_what_to_improve_first(figures, expected, advice):
    assert advice in budgets_of(figures(**expected)).advice


def test_a_load_has_a_budget_of_its_own_where_the_rig_was_calibrated(figures):
    budgets = budgets_of(figures([78, 82, 80, 81, 79]))
    assert budgets.load.value == pytest.approx(80.0)
    # A5 of the EURACHEM/CITAC guide: the scatter of a reading and the line's own uncertainty
    line = sqrt(0.3**2 + (80 * 0.002) ** 2 - 2 * 0.8 * 80 * 0.002 * 0.3)
    by_source = {row.source: row.contribution for row in budgets.load.rows}
    assert by_source["scatter of readings"] == pytest.approx(0.2)
    assert by_source["calibration line: gain and zero"] == pytest.approx(line)
    assert by_source["resolution"] == pytest.approx(0.5 / sqrt(12))


def test_a_load_of_a_rig_never_calibrated_has_none_and_says_why(figures):
    budgets = budgets_of(figures([78, 82, 80, 81, 79], calibrated=False))
    assert budgets.load is None
    assert "was not calibrated" in budgets.no_load


def test_the_api_tells_the_same_table(figures, as_stranger):
    pull_set = figures([78, 82, 80, 81, 79])
    answer = as_stranger.get(f"/api/v1/pull-sets/{pull_set.pk}/budget").json()
    budget = budgets_of(pull_set).efficiency
    assert answer["efficiency"]["combined"] == pytest.approx(budget.combined)
    assert [row["source"] for row in answer["efficiency"]["rows"]] == [
        row.source for row in budget.rows
    ]
    assert answer["efficiency"]["improve_first"] == budget.improve_first.source


def test_a_set_without_an_efficiency_has_no_budget(owner, as_stranger):
    session = making.session(making.revision_of(owner))
    pull_set = making.joined(session, making.line("thin"), making.line("thick"), [80, 81])
    assert as_stranger.get(f"/api/v1/pull-sets/{pull_set.pk}/budget").status_code == 404
