"""What affects an efficiency: a value missing in one set leaves out that set, not the covariate."""

from datetime import timedelta

import numpy as np
import pytest

from results.jobs.queue import enqueue
from results.models import Pool, PullSet, Session
from results.pools.circumstances import circumstances_of
from results.pools.pool_data import members_of
from results.pools.reproduce import recomputed
from results.worker.embedded import drain
from rigs.models import RigRevision
from tests import making
from tests.people import contributor

pytestmark = pytest.mark.usefixtures("planted_past")

TESTERS, TURNS = 8, (3, 4, 5, 6, 7)


@pytest.fixture
def sent(db) -> None:
    """Eight testers of five sets each: sessions a month apart, odd testers on a fast motor."""
    rng = np.random.default_rng(7)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for number in range(TESTERS):
        revision = making.revision_of(contributor(f"tester {number}"))
        motor = RigRevision.LoadGeneration.MOTOR if number % 2 else revision.load_generation
        seconds = 4.0 if number % 4 < 2 else 16.0
        RigRevision.objects.filter(pk=revision.pk).update(
            load_generation=motor, time_to_break_s=seconds
        )
        making.calibrate(revision, gain=1.0, offset_N=0.0)
        session = making.session(revision)
        session.pulled_on -= timedelta(days=30 * number)
        session.save()
        making.straight(session, main, 100 * np.exp(rng.normal(0, 0.01, 8)))
        faster = 0.05 * (number % 2)
        for turns in TURNS:
            pulls_N = 55 * np.exp(0.05 * turns - faster + rng.normal(0, 0.03, 8))
            pull_set = making.joined(session, main, leader, pulls_N)
            pull_set.parameters = {"turns_main": turns}
            pull_set.save()


def worked_out() -> dict:
    for session in Session.objects.all():
        enqueue(session)
    drain()
    return Pool.objects.get().current.findings["moderators"]


def test_date_rate_and_way_of_loading_join_the_list(sent):
    found = worked_out()
    tried = {each["name"]: each for each in found["tried"]}
    assert {"turns main", "date, years", "loading rate, doublings"} <= {*tried, *found["left_out"]}
    motor = tried["load generation: motor"]
    assert motor["ci_low"] < -0.05 < motor["ci_high"]
    assert tried["turns main"]["ci_low"] < 0.05 < tried["turns main"]["ci_high"]
    assert "sets" not in found
    assert recomputed(Pool.objects.get().current).differences == ()


def test_a_value_missing_in_one_set_leaves_out_that_set_alone(sent):
    untold = PullSet.objects.first()
    untold.parameters = {}
    untold.save()
    found = worked_out()
    assert found["sets"] == TESTERS * len(TURNS) - 1
    assert "turns main" in {each["name"] for each in found["tried"]}


def test_a_property_of_fewer_than_half_the_sets_leaves_the_others_their_sets(sent):
    for pull_set in PullSet.objects.all()[: TESTERS * len(TURNS) // 2 + 2]:
        pull_set.parameters = {}
        pull_set.save()
    found = worked_out()
    assert found["left_out"]["turns main"] == "told of 18 of 40 sets"
    assert "load generation: motor" in {each["name"] for each in found["tried"]}
    assert "sets" not in found


def test_traces_say_how_long_a_pull_took_where_nobody_wrote_it(sent):
    """Each load at 20 N a second, from the zero that the trace begins with."""
    first, second = PullSet.objects.order_by("pk")[:2]
    for pull in first.pulls.all():
        making.traced(pull, rate=20.0)
    for pull in second.pulls.all():
        making.traced(pull, rate=20.0)
        pull.time_to_break_s = 9.0
        pull.save()
    worked_out()
    pool_id = Pool.objects.get().pk

    members = members_of(pool_id)
    found = circumstances_of(pool_id, members)

    seconds = dict(zip(members.pull_set.tolist(), found.time_to_break_s, strict=True))
    loads_N = [pull.reading_N for pull in first.pulls.all()]
    assert seconds[first.pk] == pytest.approx(np.mean(loads_N) / 20.0, rel=0.05)
    assert seconds[second.pk] == 9.0
