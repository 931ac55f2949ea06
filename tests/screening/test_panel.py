"""The panel of screening: every kind of it can be drawn, stored and judged."""

import pytest

from deploy.benchmarks.screening.cases import outcome_of, world_in_store
from deploy.benchmarks.screening.kinds import Group, Send
from deploy.benchmarks.screening.panel import KINDS
from deploy.benchmarks.screening.table import interval
from deploy.benchmarks.screening.worlds import draw_world
from results.models import PullSet, Session


def test_the_panel_has_as_many_kinds_as_it_was_asked_for():
    honest = [one for one in KINDS.values() if one.group == Group.HONEST]
    wrong = [one for one in KINDS.values() if not one.group.is_honest]
    assert len(honest) >= 24
    assert len(wrong) >= 40


@pytest.mark.parametrize("name", KINDS)
def test_a_case_of_a_kind_is_the_same_however_often_it_is_drawn(name):
    first, second = (KINDS[name].draw(draw_world(2), KINDS[name].rng(2)) for _ in range(2))
    assert str(first) == str(second)
    assert any(isinstance(event, Send) and event.judged for event in first)


@pytest.mark.parametrize("name", KINDS)
def test_no_reading_of_any_kind_is_missing_or_below_what_a_scale_shows(name):
    for event in KINDS[name].draw(draw_world(1), KINDS[name].rng(1)):
        if isinstance(event, Send):
            for part in (*event.sheet.straight, *event.sheet.joined):
                assert (part.pulls.values > 0).all()
                assert len(part.pulls) == len(part.pulls.modes)


@pytest.mark.usefixtures("planted_past")
@pytest.mark.django_db
@pytest.mark.parametrize("as_fourth", [False, True])
def test_every_kind_is_judged_and_leaves_the_world_as_it_was(as_fourth):
    kinds = [one for one in KINDS.values() if one.as_fourth == as_fourth]
    with world_in_store(4, whole=False, as_fourth=as_fourth) as (world, store):
        before = (Session.objects.count(), list(PullSet.objects.values_list("pk", "state")))
        for kind in kinds:
            outcome = outcome_of(kind, world, store)
            assert outcome.held == bool(set(outcome.checks)) or outcome.waiting, kind.name
        assert before == (
            Session.objects.count(),
            list(PullSet.objects.values_list("pk", "state")),
        )
    assert not Session.objects.exists()


@pytest.mark.usefixtures("planted_past")
@pytest.mark.django_db
def test_a_case_by_the_whole_way_goes_through_intake_and_pools():
    with world_in_store(4, whole=True, as_fourth=False) as (world, store):
        assert PullSet.objects.filter(state=PullSet.State.POOLED).exists()
        outcome = outcome_of(KINDS["newtons throughout, said pounds"], world, store)
        assert outcome.held
        assert outcome.whole


def test_the_limits_of_a_share_are_those_of_clopper_and_pearson():
    # Clopper & Pearson (1934), by the well-known closed form for none of n: 1 - 0.025^(1/n).
    assert interval(0, 120) == pytest.approx((0.0, 1 - 0.025 ** (1 / 120)))
    assert interval(10, 10) == pytest.approx((0.025 ** (1 / 10), 1.0))
