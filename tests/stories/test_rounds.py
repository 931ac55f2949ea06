"""A club's round: set up, entered by code, allocated blind (stories 14 and 15)."""

from dataclasses import replace
from datetime import date
from hashlib import sha256

import pytest

from results.accounts.close import close_account
from results.models import Round, RoundSpecimen
from results.rounds import codes, selectors
from results.rounds.allocating import open_round, packing_list
from results.rounds.drafts import LotDraft
from results.rounds.entering import MOST_PARTICIPANTS, TRIES_AN_HOUR, enter, withdraw
from results.rounds.set_up import change, set_up
from rigs.refusals import Conflict, Forbidden, Invalid, TooMany
from tests import making, playing
from tests.people import contributor


@pytest.fixture
def organiser(db):
    return playing.member("organiser")


@pytest.fixture
def testers(db):
    return [playing.member(f"tester {number}") for number in (1, 2, 3)]


def test_a_member_sets_up_a_round_of_their_club(organiser):
    made = set_up(organiser, playing.draft())
    assert (made.club, made.state) == (organiser.club, Round.State.SETTING_UP)
    assert [str(lot) for lot in made.lots.all()] == [
        "thin, spool spring reel",
        "thick, spool leader reel",
    ]
    assert [sample.codes for sample in made.samples.all()] == [2, 1, 1, 1]


def test_who_is_in_no_club_sets_up_none(owner):
    with pytest.raises(Forbidden, match="club"):
        set_up(owner, playing.draft())


def test_everything_wrong_with_a_draft_is_said_at_once_and_nothing_is_stored(organiser):
    wrong = playing.draft(results_by=date(2026, 2, 1), title=" ")
    samples = [
        replace(wrong.samples[0], main_lot=7),
        replace(wrong.samples[1], leader_lot=None),
        replace(wrong.samples[2], parameters={"turns": 6}, ties=1),
    ]
    twice = [wrong.lots[0], LotDraft(wrong.lots[0].line, " spring reel ")]
    with pytest.raises(Invalid) as refusal:
        set_up(organiser, replace(wrong, samples=samples, lots=twice))
    places = {(each.row, each.field) for each in refusal.value.findings}
    assert places == {
        ("", "title"),
        ("", "results_by"),
        ("lots[1]", "spool"),
        ("samples[0]", "main_lot"),
        ("samples[1]", "leader"),
        ("samples[2]", "ties"),
        ("samples[2]", "parameters"),
    }
    assert not Round.objects.exists()


def test_a_round_is_changed_until_it_is_opened_and_by_its_organiser_alone(organiser, testers):
    made = set_up(organiser, playing.draft())
    enter(testers[0], made.entry_code)
    shorter = playing.draft(samples=playing.draft().samples[:1], lots=playing.draft().lots[::-1])
    change(organiser, made, shorter)
    assert made.samples.count() == 1
    assert made.participants.count() == 1
    assert [lot.line.name for lot in made.lots.all()] == ["thick", "thin"]
    with pytest.raises(Forbidden):
        change(testers[0], made, shorter)
    enter(testers[1], made.entry_code)
    open_round(organiser, made)
    with pytest.raises(Conflict, match="is open"):
        change(organiser, made, playing.draft())


def test_a_code_is_typed_as_it_is_heard(organiser, testers):
    made = set_up(organiser, playing.draft())
    spoken = f" {made.entry_code[:4].lower()} - {made.entry_code[4:].lower()} "
    entered = enter(testers[0], spoken)
    assert enter(testers[0], codes.readable(made.entry_code)) == entered
    for wrong in ("", "IO10IO10", "é" * 8, "2" * 8, "\x00" * 8):
        with pytest.raises(Invalid):
            enter(testers[1], wrong)


def test_codes_can_be_read_aloud_and_none_is_drawn_twice():
    drawn = {codes.new_code() for _ in range(2000)}
    assert len(drawn) == 2000
    assert not set("".join(drawn)) & set("01IOAEUY")


def test_guessing_at_codes_is_slow(owner):
    for _ in range(TRIES_AN_HOUR):
        with pytest.raises(Invalid):
            enter(owner, "2" * 8)
    with pytest.raises(TooMany):
        enter(owner, "2" * 8)


def test_opening_draws_for_everyone_each_sample_and_its_duplicate(organiser, testers):
    made, entered = playing.opened(organiser, testers)
    assert made.state == Round.State.OPEN
    for participant in entered:
        drawn = participant.specimens.values_list("sample__number", "copy")
        assert sorted(drawn) == [(1, 1), (1, 2), (2, 1), (3, 1), (4, 1)]
    assert len(set(RoundSpecimen.objects.values_list("code", flat=True))) == 15
    with pytest.raises(Conflict):
        open_round(organiser, made)


def test_the_numbers_of_rows_tell_nobody_which_code_is_which_sample(organiser, testers):
    """One's own data hold them."""
    made, _ = playing.opened(organiser, testers)
    orders = {
        tuple(one.specimens.order_by("pk").values_list("sample_id", "copy"))
        for one in made.participants.all()
    }
    assert len(orders) > 1


def test_a_round_is_opened_by_its_organiser_once_two_have_entered(organiser, testers):
    made = set_up(organiser, playing.draft())
    enter(testers[0], made.entry_code)
    with pytest.raises(Conflict, match="two testers"):
        open_round(organiser, made)
    with pytest.raises(Forbidden):
        open_round(testers[0], made)


def test_a_tester_knows_what_they_tie_and_not_what_was_tied_for_them(organiser, testers):
    _, (first, *_) = playing.opened(organiser, testers)
    own = selectors.own_codes(first)
    assert [one.code for one in own] == sorted(one.code for one in own)
    known = [one.sample.number for one in own if one.sample is not None]
    assert sorted(known) == [3, 4]
    assert sum(one.sample is None for one in own) == 3
    shown = selectors.samples_of(first.round, testers[0])
    assert [sample.number for sample in shown] == [3, 4]
    assert not selectors.samples_of(first.round, contributor("stranger")).exists()


def test_who_packs_is_kept_as_not_blind_and_nobody_else_sees_the_list(organiser, testers):
    packer = contributor("packer")
    made, _ = playing.opened(organiser, testers, packer=packer)
    for blind in (organiser, testers[0]):
        with pytest.raises(Forbidden):
            packing_list(blind, made)
    assert not made.sights.exists()
    packed = packing_list(packer, made)
    assert len(packed) == 15
    packing_list(packer, made)
    assert [sight.contributor for sight in made.sights.all()] == [packer]


def test_an_organiser_who_packs_and_takes_part_is_not_blind(organiser, testers):
    made, _ = playing.opened(organiser, [organiser, *testers])
    packing_list(organiser, made)
    seen = {sender.participant.contributor: sender.not_blind for sender in selectors.senders(made)}
    assert seen == {organiser: True} | dict.fromkeys(testers, False)


def test_who_enters_an_open_round_is_late_and_gets_codes_at_once(organiser, testers):
    made, _ = playing.opened(organiser, testers[:2])
    late = enter(testers[2], made.entry_code)
    assert late.late
    assert late.specimens.count() == 5
    assert enter(testers[2], made.entry_code).specimens.count() == 5


def test_who_withdraws_is_out_until_they_enter_again(organiser, testers):
    made, _ = playing.opened(organiser, testers)
    withdraw(testers[0], made)
    assert selectors.participant_of(made, testers[0]) is None
    assert selectors.rounds().get().participant_count == 2
    with pytest.raises(Conflict):
        withdraw(testers[0], made)
    enter(testers[0], made.entry_code)
    assert selectors.participant_of(made, testers[0]).specimens.count() == 5


def test_a_round_takes_so_many_testers_and_no_more(organiser, testers):
    made = set_up(organiser, playing.draft())
    for number in range(MOST_PARTICIPANTS):
        made.participants.create(contributor=contributor(f"guest {number}"))
    with pytest.raises(Conflict, match="full"):
        enter(testers[0], made.entry_code)


def test_joins_and_lines_of_a_round_are_accepted_ones(organiser):
    plan = playing.draft()
    making.connection("Albright")
    type(plan.samples[1].connection).objects.filter(name="Albright").update(accepted=False)
    with pytest.raises(Invalid) as refusal:
        set_up(organiser, playing.draft())
    assert {each.field for each in refusal.value.findings} == {"connection"}


def test_an_account_that_is_closed_leaves_the_rounds_that_are_open(organiser, testers):
    made, (first, *_) = playing.opened(organiser, testers)
    kept = {"body": b"{}", "sha256": sha256(b"{}").hexdigest(), "content_type": "text/csv"}
    first.specimens.update(sent_in=first.sealed.create(**kept))
    close_account(testers[0], keep=True)
    assert selectors.participant_of(made, testers[0]) is None
    assert [sealed.state for sealed in first.sealed.all()] == ["withdrawn"]
    assert not first.specimens.exclude(sent_in=None).exists()


def test_the_organiser_packs_for_a_packer_who_is_gone(organiser, testers):
    packer = contributor("packer")
    made, _ = playing.opened(organiser, testers, packer=packer)
    close_account(packer, keep=True)
    made.refresh_from_db()
    assert len(packing_list(organiser, made)) == 15
