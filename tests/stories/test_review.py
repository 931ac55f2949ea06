"""Review: why a set is held, what its owner and the moderators can do, and what is kept of it."""

import pytest
from django.contrib.auth.models import Group

from results.jobs.queue import enqueue
from results.models import CheckResult, Job, Notice, Pool, PullSet, Screening
from results.review.decisions import appeal, ask, decide, decide_many, version_of
from results.review.selectors import check_records, holds_of, queue
from results.worker.embedded import drain
from rigs.refusals import Conflict, Forbidden, Invalid
from tests import making
from tests.people import client_of, contributor

HONEST_N = (78.0, 81.5, 80.0, 84.5, 76.5)
TOO_GOOD_N = (128.0, 133.5, 130.0, 134.5, 126.5)


def send(person, readings_N=HONEST_N) -> PullSet:
    """A session of straight line near 100 N and five pulls of one join, worked out and pooled."""
    name = f"bench {person.rigs.count()}"
    revision = making.revision_of(person, name=name)
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    pull_set = making.joined(session, main, leader, readings_N)
    enqueue(session)
    drain()
    pull_set.refresh_from_db()
    return pull_set


def shifted(by_N: float) -> list[float]:
    return [reading + by_N for reading in HONEST_N]


@pytest.fixture
def league(db) -> list[PullSet]:
    return [send(contributor(f"tester {n}"), shifted(by_N)) for n, by_N in enumerate((-2, 0, 2.5))]


@pytest.fixture
def held(league, owner) -> PullSet:
    return send(owner, TOO_GOOD_N)


@pytest.fixture
def second_moderator(db):
    person = contributor("second moderator")
    person.user.groups.add(Group.objects.get_or_create(name="moderators")[0])
    return person


def run_again(pull_set: PullSet) -> None:
    Job.objects.filter(session=pull_set.session_id).update(state="queued", attempts=0)
    drain()


def test_a_join_stronger_than_its_line_is_held_and_is_out_of_its_pool(held):
    assert held.state == "held"
    pool = Pool.objects.get()
    assert pool.current.testers == 3
    assert not held.memberships.exists()
    assert "130.5 percent of the straight line" in held.state_changes.latest("pk").reason


def test_its_owner_learns_why_in_plain_words_and_can_read_every_check(held, as_owner):
    (notice,) = as_owner.get("/api/v1/notices").json()["results"]
    assert "waits for a moderator" in notice["text"]
    assert "broke at the grip, or came off another spool" in notice["text"]
    checks = as_owner.get(f"/api/v1/pull-sets/{held.pk}/checks").json()
    holding = {check["name"] for check in checks if check["level"] == "hold"}
    assert {"plausible efficiency", "stronger than the line"} <= holding
    assert all(check["sentence"] and check["source"] for check in checks)


def test_no_one_else_reads_the_checks_or_the_thread(held, as_other, as_stranger):
    for part in ("checks", "thread"):
        assert as_other.get(f"/api/v1/pull-sets/{held.pk}/{part}").status_code == 403
        assert as_stranger.get(f"/api/v1/pull-sets/{held.pk}/{part}").status_code == 401


def test_an_honest_session_is_pooled_and_its_owner_is_not_bothered(league, owner):
    assert send(owner, shifted(1)).state == "pooled"
    assert not Notice.objects.filter(to=owner).exists()


def test_screening_the_same_session_again_leaves_the_same_rows(held):
    before = (Screening.objects.count(), CheckResult.objects.count(), Notice.objects.count())
    run_again(held)
    assert (
        Screening.objects.count(),
        CheckResult.objects.count(),
        Notice.objects.count(),
    ) == before


def test_a_released_set_counts_and_is_not_held_again_by_another_run(held, moderator):
    decide(by=moderator.user, pull_set=held, decision="release", reason="A hollow splice: it may.")
    run_again(held)
    held.refresh_from_db()
    assert held.state == "released"
    assert Pool.objects.get().current.testers == 4


def test_a_decision_pools_once_and_the_history_says_which_decision_it_was(held, moderator):
    before = Pool.objects.get().current.number
    change = decide(by=moderator.user, pull_set=held, decision="release", reason="Photos show it.")
    drain()
    current = Pool.objects.get().current
    assert current.number == before + 1
    assert current.why == [f"decision {change.pk} on set {held.pk}: release"]
    assert held.memberships.get().since == current


def test_many_are_decided_on_together_or_not_at_all(held, moderator, other):
    second, own = send(other, TOO_GOOD_N), send(moderator, TOO_GOOD_N)
    with pytest.raises(Forbidden, match="own submission"):
        decide_many(
            by=moderator.user, pull_sets=[held, own], decision="reject", reason="Wrong spool."
        )
    held.refresh_from_db()
    assert held.state == "held"
    before = Pool.objects.get().current.number
    decide_many(
        by=moderator.user, pull_sets=[held, second], decision="release", reason="Both shown."
    )
    drain()
    assert Pool.objects.get().current.number == before + 1


def test_a_moderator_is_refused_on_their_own_submission(league, moderator):
    own = send(moderator, TOO_GOOD_N)
    with pytest.raises(Forbidden, match="your own submission"):
        decide(by=moderator.user, pull_set=own, decision="release", reason="I know it is right.")
    with pytest.raises(Forbidden):
        ask(by=moderator.user, pull_set=own, text="Is it right?")


def test_of_two_moderators_on_one_case_the_later_learns_that_it_moved_on(
    held, moderator, second_moderator
):
    seen_by_both = version_of(held)
    decide(by=moderator.user, pull_set=held, decision="reject", reason="x", expected=seen_by_both)
    with pytest.raises(Conflict, match="moved on"):
        decide(
            by=second_moderator.user,
            pull_set=held,
            decision="release",
            reason="y",
            expected=seen_by_both,
        )
    held.refresh_from_db()
    assert held.state == "rejected"


def test_an_answer_that_came_meanwhile_also_stops_a_decision(held, moderator, as_owner):
    seen = as_owner.get(f"/api/v1/pull-sets/{held.pk}/thread").json()["version"]
    as_owner.post(f"/api/v1/pull-sets/{held.pk}/thread", {"text": "It is a splice."}, format="json")
    answer = client_of(moderator).post(
        f"/api/v1/pull-sets/{held.pk}/decisions",
        {"decision": "reject", "reason": "Wrong spool.", "version": seen},
        format="json",
    )
    assert answer.status_code == 409


def test_question_answer_and_decision_make_one_thread(held, as_moderator, as_owner):
    thread = f"/api/v1/pull-sets/{held.pk}/thread"
    as_moderator.post(thread, {"text": "Which spool was it?"}, format="json")
    as_owner.post(thread, {"text": "The one from last year."}, format="json")
    decided = {"decision": "reject", "reason": "Last year's spool is weaker."}
    as_moderator.post(f"/api/v1/pull-sets/{held.pk}/decisions", decided, format="json")
    answer = [(m["by"], m["kind"]) for m in as_owner.get(thread).json()["messages"]]
    assert answer == [
        ("moderator", "question"),
        ("contributor", "answer"),
        ("moderator", "decision"),
    ]
    texts = [notice["text"] for notice in as_owner.get("/api/v1/notices").json()["results"]]
    assert "Last year's spool is weaker." in texts[0]
    assert "Which spool was it?" in texts[1]


def test_an_appeal_goes_to_another_moderator_than_the_one_who_decided(
    held, owner, moderator, second_moderator
):
    decide(by=moderator.user, pull_set=held, decision="reject", reason="Wrong spool.")
    appeal(by=owner.user, pull_set=held, text="The photo shows the same spool.")
    assert [case.pull_set_id for case in queue()] == [held.pk]
    with pytest.raises(Forbidden, match="against your decision"):
        decide(by=moderator.user, pull_set=held, decision="reject", reason="Still wrong.")
    decide(by=second_moderator.user, pull_set=held, decision="release", reason="It is the same.")
    held.refresh_from_db()
    assert held.state == "released"
    assert not queue().exists()


def test_an_appeal_can_be_turned_down_and_that_is_kept_as_well(
    held, owner, moderator, second_moderator
):
    decide(by=moderator.user, pull_set=held, decision="reject", reason="Wrong spool.")
    appeal(by=owner.user, pull_set=held, text="Look again.")
    change = decide(
        by=second_moderator.user, pull_set=held, decision="reject", reason="The label differs."
    )
    assert (change.from_state, change.to_state) == ("rejected", "rejected")
    assert not queue().exists()


def test_there_is_nothing_to_appeal_before_a_person_has_decided(held, owner, other):
    with pytest.raises(Conflict, match="No moderator has decided"):
        appeal(by=owner.user, pull_set=held, text="Look.")
    with pytest.raises(Forbidden):
        appeal(by=other.user, pull_set=held, text="Look.")
    with pytest.raises(Invalid):
        appeal(by=owner.user, pull_set=held, text=" ")


def test_checks_that_fire_and_are_overturned_are_reported(held, other, moderator, as_moderator):
    second = send(other, TOO_GOOD_N)
    decide(by=moderator.user, pull_set=held, decision="release", reason="A splice.")
    decide(by=moderator.user, pull_set=second, decision="reject", reason="Wrong spool.")
    record = next(one for one in check_records() if one.name == "plausible efficiency")
    assert (record.held, record.released, record.rejected) == (2, 1, 1)
    assert record.overturned == 0.5
    assert as_moderator.get("/api/v1/reviews/checks").json()[0]["held"] >= 1


def test_the_queue_begins_with_the_case_that_would_move_its_pool_the_most(held, other):
    far = send(other, [reading + 60 for reading in TOO_GOOD_N])
    assert [case.pull_set_id for case in queue()] == [far.pk, held.pk]
    assert all(case.pool_shift > 0 for case in queue())


def test_a_moderator_may_hold_what_no_check_held(league, moderator):
    honest = league[0]
    decide(by=moderator.user, pull_set=honest, decision="hold", reason="A question first.")
    assert [case.pull_set_id for case in queue()] == [honest.pk]
    assert not holds_of(honest).exists()
