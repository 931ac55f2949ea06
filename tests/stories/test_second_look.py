"""A set that would move its pool's figure far waits for a second look, and who or what ends it."""

import random
from datetime import date

import pytest

from results.jobs.queue import enqueue
from results.models import CheckResult, Job, Notice, Pool, PullSet, Screening, Session
from results.normalising.normalise import normalise_session
from results.pools.pool_data import members_of_each
from results.review.decisions import decide
from results.review.selectors import holds_of
from results.review.suspend import suspend
from results.screening import settling
from results.screening.screen import screen_session
from results.screening.second_look import judge_influence, lock_and_judge_again
from results.worker.embedded import drain
from rigs.models import Contributor
from tests import making
from tests.people import contributor
from tests.stories.test_review import run_again

pytestmark = pytest.mark.usefixtures("planted_past")

INFLUENCE = "influence on the pool"
STRAIGHT_N = (98.0, 101.0, 99.0, 102.0, 100.0)
SHAPES_N = (
    (0.0, 3.5, 2.0, 6.5, -1.5),
    (1.0, 4.0, -2.5, 5.5, 2.5),
    (-2.0, 6.0, 3.0, 1.5, 2.2),
    (5.2, -1.2, 0.6, 3.1, 2.7),
    (2.9, 1.1, -2.2, 6.3, 2.1),
    (4.4, 0.2, 6.1, -1.9, 1.7),
    (-0.7, 2.3, 5.9, 3.8, -1.1),
    (6.4, 1.7, -1.4, 2.9, 1.2),
    (3.3, 5.6, 0.9, -2.2, 3.0),
    (1.5, -0.8, 4.6, 2.4, 3.1),
)


def send(person, mean_N: float, *, spool="", day=10, screened=True) -> PullSet:
    """A session of one join that holds about so many newtons of 100; no two sets look alike."""
    number = Session.objects.count()
    revision = making.revision_of(person, name=f"bench {person.rigs.count()}")
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    session = making.session(revision, pulled_on=date(2026, 1, day))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    straight_N = random.Random(number).sample(STRAIGHT_N, len(STRAIGHT_N))
    making.straight(session, main, [load + 0.1 * number for load in straight_N], spool=spool)
    shape = SHAPES_N[number % len(SHAPES_N)]
    pull_set = making.joined(session, main, leader, [mean_N - 2.1 + by_N for by_N in shape])
    PullSet.objects.filter(pk=pull_set.pk).update(main_spool=spool)
    enqueue(session)
    if screened:
        drain()
    pull_set.refresh_from_db()
    return pull_set


def account(handle: str, *, joined: int) -> Contributor:
    """A tester whose account is of another day than any other's."""
    person = contributor(handle)
    Contributor.objects.filter(pk=person.pk).update(joined_at=f"2025-03-{joined:02d}T12:00:00Z")
    person.refresh_from_db()
    return person


def state_of(pull_set: PullSet) -> str:
    pull_set.refresh_from_db()
    return pull_set.state


@pytest.fixture
def league(db) -> Pool:
    """A pool of three testers at 78 to 82 percent."""
    for number, mean_N in enumerate((78.0, 80.0, 82.0), start=1):
        assert send(account(f"tester {number}", joined=number), mean_N).state == "pooled"
    return Pool.objects.get()


@pytest.fixture
def newcomer(owner) -> Contributor:
    Contributor.objects.filter(pk=owner.pk).update(joined_at="2025-04-01T12:00:00Z")
    owner.refresh_from_db()
    return owner


@pytest.fixture
def high(league, newcomer) -> PullSet:
    return send(newcomer, 96.0)


@pytest.mark.parametrize("mean_N", [96.0, 64.0])
def test_a_set_that_would_move_the_figure_far_waits_whether_up_or_down(league, newcomer, mean_N):
    before = league.current
    waiting = send(newcomer, mean_N)
    assert waiting.state == "held"
    assert [check.name for check in holds_of(waiting)] == [INFLUENCE]
    reason = waiting.state_changes.latest("pk").reason
    assert reason.startswith("It would move the pool's figure by")
    league.refresh_from_db()
    assert league.current == before


def test_a_set_that_moves_it_little_counts_at_once(league, newcomer):
    assert send(newcomer, 83.0).state == "pooled"
    assert not Notice.objects.exists()


def test_the_first_testers_of_a_pool_count_at_once_since_there_is_no_figure_to_move(db):
    for number, mean_N in enumerate((60.0, 80.0, 99.0), start=1):
        assert send(account(f"tester {number}", joined=number), mean_N).state == "pooled"


def test_a_mistake_among_the_first_does_not_keep_waiting_who_finds_what_the_others_found(db):
    for number, mean_N in enumerate((30.0, 80.0, 82.0), start=1):
        send(account(f"tester {number}", joined=number), mean_N)
    assert send(account("tester 4", joined=4), 81.0).state in ("normalised", "pooled")


def test_a_second_tester_whose_result_is_near_releases_it_and_both_count(high, other):
    second = send(other, 95.0)
    assert state_of(high) == "released"
    assert second.state in ("released", "pooled")
    assert Pool.objects.get().current.testers == 5
    assert str(second.pk) in high.state_changes.latest("pk").reason
    assert high.state_changes.latest("pk").by is None
    assert "counts in its pool now" in high.notices.first().text


def test_a_second_tester_who_finds_what_the_others_found_leaves_it_waiting(high, other):
    assert send(other, 80.5).state == "pooled"
    assert state_of(high) == "held"


def test_a_second_account_that_is_linked_to_it_does_not_release_it(league, newcomer):
    waiting = send(newcomer, 96.0, spool="blue tin")
    twin = account("twin", joined=1)
    Contributor.objects.filter(pk=twin.pk).update(joined_at=newcomer.joined_at)
    assert send(twin, 95.0, spool="blue tin").state == "held"
    assert state_of(waiting) == "held"


def test_a_second_account_with_one_sign_in_common_does_not_release_it_either(league, newcomer):
    waiting = send(newcomer, 96.0, spool="blue tin")
    assert send(account("twin", joined=1), 95.0, spool="blue tin").state == "held"
    assert state_of(waiting) == "held"


def test_it_is_released_when_the_pool_has_grown_so_that_it_moves_little(league, newcomer):
    high = send(newcomer, 92.0)
    assert high.state == "held"
    for number, mean_N in enumerate((79.0, 81.0, 80.0, 78.5, 81.5, 80.2), start=10):
        send(account(f"tester {number}", joined=number), mean_N)
        if state_of(high) == "released":
            break
    assert high.state == "released"
    assert high.state_changes.latest("pk").reason.startswith("Its pool has changed since")


def test_a_limit_that_has_become_wider_releases_nothing_that_was_held_under_a_narrower_one(
    high, settings
):
    """As where one wild set has widened the pool: else it lets in whatever waits."""
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"part": 20.0, "most": 0.5}}
    for number, mean_N in enumerate((79.0, 81.0), start=10):
        assert send(account(f"tester {number}", joined=number), mean_N).state == "pooled"
    assert state_of(high) == "held"


def test_a_moderator_releases_it_and_no_run_holds_it_again(high, moderator):
    decide(by=moderator.user, pull_set=high, decision="release", reason="The film shows it.")
    drain()
    run_again(high)
    assert state_of(high) == "released"
    assert Pool.objects.get().current.testers == 4


def test_what_was_rejected_is_released_by_no_second_tester(high, other, moderator):
    decide(by=moderator.user, pull_set=high, decision="reject", reason="Another line.")
    send(other, 95.0)
    assert state_of(high) == "rejected"


def test_a_suspended_account_waits_on(high, other, moderator):
    suspend(by=moderator.user, contributor=high.session.contributor, reason="Look at this first.")
    send(other, 95.0)
    assert state_of(high) == "held"


def test_running_it_again_leaves_the_same_rows(high):
    def rows() -> tuple[int, int, int]:
        return (
            Screening.objects.count(),
            CheckResult.objects.count(),
            Notice.objects.count(),
        )

    before = rows()
    run_again(high)
    assert rows() == before
    assert state_of(high) == "held"


def test_a_check_that_holds_it_later_ends_its_waiting_for_a_second_tester(high, other):
    straight = high.session.baselines.get().pulls
    for pull in straight.all():
        straight.filter(pk=pull.pk).update(reading_N=0.7 * (pull.reading_N or 0.0))
    run_again(high)
    assert INFLUENCE not in {check.name for check in holds_of(high)}
    send(other, 95.0)
    assert state_of(high) == "held"


@pytest.fixture
def five(league) -> Pool:
    for number, mean_N in enumerate((79.0, 81.0), start=4):
        assert send(account(f"tester {number}", joined=number), mean_N).state == "pooled"
    return league


def ring(*, joined_together: bool, spool: str) -> list[Contributor]:
    people = [account(f"ring {number}", joined=10 + number) for number in range(3)]
    if joined_together:
        Contributor.objects.filter(pk__in=[one.pk for one in people]).update(
            joined_at="2025-05-05T12:00:00Z"
        )
    for one in people:
        one.refresh_from_db()
    return people


def test_linked_accounts_that_come_one_after_another_are_judged_together(five):
    people = ring(joined_together=True, spool="blue tin")
    states = [send(one, 87.5, spool="blue tin").state for one in people]
    assert states[0] == "pooled"
    assert "held" in states
    last = PullSet.objects.filter(session__contributor=people[2]).get()
    assert "Together with what is linked to it" in holds_of(last).get().sentence


def test_newcomers_of_one_month_who_share_nothing_confirm_no_one_and_are_judged_together(five):
    """An older tester confirms them. In a pool where all are new they count one by one."""
    Session.objects.update(received_at="2026-01-20T12:00:00Z")
    people = ring(joined_together=False, spool="")
    sets = [send(one, 87.5) for one in people]
    assert sets[0].state == "pooled"
    assert state_of(sets[2]) == "held"
    sentence = holds_of(sets[2]).get().sentence
    assert "ogether with like results of others who came at the same time" in sentence
    high, second = send(people[0], 97.0, day=20), send(people[1], 96.0, day=20)
    assert [state_of(high), state_of(second)] == ["held", "held"]
    old = Contributor.objects.get(handle="tester 5")
    send(old, 96.5, day=20)
    assert state_of(high) == "released"


def test_strangers_with_the_same_results_are_judged_one_by_one(five):
    people = ring(joined_together=False, spool="")
    assert [send(one, 87.5).state for one in people] == ["pooled"] * 3


def test_two_linked_sets_that_arrive_at_once_do_not_both_count(five):
    """The first is judged, the second judged and written, and only then is the first written."""
    people = ring(joined_together=True, spool="blue tin")
    assert send(people[0], 87.5, spool="blue tin").state == "pooled"
    first = send(people[1], 87.5, spool="blue tin")
    PullSet.objects.filter(pk=first.pk).update(state="received")
    pool = first.normalised.pool_id
    members = members_of_each([pool], also=[first.pk])
    judged = judge_influence(first.session, [first.normalised], members)
    PullSet.objects.filter(pk=first.pk).update(state=first.state)
    assert judged[0].influence is not None
    shift = judged[0].influence.moved.shift
    second = send(people[2], 87.5, spool="blue tin")
    PullSet.objects.filter(pk=second.pk).update(state="normalised")
    (again,) = lock_and_judge_again(judged)
    assert again.influence is not None
    assert again.influence.moved.shift > shift


def test_its_tester_a_stranger_and_a_moderator_see_that_it_waits(
    high, as_owner, as_stranger, as_moderator
):
    checks = as_owner.get(f"/api/v1/pull-sets/{high.pk}/checks").json()
    (holding,) = [check for check in checks if check["level"] == "hold"]
    assert "A second tester, not linked to you" in holding["settled_by"]
    (notice,) = as_owner.get("/api/v1/notices").json()["results"]
    assert "waits for a second tester or a moderator" in notice["text"]
    pool = high.normalised.pool
    assert as_stranger.get(f"/api/v1/pools/{pool.pk}").json()["sets_waiting"] == 1
    page = as_stranger.get(f"/pools/{pool.pk}/").content.decode()
    assert "1 set waits for a second look" in page
    (case,) = as_moderator.get("/api/v1/reviews").json()["results"]
    assert case["waits_for_second_tester"] is True
    assert case["pool_shift"] > 0.03


def test_a_later_set_of_a_tester_who_was_looked_at_is_judged_by_what_it_adds(high, moderator):
    decide(by=moderator.user, pull_set=high, decision="release", reason="The film shows it.")
    drain()
    assert send(high.session.contributor, 96.5, day=20).state in ("pooled", "normalised")


def test_a_crowd_that_waits_is_looked_at_a_few_a_job_until_all_are_settled(league, monkeypatch):
    strong = account("strong", joined=8)
    crowd = [send(strong, 96.0, day=day) for day in (10, 12, 14)]
    assert [state_of(one) for one in crowd] == ["held"] * 3
    monkeypatch.setattr(settling, "MOST_AT_ONCE", 1)
    looked_at: list[list[int]] = []
    settle = settling._settle

    def recorded(pool_id, due, *rest):
        looked_at.append(due)
        settle(pool_id, due, *rest)

    monkeypatch.setattr(settling, "_settle", recorded)
    second = send(account("second", joined=20), 80.0, screened=False)
    normalise_session(second.session_id, still_ours=lambda: True)
    screen_session(second.session_id, still_ours=lambda: True, follow=lambda: None)
    assert looked_at == [[crowd[0].pk]]
    drain()
    assert {pk for due in looked_at for pk in due} == {one.pk for one in crowd}
    assert max(len(due) for due in looked_at) == 1
    assert len(looked_at) <= Job.objects.count() + 1
