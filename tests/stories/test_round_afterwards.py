"""What comes after a round's close: versions of its report, remarks, and what the public sees."""

import json
from collections import Counter
from datetime import date, timedelta

import numpy as np
import pytest
from django.test import Client
from django.utils import timezone

from results.intake import amend, receive
from results.models import (
    LotPull,
    NormalisedSet,
    Notice,
    PullSet,
    RoundReport,
    RoundSet,
    SealedSession,
    Session,
    Upload,
)
from results.normalising.reprocess import enqueue_reprocessing
from results.notices import address_of
from results.open_data.pulled import PULL_SETS
from results.pools.pool_data import COLUMNS, HAND, TESTER, as_members, members_of
from results.pools.reproduce import recomputed
from results.rounds import selectors
from results.rounds.allocating import open_round, packing_list
from results.rounds.closing import close
from results.rounds.codes import readable
from results.rounds.entering import enter, withdraw
from results.rounds.lot_pulls import record
from results.rounds.set_up import change, set_up
from results.worker.embedded import drain
from results.worker.round_reports import make_round_reports, renew_round_reports
from rigs.refusals import Conflict
from tests import making, playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import client_of

pytestmark = pytest.mark.usefixtures("planted_past")


@pytest.fixture(autouse=True)
def _nothing_waits_for_a_second_look(settings):
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}


@pytest.fixture
def organiser(db):
    return playing.member("organiser")


@pytest.fixture
def testers(db):
    found = [playing.member(f"ringer {number}") for number in range(1, 5)]
    for tester in found:
        playing.lent_rig(tester)
    return found


@pytest.fixture
def done(organiser, testers):
    """A closed round of four: the second one sent late, the third packed."""
    in_time = date.today() + timedelta(days=30)  # noqa: DTZ011 - rounds end on a day
    made, entered = playing.opened(organiser, testers, packer=testers[2], results_by=in_time)
    packing_list(testers[2], made)
    for number, participant in enumerate(entered):
        playing.sends(participant, load_N=78.0 + 1.5 * number)
    after_it = timezone.now() + timedelta(days=32)
    SealedSession.objects.filter(participant=entered[1]).update(received_at=after_it)
    close(organiser, made)
    make_round_reports()
    made.refresh_from_db()
    return made


def report_of(made) -> RoundReport:
    return selectors.latest_report(made)


def of_tester(made, tester) -> dict:
    number = made.participants.get(contributor=tester).number
    return next(
        one for one in report_of(made).report["participants"] if one["participant"] == number
    )


def test_late_and_not_blind_are_in_the_report_the_own_one_and_the_api(done, testers):
    marked = {
        tester.handle: [name for name in ("late", "not_blind") if of_tester(done, tester)[name]]
        for tester in testers
    }
    assert marked == {"ringer 1": [], "ringer 2": ["late"], "ringer 3": ["not_blind"],
                      "ringer 4": []}  # fmt: skip
    here = f"/api/v1/rounds/{done.pk}"
    assert client_of(testers[1]).get(f"{here}/my-report").json()["own"]["late"]
    own = Page(browser(testers[2]).get(f"/rounds/{done.pk}/report/mine/")).text
    assert "Marked: not blind." in own
    said = Client().get(f"{here}/report").json()["report"]
    assert (said["late"], said["not_blind"]) == (1, 1)


def test_who_looks_at_the_packing_list_after_the_close_is_no_less_blind(organiser, testers):
    made, entered = playing.opened(organiser, [organiser, *testers])
    playing.sends(entered[1])
    close(organiser, made)
    packing_list(organiser, made)
    make_round_reports()
    assert not any(one["not_blind"] for one in report_of(made).report["participants"])


def test_a_session_withdrawn_after_the_close_makes_a_new_version_and_the_old_one_stays(
    done, testers
):
    first = report_of(done)
    session = Session.objects.get(contributor=testers[0])
    amend.withdraw(session, testers[0], "the scale stuck")
    renew_round_reports()
    second = report_of(done)
    assert (first.number, second.number, second.report["sent"]) == (1, 2, 3)
    number = done.participants.get(contributor=testers[0]).number
    (gone,) = (one for one in second.changes if one["what"] == "withdrawn")
    assert gone == {"participant": number, "what": "withdrawn", "samples": [1, 2, 3, 4]}
    assert {one["sample"] for one in second.changes if one["what"] == "value"} == {1, 2, 3, 4}
    for one in testers:
        notices = Notice.objects.filter(to=one, about=Notice.About.ROUND)
        assert notices.filter(text__contains="new version, 2").exists()
        assert address_of(notices.first()) == f"/rounds/{done.pk}/report/mine/"
    page = Page(browser(testers[1]).get(f"/rounds/{done.pk}/report/")).text
    assert "ringer 1: A session was withdrawn" in page
    outside = Page(Client().get(f"/rounds/{done.pk}/report/")).text
    assert "A session was withdrawn" in outside
    assert "ringer 1" not in outside
    old = Page(browser(testers[1]).get(f"/rounds/{done.pk}/report/?version=1")).text
    assert "4 of 4 testers sent" in old
    assert Client().get(f"/api/v1/rounds/{done.pk}/report?version=1").json()["number"] == 1
    for wrong in ("9", "x", "-1", "1" * 30):
        assert Client().get(f"/rounds/{done.pk}/report/?version={wrong}").status_code == 404
    renew_round_reports()
    assert report_of(done).number == 2


def test_pages_and_report_agree_on_what_became_of_each_testers_results(organiser, testers):
    """One whose results count, one who withdraws them later, one who sends none, one who leaves."""
    made, entered = playing.opened(organiser, testers)
    for participant in (entered[0], entered[1], entered[3]):
        playing.sends(participant)
    page, report = f"/rounds/{made.pk}/", f"/rounds/{made.pk}/report/"
    bench = Page(browser(testers[0]).get("/bench/")).text
    assert "UTC, and sealed until its close, late" in bench
    shown = Page(browser(testers[0]).get(page)).text
    for one in entered[0].specimens.all():
        assert readable(one.code) in shown[shown.index("What you have sent") :]
    assert "not sent yet" in Page(browser(testers[2]).get(page)).text
    withdraw(testers[3], made)
    assert "withdrew" in Page(browser(organiser).get(page)).text
    close(organiser, made)
    make_round_reports()
    amend.withdraw(Session.objects.get(contributor=testers[1]), testers[1], "the scale stuck")
    renew_round_reports()
    said = [Page(browser(tester).get(page)).text for tester in testers[:3]]
    words = ("not sent yet", "nothing came", "sent, then withdrawn", "stored, then withdrawn")
    assert [[text.count(word) for word in words] for text in said] == [
        [0, 0, 0, 0], [0, 0, 5, 1], [0, 5, 0, 0],
    ]  # fmt: skip
    rows = Page(browser(organiser).get(page)).text
    for handle, remark in (
        ("ringer 2", "withdrew results after the close"),
        ("ringer 4", "codes had been drawn"),
    ):
        assert remark in rows[rows.index(handle) :]
    club = Page(browser(testers[0]).get(report)).text
    assert club.count("left out: ringer 2.") == 4
    assert club.count("Nothing came from ringer 3.") == 4
    for reader in (browser(testers[0]), Client()):
        assert "superseded by version 2" in Page(reader.get(f"{report}?version=1")).text
        text = Page(reader.get(report)).text
        assert "superseded" not in text
        assert "h and k with" not in text  # of so few testers there are none
        assert "1 tester withdrew results after the close." in text
        assert "1 tester entered and withdrew from the round." in text


def test_a_correction_after_the_close_counts_is_marked_and_makes_a_new_version(done, testers):
    session = Session.objects.get(contributor=testers[0])
    upload = json.loads(bytes(Upload.objects.get(session=session).body))
    upload["pull_sets"][0]["pulls"][0]["reading"] += 1.0
    receive(
        testers[0], json.dumps(upload).encode(), "application/json", None,
        replaces=session, reason="misread",
    )  # fmt: skip
    renew_round_reports()
    second = report_of(done)
    assert (second.number, second.report["sent"], len(second.sets)) == (2, 4, 20)
    assert of_tester(done, testers[0])["corrected"]
    assert {one["what"] for one in second.changes} == {"corrected", "value", "score"}
    assert RoundSet.objects.filter(pull_set__session__replaces=session).count() == 5


def test_a_calibration_that_comes_later_makes_a_new_version_and_nothing_else_does(done, testers):
    renew_round_reports()
    assert RoundReport.objects.count() == 1
    sessions = Session.objects.filter(contributor=testers[0])
    later = date(2025, 12, 1)
    making.calibrate(sessions.get().revision, gain=1.05, offset_N=0.0, made_on=later)
    enqueue_reprocessing(sessions)
    drain()
    second = report_of(done)
    assert second.number == 2
    assert {one["what"] for one in second.changes} == {"recalculated", "value", "score"}


def test_what_was_tied_centrally_is_marked_and_is_not_its_testers_hands(
    done, organiser, testers, as_stranger
):
    drain()
    central = PullSet.objects.filter(in_round__specimen__sample__tied="centrally")
    assert central.count() == 12
    assert set(central.values_list("in_round__tied_by", flat=True)) == {organiser.pk}
    own = PullSet.objects.filter(in_round__specimen__sample__tied="by each tester")
    assert set(own.values_list("in_round__tied_by", "tyer")) == {(None, "")}
    for pool in {one.pool_id for one in NormalisedSet.objects.all()}:
        members = members_of(pool)
        hands = Counter(members.hand.tolist())
        # One person tied them for all four, and each tester tied a set of their own.
        assert set(hands) == {0, 1}
        assert np.unique(members.tyers.tyer).size == 5
        for tester in testers:
            assert len(members.tied_by(tester.pk)) == 1
        shown = as_stranger.get(f"/api/v1/pools/{pool}/sets").json()["results"]
        assert {one["round"] for one in shown} == {done.pk}
        assert Counter(one["tied_centrally"] for one in shown) == Counter(
            (members.hand > 0).tolist()
        )
        page = Page(Client().get(f"/pools/{pool}/")).text
        assert page.count("tied centrally") >= sum(hands[each] for each in hands if each)
        version = NormalisedSet.objects.filter(pool=pool).first().pool.current
        assert recomputed(version).differences == ()
    one = central.first()
    page = Page(Client().get(f"/pull-sets/{one.pk}/")).text
    assert "tied centrally, by one hand for everybody" in page
    of_tester = Page(Client().get(f"/contributors/{one.session.contributor.handle}/")).text
    assert of_tester.count("tied centrally, by one hand for everybody") == 3
    document = as_stranger.get(f"/api/v1/pull-sets/{one.pk}").json()
    assert (document["round"], document["tied_centrally"]) == (done.pk, True)
    names = [column.name for column in PULL_SETS.columns]
    rows = [dict(zip(names, row, strict=True)) for row in PULL_SETS.rows()]
    assert Counter((row["round"], row["tied_centrally"]) for row in rows) == {
        (done.pk, True): 12, (done.pk, False): 8,
    }  # fmt: skip
    assert len({row["tyer"] for row in rows if row["tied_centrally"]}) == 1
    assert all(row["tied_by_another"] == row["tied_centrally"] for row in rows)


def test_who_tied_for_everybody_and_pulls_has_tied_their_own(organiser, testers):
    made, entered = playing.opened(organiser, testers, tyer=testers[0])
    for participant in entered:
        playing.sends(participant)
    close(organiser, made)
    make_round_reports()
    central = RoundSet.objects.filter(specimen__sample__tied="centrally")
    by = {one.specimen.participant.contributor: one.tied_by for one in central}
    assert by == {testers[0]: None} | dict.fromkeys(testers[1:], testers[0])


def test_no_mark_of_a_name_can_be_taken_for_who_tied_for_everybody():
    rows = []
    for tester, tyer in ((1, ""), (1, "5"), (2, "5"), (1, "\x015"), (2, "\x015"), (3, "\x016")):
        row: list[object] = [0] * len(COLUMNS)
        row[TESTER], row[HAND] = tester, tyer
        rows.append(tuple(row))
    hand = as_members(rows).hand.tolist()
    assert hand[0] == 0
    assert hand[3] == hand[4]
    assert len({hand[1], hand[2], hand[3], hand[5]}) == 4


# ---- what an organiser declares and pulls ----


def test_a_declared_standard_deviation_scores_and_judges_the_spools(organiser, testers):
    made, entered = playing.opened(organiser, testers, sigma_relative=0.05)
    client = browser(organiser)
    address = f"/rounds/{made.pk}/lots/1/"
    rows = "\n".join(f"{100 + 0.1 * piece:.1f} {100.2 + 0.1 * piece:.1f}" for piece in range(10))
    sent = {"occasion": "before", "unit": "N", "pieces": rows.replace(".", ",")}
    assert client.post(address, sent)["Location"] == address
    page = Page(client.get(address)).text
    assert "Alike all through" in page
    assert client.post(address, sent | {"pieces": "99.1 x"}).status_code == 422
    assert client.post(address, sent | {"pieces": "99.1 " * 30}).status_code == 422
    assert LotPull.objects.count() == 20
    assert browser(testers[0]).get(address).status_code == 404
    api = client_of(organiser)
    here = f"/api/v1/rounds/{made.pk}/lots/1/pulls"
    after = {"occasion": "after", "unit": "lbf", "pieces": [[22.6, 22.5], [22.6, 22.4]]}
    said = api.put(here, after, format="json").json()
    assert (said["pieces"], said["alike"], said["stable"]) == (10, True, True)
    assert client_of(testers[0]).put(here, after, format="json").status_code == 403
    wrong = api.put(here, after | {"unit": "cubits"}, format="json").json()
    assert wrong["findings"][0]["field"] == "unit"
    for participant in entered:
        playing.sends(participant)
    close(organiser, made)
    make_round_reports()
    found = report_of(made).report
    for sample in found["samples"]:
        assigned = sample["assigned"]
        assert assigned["sigma_declared"]
        assert assigned["sigma_N"] == pytest.approx(0.05 * assigned["value_N"])
    assert found["spools"][0]["alike"]
    club = Page(browser(testers[0]).get(f"/rounds/{made.pk}/report/")).text
    assert "that was declared before the results" in club
    assert "Alike all through" in club
    assert api.put(here, after, format="json").status_code == 409


def test_a_spool_is_pulled_again_after_the_close_once_and_the_report_knows(organiser, testers):
    made, entered = playing.opened(organiser, testers, sigma_relative=0.05)
    client, address = browser(organiser), f"/rounds/{made.pk}/lots/1/"
    before = {"occasion": "before", "unit": "kgf", "pieces": "1: 9.20, 9.1\npiece 2: 9,15"}
    assert client.post(address, before)["Location"] == address
    page = Page(client.get(address))
    assert "9.20 9.1 kgf" in page.text
    assert "kgf" in [one["value"] for one in page.all("option") if "selected" in one]
    playing.sends(entered[0])
    close(organiser, made)
    make_round_reports()
    assert "wasn't pulled again" in Page(browser(testers[0]).get(f"/rounds/{made.pk}/report/")).text
    assert client.post(address, before).status_code == 422  # those before it stay
    assert (
        client.post(address, before | {"occasion": "after", "pieces": "8.1 8.2"}).status_code == 302
    )
    assert not Page(client.get(address)).all("textarea")
    with pytest.raises(Conflict):
        record(organiser, made.lots.first(), "after", "N", [[80.0]])
    renew_round_reports()
    said = Page(browser(testers[0]).get(f"/rounds/{made.pk}/report/")).text
    assert "A spool was pulled again after the round." in said
    assert "It did not stay the same" in said
    assert "part of what is said here of testers may be the line's" in said
    assert "A spool was pulled again" in Page(Client().get(f"/rounds/{made.pk}/report/")).text
    renew_round_reports()
    assert report_of(made).number == 2


def test_results_are_taken_back_on_the_page_until_the_close_by_who_sent_them(organiser, testers):
    made, (first, *_) = playing.opened(organiser, testers)
    row = playing.sends(first).row
    address = f"/rounds/sealed/{row.pk}/take-back/"
    assert address in browser(testers[0]).get(f"/rounds/{made.pk}/").content.decode()
    assert browser(testers[1]).post(address).status_code == 404
    assert browser(testers[0]).post(address)["Location"] == f"/rounds/{made.pk}/"
    row.refresh_from_db()
    assert row.state == "withdrawn"
    assert browser(testers[0]).post(address).status_code == 409
    again = playing.sends(first, day=12).row
    close(organiser, made)
    late = f"/rounds/sealed/{again.pk}/take-back/"
    assert browser(testers[0]).post(late).status_code == 409
    assert late not in browser(testers[0]).get(f"/rounds/{made.pk}/").content.decode()


def test_the_notice_of_the_close_leads_to_the_report_even_before_it_is_made(organiser, testers):
    made, entered = playing.opened(organiser, testers)
    for participant in entered:
        playing.sends(participant)
    close(organiser, made)
    address = f"/rounds/{made.pk}/report/mine/"
    assert browser(testers[0]).get(address)["Location"] == f"/rounds/{made.pk}/"
    make_round_reports()
    notice = Notice.objects.get(to=testers[0], text__startswith="The round is closed.")
    assert address_of(notice) == address
    assert browser(testers[0]).get(address).status_code == 200


def test_who_is_named_for_something_and_who_organises_have_notices_that_open(organiser, testers):
    """Whoever it is to, in whichever state the round is: before its opening, open, and closed."""
    plan = {"packer": testers[2], "tyer": testers[3]}
    made = set_up(organiser, playing.draft(**plan))
    change(organiser, made, playing.draft(**plan, title="Summer round"))
    for tester, what in ((testers[2], "pack and label"), (testers[3], "tie for everybody")):
        assert what in Notice.objects.get(to=tester, about=Notice.About.ROUND).text
    entered = [enter(tester, made.entry_code) for tester in testers[:2]]
    open_round(organiser, made)
    for participant in entered:
        playing.sends(participant)
    close(organiser, made)
    make_round_reports()
    assert Notice.objects.filter(to=organiser, text__contains="Its report is on its page").exists()
    for notice in Notice.objects.filter(about=Notice.About.ROUND).select_related("to", "round"):
        assert browser(notice.to).get(address_of(notice)).status_code == 200, notice
