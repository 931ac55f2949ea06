"""The last day of a round's results: moved on, and what is late by it and what is no more."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta

import pytest

from results.models import Notice, Round, RoundParticipant, SealedSession
from results.rounds import selectors
from results.rounds.closing import close
from results.rounds.entering import enter
from results.rounds.receiving import dry_run
from results.rounds.set_up import extend
from results.worker.round_reports import make_round_reports
from tests import playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import client_of

pytestmark = pytest.mark.usefixtures("planted_past")
LAST = date(2026, 4, 15)
CAME = {"in time": 0, "a day late": 1, "five days late": 5}
"""Days after the last day on which each tester's results come."""


@pytest.fixture
def organiser(db):
    return playing.member("organiser")


@pytest.fixture
def entered(organiser) -> list[RoundParticipant]:
    """Three in an open round, of whom one sent at the end of the last day and two after it."""
    testers = [playing.member(handle) for handle in CAME]
    for tester in testers:
        playing.lent_rig(tester)
    _, found = playing.opened(organiser, testers, results_by=LAST)
    for participant in found:
        row = playing.sends(participant).row
        came = LAST + timedelta(days=CAME[participant.contributor.handle])
        at = datetime.combine(came, time(23, 59), UTC)
        SealedSession.objects.filter(pk=row.pk).update(received_at=at, late=came > LAST)
    return found


def by_the_organisers_list(one: RoundParticipant) -> bool:
    [sender] = [each for each in selectors.senders(one.round) if each.participant == one]
    return sender.late


def by_the_page(one: RoundParticipant) -> bool:
    text = Page(browser(one.contributor).get(f"/rounds/{one.round_id}/")).text
    return ", late" in text[text.index("What you have sent") :]


def by_the_bench(one: RoundParticipant) -> bool:
    return "sealed until its close, late" in Page(browser(one.contributor).get("/bench/")).text


def by_the_api(one: RoundParticipant) -> bool:
    [sealed] = client_of(one.contributor).get(f"/api/v1/rounds/{one.round_id}/sealed").json()
    return sealed["late"]


def by_the_organisers_api(one: RoundParticipant) -> bool:
    rows = client_of(one.round.organiser).get(f"/api/v1/rounds/{one.round_id}/participants").json()
    return {each["handle"]: each["late"] for each in rows}[one.contributor.handle]


def by_the_report(one: RoundParticipant) -> bool:
    own = client_of(one.contributor).get(f"/api/v1/rounds/{one.round_id}/my-report").json()
    return own["own"]["late"]


OPEN: list[Callable[[RoundParticipant], bool]] = [
    by_the_organisers_list, by_the_page, by_the_bench, by_the_api, by_the_organisers_api,
]  # fmt: skip


def late_by(said: Callable[[RoundParticipant], bool], entered: list[RoundParticipant]) -> set[str]:
    fresh = RoundParticipant.objects.filter(pk__in=[one.pk for one in entered])
    return {one.contributor.handle for one in fresh if said(one)}


def late_by_now(of: Round) -> set[str]:
    """By the days alone."""
    of.refresh_from_db()
    return {handle for handle, days in CAME.items() if LAST + timedelta(days=days) > of.results_by}


@pytest.mark.parametrize("moves", [[], [1], [2, 4], [5], [1, 30]])
def test_what_came_late_is_late_by_the_last_day_as_it_is_now_whoever_reads_it(
    organiser, entered, moves
):
    of = entered[0].round
    for days in moves:
        extend(organiser, of, LAST + timedelta(days=days))
    expected = late_by_now(of)
    for said in OPEN:
        assert late_by(said, entered) == expected, said.__name__
    close(organiser, of)
    make_round_reports()
    for said in (by_the_report, by_the_page, by_the_organisers_list):
        assert late_by(said, entered) == expected, said.__name__
    whole = client_of(organiser).get(f"/api/v1/rounds/{of.pk}/report").json()["report"]
    assert sum(one["late"] for one in whole["participants"]) == len(expected)


def test_who_is_late_no_more_reads_so_and_the_others_read_the_new_day(organiser, entered):
    extend(organiser, entered[0].round, LAST + timedelta(days=3))
    texts = {
        one.to.handle: one.text
        for one in Notice.objects.filter(text__contains="now in time until").select_related("to")
    }
    assert {handle for handle, text in texts.items() if "you sent late is in time" in text} == {
        "a day late"
    }
    assert all("in time until 18 Apr 2026" in text for text in texts.values())


def test_the_organiser_moves_the_last_day_by_the_api_too(organiser, entered):
    of = entered[0].round
    here = f"/api/v1/rounds/{of.pk}/deadline"
    client = client_of(organiser)
    answer = client.put(here, {"results_by": "2026-04-18"}, format="json")
    assert (answer.status_code, answer.json()["state"]) == (200, "open")
    assert client.get(f"/api/v1/rounds/{of.pk}").json()["results_by"] == "2026-04-18"
    assert late_by(by_the_api, entered) == {"five days late"}
    [finding] = client.put(here, {"results_by": "2026-04-17"}, format="json").json()["findings"]
    assert (finding["field"], finding["found"], finding["expected"]) == (
        "results_by", "2026-04-17", "a day after 2026-04-18",
    )  # fmt: skip
    assert client.put(here, {"results_by": "soon"}, format="json").status_code == 422
    other = client_of(entered[0].contributor).put(here, {"results_by": "2026-05-01"}, format="json")
    assert other.status_code == 403
    close(organiser, of)
    assert client.put(here, {"results_by": "2026-05-01"}, format="json").status_code == 409


def test_who_comes_late_is_told_apart_from_what_comes_late(organiser, entered):
    made, latecomer = entered[0].round, playing.member("latecomer")
    playing.lent_rig(latecomer)
    participant = enter(latecomer, made.entry_code)
    codes = [one.code for one in participant.specimens.all()]
    sheet = json.dumps(playing.session(codes)).encode()
    assert dry_run(latecomer, sheet, "application/json").late  # said before it is sealed
    playing.sends(participant)
    (sender,) = (one for one in selectors.senders(made) if one.participant == participant)
    assert (sender.entered_late, sender.late) == (True, True)  # the last day has long passed
