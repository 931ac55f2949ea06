"""Results of a round: sealed until the close, then sessions like any others (stories 15 and 16)."""

import json

import pytest

from results.models import (
    Job,
    PullSet,
    ReviewCase,
    Round,
    RoundSet,
    SealedSession,
    Session,
    StalePool,
)
from results.rounds import selectors
from results.rounds.closing import close
from results.rounds.entering import withdraw
from results.rounds.lot_pulls import record
from results.rounds.receiving import receive, take_back
from results.rounds.reporting import own_part
from rigs.refusals import Conflict, Forbidden, Invalid, Refused
from tests import making, playing


@pytest.fixture
def organiser(db):
    return playing.member("organiser")


@pytest.fixture
def testers(db):
    found = [playing.member(f"tester {number}") for number in range(1, 7)]
    for tester in found:
        playing.lent_rig(tester)
    return found


@pytest.fixture
def under_way(organiser, testers):
    return playing.opened(organiser, testers)


def test_before_the_close_nothing_is_stored_that_could_be_shown(under_way):
    made, (first, *_) = under_way
    sealed = playing.sends(first)
    assert sealed.created
    for table in (Session, PullSet, Job, StalePool, RoundSet):
        assert not table.objects.exists(), table
    (sender, *others) = selectors.senders(made)
    assert (sender.sent, sender.codes) == (5, 5)
    assert {other.sent for other in others} == {0}


def test_the_close_stores_all_computes_a_report_and_can_t_be_undone(under_way, organiser, drain):
    made, entered = under_way
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=80.0 + number)
    closed = close(organiser, made)
    drain()
    assert closed.state == Round.State.CLOSED
    assert PullSet.objects.count() == RoundSet.objects.count() == 30
    assert set(PullSet.objects.values_list("state", flat=True)) <= {"normalised", "pooled"}
    found = selectors.latest_report(made)
    assert found.report["entered"] == found.report["sent"] == 6
    assert len(found.sets) == 30
    assert found.report["hands_and_rigs"]["rigs"]["effects"]
    first = made.participants.get(number=1)
    assert own_part(found, first)["own"]["participant"] == 1
    with pytest.raises(Conflict):
        close(organiser, made)
    with pytest.raises(Conflict):
        playing.sends(entered[0], day=11)
    assert all(p.contributor.notices.exists() for p in entered)


def test_zeta_scores_are_for_those_whose_scales_were_calibrated(organiser, testers, drain):
    """Without a calibration nothing says how sure a reading is; z stands for everyone."""
    uncalibrated = playing.member("tester 7")
    making.revision_of(uncalibrated)
    made, entered = playing.opened(organiser, [*testers, uncalibrated])
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=80.0 + number)
    close(organiser, made)
    drain()
    drawn = made.participants.get(contributor=uncalibrated).number
    scores = [
        score
        for sample in selectors.latest_report(made).report["samples"]
        for score in sample["scores"]
    ]
    assert len(scores) > 7
    assert all(score["z"] is not None for score in scores)
    assert {score["participant"] for score in scores if score["zeta"] is None} == {drawn}


def test_sets_are_bound_to_the_sample_of_their_code(under_way, organiser, drain):
    made, entered = under_way
    for participant in entered:
        playing.sends(participant)
    close(organiser, made)
    for one in RoundSet.objects.select_related("pull_set", "specimen__sample"):
        assert one.pull_set.connection_id == one.specimen.sample.connection_id
        assert one.pull_set.session.contributor == one.specimen.participant.contributor
        assert one.pull_set.label.replace("-", "") == one.specimen.code


def test_a_code_is_sent_once_until_it_is_taken_back(under_way):
    _, (first, *_) = under_way
    sealed = playing.sends(first)
    with pytest.raises(Conflict, match="take that session back"):
        playing.sends(first, day=11)
    take_back(first.contributor, sealed.row)
    assert playing.sends(first, day=11).created
    with pytest.raises(Conflict):
        take_back(first.contributor, sealed.row)


def test_the_same_key_answers_the_same_and_stores_once(under_way):
    _, (first, *_) = under_way
    sealed = playing.sends(first, "key one")
    again = playing.sends(first, "key one")
    assert (again.row, again.created) == (sealed.row, False)
    with pytest.raises(Invalid, match="another upload"):
        playing.sends(first, "key one", day=12)
    assert SealedSession.objects.count() == 1


def refused(participant, document) -> set[tuple[str, str]]:
    with pytest.raises(Refused) as refusal:
        receive(participant.contributor, json.dumps(document).encode(), "application/json", None)
    return {(each.row, each.field) for each in refusal.value.findings}


def test_what_does_not_fit_the_round_is_named_and_gives_nothing_away(under_way):
    _, (first, second, *_) = under_way
    codes = [one.code for one in selectors.own_codes(first)]
    theirs = second.specimens.first().code
    good = playing.session(codes)
    assert refused(first, playing.session([*codes, theirs])) == {("pull_sets[5]", "sample")}
    assert refused(first, playing.session([codes[0], codes[0]])) == {("pull_sets[1]", "sample")}
    assert refused(first, good | {"state": "soaked"}) == {("", "state")}
    assert refused(first, good | {"baselines": good["baselines"][:1]}) == {("", "baselines")}
    named = good["pull_sets"][0] | {"connection": "Blood"}
    assert refused(first, good | {"pull_sets": [named]}) == {("pull_sets[0]", "connection")}
    void = [{"failure_mode": "void"}] * 5
    straight = [one | {"pulls": void} for one in good["baselines"]]
    for _, field in refused(first, good | {"baselines": straight}):
        assert field in {"pulls", "pull_sets", "baselines"}
    for wrong in (b"[]", b"\xff", b'{"pull_sets": [{"sample": {}}]}', b'{"sample": 1}'):
        with pytest.raises(Refused):
            receive(first.contributor, wrong, "application/json", None)


def test_who_withdraws_is_not_in_the_report(under_way, organiser, drain):
    made, entered = under_way
    for participant in entered:
        playing.sends(participant)
    withdraw(entered[0].contributor, made)
    close(organiser, made)
    drain()
    assert selectors.latest_report(made).report["entered"] == 5
    assert not Session.objects.filter(contributor=entered[0].contributor).exists()


def test_who_has_sent_nothing_is_missing_and_said_so(under_way, organiser, drain):
    made, entered = under_way
    playing.sends(entered[0])
    close(organiser, made)
    drain()
    found = selectors.latest_report(made).report
    assert (found["entered"], found["sent"]) == (6, 1)


def test_a_session_that_can_t_be_stored_is_kept_with_the_reason(under_way, organiser, drain):
    made, entered = under_way
    for participant in entered:
        playing.sends(participant)
    entered[0].contributor.rigs.update(name="sold winch")
    close(organiser, made)
    drain()
    stopped = SealedSession.objects.get(state=SealedSession.State.STOPPED)
    assert stopped.participant == entered[0]
    assert "shed winch" in stopped.problem
    assert selectors.latest_report(made).report["sent"] == 5


def test_only_the_organiser_or_a_moderator_closes(under_way, moderator, drain):
    made, entered = under_way
    with pytest.raises(Forbidden):
        close(entered[0].contributor, made)
    close(moderator, made)
    drain()
    assert selectors.latest_report(made).report["sent"] == 0


def test_sets_of_a_closed_round_of_the_club_don_t_wait_for_their_influence(
    under_way, organiser, drain
):
    made, entered = under_way
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=55.0 + 7 * number)
    close(organiser, made)
    drain()
    assert not ReviewCase.objects.wait_for_a_second_look().exists()


def test_the_organisers_pulls_of_the_spool_are_in_the_report(under_way, organiser, drain):
    made, _ = under_way
    lot = made.lots.first()
    record(organiser, lot, "before", "N", [[100.0, 101.0], [99.0, 100.5], [100.2, 99.7]])
    record(organiser, lot, "after", "lbf", [[22.5, 22.4, 22.6]])
    with pytest.raises(Invalid):
        record(organiser, lot, "before", "N", [[100.0], []])
    close(organiser, made)
    drain()
    (spool,) = selectors.latest_report(made).report["spools"]
    assert (spool["spool"], spool["lengths"]) == (1, 3)


def test_a_moderator_who_takes_part_does_not_close_the_round(organiser, testers, moderator):
    made, _ = playing.opened(organiser, [*testers, moderator])
    with pytest.raises(Forbidden):
        close(moderator, made)
    withdraw(moderator, made)
    assert close(moderator, made).state == Round.State.CLOSED
