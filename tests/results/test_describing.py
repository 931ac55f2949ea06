"""What a pool says beside its figure: the worst case, single pulls, how ties differ."""

import numpy as np
import pytest

from results.jobs.queue import enqueue
from results.models import NormalisedSet, Pool, Pull, PullSet
from results.normalising.scales import scale_of
from results.pools.circumstances import circumstances_of
from results.pools.descriptives import describe, renew_kept, ties_of
from results.pools.estimate import pooled_from
from results.pools.pool_data import members_of
from results.pools.recompute import plain
from results.worker.embedded import drain
from tests import making
from tests.api.leagues import league_of, send
from tests.people import contributor

pytestmark = pytest.mark.usefixtures("planted_past")


def pool_of(tie: str) -> Pool:
    return Pool.objects.select_related("current").get(connection__name=tie)


def classes(pulls: list[tuple[float, float]]) -> list[float]:
    """Lower edge of the class of each load over its straight line, in steps of 2.5 percent."""
    return sorted(round(0.025 * np.floor(load / straight / 0.025), 3) for load, straight in pulls)


def of(distribution) -> list[float]:
    return sorted(edge for edge, _mode, number in distribution for _ in range(number))


def test_each_pull_is_set_against_its_own_straight_line_through_its_own_calibration(db):
    rng = np.random.default_rng(4)
    for number, (gain, offset_N) in enumerate([(1.0, 0.0), (1.08, 2.0), (0.95, -1.5)]):
        revision = making.revision_of(contributor(f"tester {number}"))
        making.calibrate(revision, gain=gain, offset_N=offset_N)
        session = making.session(revision)
        main, leader = making.line("thin"), making.line("thick", label_N=180)
        making.straight(session, main, 100 * gain * np.exp(rng.normal(0, 0.02, 6)) + offset_N)
        making.joined(session, main, leader, rng.normal(80 * gain, 4, 7) + offset_N)
        enqueue(session)
    drain()
    findings = pool_of("Blood").current.findings
    joined, straight = [], []
    for pull_set in PullSet.objects.all():
        scale, mean = scale_of(pull_set.session), pull_set.normalised.baseline_mean_N
        joined += [(load, mean) for load in scale.loads_N(list(pull_set.pulls.all()))]
        baseline = list(Pull.objects.filter(baseline__session=pull_set.session))
        straight += [(load, mean) for load in scale.loads_N(baseline)]
    assert of(findings["pulls"]) == classes(joined)
    assert of(findings["straight"]) == classes(straight)
    assert findings["worst"]["pulls"] == 21
    assert findings["worst"]["efficiency"] == pytest.approx(
        min(load / straight for load, straight in joined)
    )


def test_straight_line_that_several_sets_share_is_counted_once(db, owner):
    revision = making.revision_of(owner)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    for _ in range(3):
        making.joined(session, main, leader, [78, 82, 80])
    enqueue(session)
    drain()
    assert len(of(pool_of("Blood").current.findings["straight"])) == 5


def test_straight_line_pulled_before_and_after_the_joins_counts_together(db, owner):
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    making.straight(session, main, [99, 101], position="after")
    making.joined(session, main, leader, [78, 82, 80])
    enqueue(session)
    drain()
    assert len(of(pool_of("Blood").current.findings["straight"])) == 7


def test_sets_worked_out_before_their_pulls_were_placed_are_placed_when_their_pool_is(db, owner):
    rng = np.random.default_rng(1)
    for _ in range(3):
        send(owner, rng, "Blood", 80.0)
    drain()
    pool = pool_of("Blood")
    NormalisedSet.objects.update(
        pull_places=None, straight_places=None, lowest_share=None, placed_at=None
    )

    renew_kept(pool.pk)
    members = members_of(pool.pk)
    found = describe(
        members,
        pooled_from(members),
        ties_of(pool.pk, members),
        circumstances_of(pool.pk, members),
    )

    assert plain(found["findings"]) == pool.current.findings
    assert not NormalisedSet.objects.filter(pull_places__isnull=True).exists()


def test_a_worst_pull_is_named_only_where_ten_were_pulled(db, owner):
    rng = np.random.default_rng(1)
    send(owner, rng, "Blood", 80.0)
    drain()
    assert pool_of("Blood").current.findings["worst"] is None
    send(owner, rng, "Blood", 80.0)
    drain()
    assert pool_of("Blood").current.findings["worst"]["pulls"] == 12


def test_what_nine_ties_in_ten_hold_is_below_the_pool_and_below_most_pulls(db):
    sent = league_of({"Blood": 80.0}, testers=6)
    version = pool_of("Blood").current
    assert version.held_by_nine < version.prediction_low
    ratios = [
        pull.reading_N / found.normalised.baseline_mean_N
        for found in sent
        for pull in found.pulls.all()
    ]
    assert np.mean(np.array(ratios) > version.held_by_nine) >= 0.9


def test_below_three_testers_nothing_is_said_of_ties_to_come(db, owner):
    send(owner, np.random.default_rng(1), "Blood", 80.0)
    drain()
    assert pool_of("Blood").current.held_by_nine is None


def test_time_and_bulk_are_medians_over_the_sets_that_tell_them(db, owner):
    revision = making.revision_of(owner)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    type(main).objects.filter(pk=main.pk).update(diameter_m=0.0003)
    type(main).objects.filter(pk=leader.pk).update(diameter_m=0.0005)
    making.straight(session, main)
    for seconds, diameter_m in ((40.0, 0.001), (60.0, 0.0015), (90.0, 0.00125), (None, None)):
        pull_set = making.joined(session, main, leader, [78, 82, 80])
        pull_set.time_to_tie_s, pull_set.join_diameter_m = seconds, diameter_m
        pull_set.save()
    enqueue(session)
    drain()
    version = pool_of("Blood").current
    assert version.time_to_tie_s == pytest.approx(60.0)
    assert version.bulk == pytest.approx(2.5)
    assert version.findings["told"] == {"time_to_tie": 3, "bulk": 3}


def test_turns_that_make_a_join_stronger_are_found_and_those_never_varied_are_named(db):
    rng = np.random.default_rng(7)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    for number in range(5):
        revision = making.revision_of(contributor(f"tester {number}"))
        making.calibrate(revision, gain=1.0, offset_N=0.0)
        session = making.session(revision)
        making.straight(session, main, 100 * np.exp(rng.normal(0, 0.01, 8)))
        for turns in (3, 4, 5, 6):
            pulls_N = 60 * np.exp(0.05 * turns + rng.normal(0, 0.03, 8))
            pull_set = making.joined(session, main, leader, pulls_N)
            pull_set.parameters = {"turns_main": turns, "glued": False}
            pull_set.save()
        enqueue(session)
    drain()
    found = pool_of("Blood").current.findings["moderators"]
    (turns,) = found["tried"]
    assert turns["name"] == "turns main"
    assert turns["ci_low"] < 0.05 < turns["ci_high"]
    assert turns["p_adjusted"] < 0.01
    assert turns["mean"] == pytest.approx(4.5)
    assert found["left_out"] == {"glued": "the same in all sets"}
