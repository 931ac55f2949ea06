"""What PostgreSQL refuses of rounds, also to its administrator: each write is tried by plain SQL.

SQLite has no triggers, and refuses what a check or a key of the one table can refuse.
"""

from __future__ import annotations

import re

import pytest
from django.db import connection

from results.accounts.erase import erase_row
from results.models import Round, RoundReport
from results.pools.snapshots import FORMULAE
from results.rounds.allocating import packing_list
from results.rounds.closing import close
from results.rounds.lot_pulls import record
from results.rounds.set_up import set_up
from results.worker import embedded
from tests import playing
from tests.deploy.test_bad_writes import Write, is_refused

_CLOSED = "UPDATE results_round SET {} WHERE id = {{closed}}"
_OPEN = "UPDATE results_round SET {} WHERE id = {{open}}"
_SEALED = "UPDATE results_sealedsession SET {} WHERE id = {{sealed}}"
_REPORT = "UPDATE results_roundreport SET {} WHERE round_id = {{closed}}"
_CODE = "UPDATE results_roundspecimen SET {} WHERE id = {{sent}}"
_PART = "UPDATE results_roundparticipant SET {} WHERE id = {{part}}"
_NEW_REPORT = (
    "INSERT INTO results_roundreport (round_id, number, state, attempts, problem, asked_at, sets) "
    "VALUES ({}, {}, 'queued', 0, '', '2026-04-20 00:00:00+00:00', '[]')"
)
_NEW_CODE = (
    "INSERT INTO results_roundspecimen (participant_id, sample_id, copy, code) "
    "VALUES ({}, {}, 3, 'ZZZZ9999')"
)
_NEW_SEAL = (
    "INSERT INTO results_sealedsession (participant_id, content_type, body, sha256, late, state, "
    "problem, received_at) SELECT {}, content_type, body, {}, late, 'sealed', '', received_at "
    "FROM results_sealedsession WHERE id = {{sealed}}"
)
_NEW_SAMPLE = (
    "INSERT INTO results_roundsample (round_id, number, connection_id, doubled, main_lot_id, "
    "terminal, parameters, specification, tied, ties, codes, level) SELECT round_id, 9, "
    "connection_id, doubled, main_lot_id, 'hook', parameters, '', tied, {}, codes, level "
    "FROM results_roundsample WHERE id = {{sample}}"
)

WRITES = (
    Write("a closed round reopened", _CLOSED.format("state = 'open', closed_at = NULL")),
    Write("a closed round open and closed", _CLOSED.format("state = 'open'"), everywhere=True),
    Write("a close moved to another day", _CLOSED.format("closed_at = '2027-01-01 00:00+00:00'")),
    Write("a round closed before it opened", _OPEN.format(
        "state = 'closed', closed_at = '2020-01-01 00:00:00+00:00'"), everywhere=True),
    Write("a round that opened before it was made", _OPEN.format(
        "opened_at = '2020-01-01 00:00:00+00:00'"), everywhere=True),
    Write("a round that ends before it starts", _OPEN.format(
        "results_by = '2020-01-01'"), everywhere=True),
    Write("an open round set up again", _OPEN.format("state = 'being set up', opened_at = NULL")),
    Write("an earlier last day once it is open", _OPEN.format("results_by = '2026-03-02'")),
    Write("another last day once it is closed", _CLOSED.format("results_by = '2027-01-01'")),
    Write("another organiser", _OPEN.format("organiser_id = {tester}")),
    Write("another packer once it is open", _OPEN.format("packer_id = {tester}")),
    Write("another title in somebody's words", _OPEN.format("title = 'Blood wins'")),
    Write("another code to enter by", _CLOSED.format("entry_code = 'ZZZZ9999'")),
    Write("a round deleted", "DELETE FROM results_round WHERE id = {open}"),
    Write("a seal's bytes rewritten", _SEALED.format("body = {bytes}")),
    Write("a seal's sum rewritten", _SEALED.format("sha256 = 'ab'")),
    Write("a seal given to somebody else", _SEALED.format("participant_id = {other_part}")),
    Write("a seal that came in time after all", _SEALED.format("late = NOT late")),
    Write("a seal of another moment", _SEALED.format("received_at = '2020-01-01 00:00+00:00'")),
    Write("a seal that waits again", "UPDATE results_sealedsession SET state = 'sealed' "
          "WHERE id = {stored}"),
    Write("a seal with a session of somebody else", _SEALED.format(
        "state = 'stored', session_id = {others_session}")),
    Write("a seal with another session", "UPDATE results_sealedsession SET session_id = NULL "
          "WHERE id = {stored}"),
    Write("a seal in a state that there is not", _SEALED.format("state = 'lost'"), True),
    Write("a seal deleted", "DELETE FROM results_sealedsession WHERE id = {sealed}"),
    Write("a seal after the close", _NEW_SEAL.format("{closed_part}", "sha256")),
    Write("a seal of other bytes than its sum", _NEW_SEAL.format("{part}", "'ab'")),
    Write("a report's figures changed", _REPORT.format("report = '{}'")),
    Write("a report's sets changed", _REPORT.format("sets = '[]'")),
    Write("a report of other formulae", _REPORT.format("formulae = 1")),
    Write("a report of no formulae", _REPORT.format("formulae = NULL"), everywhere=True),
    Write("a report's number changed", _REPORT.format("number = 7")),
    Write("a report that waits again", _REPORT.format(
        "state = 'queued', report = NULL, made_at = NULL")),
    Write("a report deleted", "DELETE FROM results_roundreport WHERE round_id = {closed}"),
    Write("a report's number twice", _NEW_REPORT.format("{closed}", 1), everywhere=True),
    Write("a report of an open round", _NEW_REPORT.format("{open}", 1)),
    Write("a code of another sample", _CODE.format("sample_id = {other_sample}")),
    Write("a code of somebody else", _CODE.format("participant_id = {other_part}")),
    Write("a code that reads otherwise", _CODE.format("code = 'ZZZZ9999'")),
    Write("a duplicate that is none", _CODE.format("copy = 3")),
    Write("a code sent in with somebody else's session", "UPDATE results_roundspecimen "
          "SET sent_in_id = {sealed} WHERE id = {others_code}"),
    Write("a code that was not sent after all", "UPDATE results_roundspecimen "
          "SET sent_in_id = NULL WHERE id = {closed_code}"),
    Write("a code deleted", "DELETE FROM results_roundspecimen WHERE id = {sent}"),
    Write("a code of a sample of another round", _NEW_CODE.format("{part}", "{closed_sample}")),
    Write("a code after the close", _NEW_CODE.format("{closed_part}", "{closed_sample}")),
    Write("a set of a round under another round's code", "UPDATE results_roundset "
          "SET specimen_id = {sent} WHERE specimen_id = {closed_code}"),
    Write("a set under somebody else's code", "INSERT INTO results_roundset (pull_set_id, "
          "specimen_id) VALUES ({loose_set}, {closed_code})"),
    Write("a set that was in no round", "DELETE FROM results_roundset"),
    Write("a sample tied by others once it is open", "UPDATE results_roundsample SET tied = "
          "'by each tester' WHERE id = {sample}"),
    Write("a sample of other words", "UPDATE results_roundsample SET specification = 'wet it' "
          "WHERE id = {sample}"),
    Write("a sample more once it is open", _NEW_SAMPLE.format("ties")),
    Write("a sample of too many ties", _NEW_SAMPLE.format(900), everywhere=True),
    Write("a sample deleted", "DELETE FROM results_roundsample WHERE round_id = {closed}"),
    Write("another spool once it is open", "UPDATE results_roundlot SET spool = 'another reel' "
          "WHERE round_id = {open}"),
    Write("a spool deleted", "DELETE FROM results_roundlot WHERE round_id = {open}"),
    Write("a spool moved to a closed round", "UPDATE results_roundlot SET round_id = {closed}, "
          "number = 9, spool = 'late' WHERE round_id = {planned} AND number = 1"),
    Write("a pull of a spool after the close", "UPDATE results_lotpull SET \"reading_N\" = 50 "
          "WHERE lot_id = {closed_lot}"),
    Write("a pull of a spool before the round after its close", "INSERT INTO results_lotpull "
          "(lot_id, occasion, piece, number, reading_written, unit, \"reading_N\", made_at) "
          "SELECT lot_id, occasion, 9, number, reading_written, unit, \"reading_N\", made_at "
          "FROM results_lotpull WHERE lot_id = {closed_lot}"),
    Write("a pull of a spool deleted", "DELETE FROM results_lotpull WHERE lot_id = {closed_lot}"),
    Write("a number that was drawn again", "UPDATE results_roundparticipant SET number = 77 "
          "WHERE id = {closed_part}"),
    Write("one who was somebody else", _PART.format("contributor_id = {organiser}")),
    Write("one who left before they entered", _PART.format(
        "withdrawn_at = '2020-01-01 00:00:00+00:00'"), everywhere=True),
    Write("one who was never there", "DELETE FROM results_roundparticipant WHERE id = {part}"),
    Write("one who enters a closed round", "INSERT INTO results_roundparticipant (round_id, "
          "contributor_id, late, entered_at) VALUES ({closed}, {organiser}, TRUE, "
          "'2026-05-01 00:00:00+00:00')"),
    Write("a packer who has seen nothing", "DELETE FROM results_roundsight"),
    Write("a close that was never", "DELETE FROM results_roundevent WHERE what = 'closed'"),
    Write("an opening of another day", "UPDATE results_roundevent SET at = "
          "'2020-01-01 00:00:00+00:00' WHERE what = 'opened'"),
    Write("an event of another round", "UPDATE results_roundevent SET round_id = {planned}"),
    Write("a report made of no version", "INSERT INTO results_roundevent (round_id, what, at) "
          "VALUES ({closed}, 'reported', '2026-05-01 00:00:00+00:00')", everywhere=True),
    Write("a last day moved to an earlier one", "INSERT INTO results_roundevent (round_id, what, "
          "at, results_by, was) VALUES ({open}, 'last day moved', '2026-05-01 00:00:00+00:00', "
          "'2026-03-01', '2026-04-15')", everywhere=True),
    Write("an event of no kind", "INSERT INTO results_roundevent (round_id, what, at) VALUES "
          "({open}, 'paused', '2026-05-01 00:00:00+00:00')", everywhere=True),
)  # fmt: skip


@pytest.fixture
def world(db) -> dict[str, object]:
    """A closed round with its report, an open one with one session sealed, and one planned."""
    organiser = playing.member("organiser")
    testers = [playing.member(f"tester {number}") for number in range(3)]
    for tester in testers:
        playing.lent_rig(tester)
    closed, entered = playing.opened(organiser, testers)
    record(organiser, closed.lots.first(), "before", "N", [[100.0, 101.0], [99.0, 100.0]])
    stored = [playing.sends(one).row for one in entered]
    packing_list(organiser, closed)
    close(organiser, closed)
    embedded.drain()
    open_round, (first, second, _) = playing.opened(organiser, testers, title="Summer round")
    sealed = playing.sends(first, day=12).row
    planned = set_up(organiser, playing.draft(title="Autumn round"))
    stored[0].refresh_from_db(), stored[1].refresh_from_db()
    sample, other_sample = open_round.samples.filter(codes=1)[:2]
    sent = sealed.specimens.exclude(sample=other_sample).order_by("pk").first()
    loose = testers[2].sessions.get().pull_sets.first()
    closed_code = entered[0].specimens.order_by("pk").first()
    return {
        "closed": closed.pk,
        "open": open_round.pk,
        "planned": planned.pk,
        "organiser": organiser.pk,
        "tester": testers[0].pk,
        "part": first.pk,
        "other_part": second.pk,
        "closed_part": entered[0].pk,
        "sealed": sealed.pk,
        "stored": stored[0].pk,
        "others_session": stored[1].session_id,
        "sample": sample.pk,
        "other_sample": other_sample.pk,
        "closed_sample": closed.samples.first().pk,
        "closed_lot": closed.lots.first().pk,
        "sent": sent.pk,
        "others_code": second.specimens.first().pk,
        "closed_code": closed_code.pk,
        "loose_set": loose.pk,
        "bytes": "'\\x7b7d'" if connection.vendor == "postgresql" else "x'7b7d'",
    }


def test_the_database_refuses_each_bad_write_of_a_round_by_itself(world):
    everything = connection.vendor == "postgresql"
    taken = [
        write.what
        for write in WRITES
        if (everything or write.everywhere)
        and not is_refused(re.sub(r"\{(\w+)\}", lambda found: str(world[found[1]]), write.sql))
    ]
    assert taken == []
    assert len(WRITES) >= 60


def test_what_erasing_blanks_of_a_round_is_let_through(world, django_user_model):
    admin = django_user_model.objects.create_superuser("keeper")
    erase_row(Round.objects.get(pk=world["closed"]), by=admin, reason="a name", only=["title"])
    lot = Round.objects.get(pk=world["closed"]).lots.first()
    erase_row(lot, by=admin, reason="a name", only=["spool"])
    assert Round.objects.get(pk=world["closed"]).title == f"round {world['closed']}"


def test_a_report_says_which_formulae_gave_its_figures(world):
    made = RoundReport.objects.get(round=world["closed"])
    assert made.formulae == FORMULAE
