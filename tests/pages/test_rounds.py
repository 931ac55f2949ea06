"""Pages of a club's round: set up, entered, labelled, printed, and read after its close."""

import re
from dataclasses import asdict

import pytest
from django.test import Client
from django.utils import timezone

from results.models import Notice, Round, RoundReport
from results.pools.snapshots import FORMULAE
from results.rounds.closing import close
from results.rounds.codes import readable
from results.rounds.set_up import extend
from results.statistics.rounds.observations import Observations, Sample
from results.statistics.rounds.round_report import report
from rigs.refusals import Conflict, Forbidden
from tests import making, playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import contributor

HIDDEN = "comes tied; hidden until the close"


@pytest.fixture
def organiser(db):
    return playing.member("organiser")


@pytest.fixture
def testers(db):
    return [playing.member(f"tester {number}") for number in range(1, 9)]


def planned(**changes) -> dict:
    """What the form sends for four samples on two spools."""
    thin, thick = making.line("thin"), making.line("thick", label_N=180)
    sent = {
        "title": "Spring round",
        "starts_on": "2026-03-01",
        "results_by": "2026-04-15",
        "line_state": "dry",
        "lots-TOTAL_FORMS": 3,
        "lots-INITIAL_FORMS": 3,
        "samples-TOTAL_FORMS": 6,
        "samples-INITIAL_FORMS": 6,
        "lots-0-line": thin.pk,
        "lots-0-spool": "spring reel",
        "lots-2-line": thick.pk,
        "lots-2-spool": "leader reel",
    }
    for number in range(6):
        sent |= {f"samples-{number}-{name}": value for name, value in EMPTY.items()}
    rows = (("Blood", "centrally", 2), ("Albright", "centrally", 1))
    rows += (("Blood", "by each tester", 1), ("Albright", "by each tester", 1))
    for number, (join, tied, codes) in enumerate(rows):
        row = {"connection": making.connection(join).pk, "main_lot": 1, "leader_lot": 3}
        row |= {"tied": tied, "codes": codes}
        sent |= {f"samples-{number}-{name}": value for name, value in row.items()}
    return sent | changes


EMPTY = {"main_lot": 1, "leader_lot": "", "ties": 5, "codes": 1, "level": 1}


def closed(organiser, testers, *, rig_low_by: float = 0.1) -> Round:
    """A closed round with its report, in which the first tester's rig reads low."""
    made, entered = playing.opened(organiser, testers)
    numbers = {}
    for number, participant in enumerate(entered, start=1):
        participant.number = number
        participant.save()
        numbers[number] = 1 - rig_low_by if number == 1 else 1 + 0.001 * (-1) ** number
    samples = list(made.samples.all())
    rows = [
        (person, sample.number, 80 * reads * (1 + 0.01 * (pull - 2)))
        for person, reads in numbers.items()
        for sample in samples
        for pull in range(5)
    ]
    figures = report(
        Observations(
            samples=tuple(Sample(one.number, one.tied == "centrally") for one in samples),
            participants=tuple(numbers),
            participant=[row[0] for row in rows],
            sample=[row[1] for row in rows],
            load_N=[row[2] for row in rows],
            at_least=[False] * len(rows),
        )
    )
    kept = asdict(figures)
    for one in kept["participants"]:
        one |= {"late": one["participant"] == 2, "not_blind": one["participant"] == 3}
    now = timezone.now()
    Round.objects.filter(pk=made.pk).update(state=Round.State.CLOSED, closed_at=now)
    RoundReport.objects.create(
        round=made, number=1, state="made", made_at=now, formulae=FORMULAE, report=kept
    )
    made.refresh_from_db()
    return made


def text_of(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, address
    return Page(answer).text


def test_a_round_is_set_up_changed_entered_and_opened_by_its_pages(organiser, testers):
    own = browser(organiser)
    answer = own.post("/rounds/set-up/", planned())
    assert answer.status_code == 302, Page(answer).text
    made = Round.objects.get()
    assert [lot.line.name for lot in made.lots.all()] == ["thin", "thick"]
    assert [sample.leader_lot.number for sample in made.samples.all()] == [2, 2, 2, 2]
    assert own.get(f"/rounds/{made.pk}/change/").status_code == 200
    changed = planned(title="Summer round")
    assert own.post(f"/rounds/{made.pk}/change/", changed).status_code == 302
    assert readable(made.entry_code) in text_of(own, f"/rounds/{made.pk}/")
    for tester in testers[:2]:
        client = browser(tester)
        answer = client.post("/rounds/enter/", {"entry_code": readable(made.entry_code).lower()})
        assert answer["Location"] == f"/rounds/{made.pk}/"
        assert "Codes are drawn when" in text_of(client, f"/rounds/{made.pk}/")
    assert own.post(f"/rounds/{made.pk}/open/").status_code == 302
    page = text_of(browser(testers[0]), f"/rounds/{made.pk}/")
    assert page.count(HIDDEN) == 3
    assert "Summer round" in page
    assert "0 / 5" in text_of(own, f"/rounds/{made.pk}/")


def test_what_is_wrong_stands_beside_its_row_and_nothing_is_stored(organiser):
    client = browser(organiser)
    wrong = planned(
        **{"results_by": "2026-02-01", "samples-1-main_lot": 2, "samples-2-parameters": "turns"},
    )
    answer = client.post("/rounds/set-up/", wrong)
    assert answer.status_code == 422
    assert "expected a name, = and a value. Blood has:" in Page(answer).text
    answer = client.post("/rounds/set-up/", wrong | {"samples-2-parameters": ""})
    assert answer.status_code == 422
    said = Page(answer).text
    assert "a day not before the start" in said
    assert (
        "Found 2, expected a spool that is named above: 1, 3."
        in said[said.index("Sample 2") : said.index("Sample 3")]
    )
    assert not Round.objects.exists()


@pytest.mark.parametrize("written", ["6.5", "6,5", "6.5%", "6,5 %", " 6.50 % "])
def test_a_percentage_is_taken_as_people_write_it(organiser, written):
    sent = planned(sigma_percent=written)
    assert browser(organiser).post("/rounds/set-up/", sent).status_code == 302
    assert Round.objects.get().sigma_relative == pytest.approx(0.065)


@pytest.mark.parametrize("written", ["6 turns", "turns 6", "turns: 6", "turns=6"])
def test_how_it_is_tied_is_taken_as_people_write_it(organiser, written):
    join = making.connection("Blood")
    join.parameters.create(name="turns", type="integer")
    sent = planned(**{"samples-0-parameters": written})
    answer = browser(organiser).post("/rounds/set-up/", sent)
    assert answer.status_code == 302, Page(answer).text
    assert Round.objects.get().samples.first().parameters == {"turns": 6}


MACHINE_WORDS = re.compile(r"[a-z]_[a-z]|\[\d*\]|\(\d*,|\bNone\b|(^|[.:] )\w+: found|(\w+): \2:")
"""A name of a variable, a place in a document, or a finding as programs print it."""


def test_refusals_of_rounds_pages_are_plain_sentences(organiser, testers):
    made, _ = playing.opened(organiser, testers[:2])
    own, lot = browser(organiser), f"/rounds/{made.pk}/lots/1/"
    day = {"occasion": "before", "unit": "N"}
    wrong = [
        ("/rounds/enter/", {"entry_code": "nonsense"}),
        ("/rounds/enter/", {"entry_code": "2222-2222"}),
        (lot, day | {"pieces": "100000 2"}),
        (lot, day | {"pieces": "\n".join(["9"] * 61)}),
        (lot, day | {"pieces": "9 " * 21}),
        (lot, day | {"pieces": "about 9"}),
        (lot, {}),
        (f"/rounds/{made.pk}/change/", {"results_by": "2026-03-05"}),
        *(
            ("/rounds/set-up/", planned(**{name: value}))
            for name, value in (
                ("sigma_percent", "200"), ("title", "\x07bell"), ("starts_on", "1800-01-01"),
                ("samples-0-main_lot", 6), ("samples-0-leader_lot", ""), ("samples-0-ties", 900),
                ("samples-0-parameters", "turn_around=6"), ("samples-0-terminal", "h\x07k"),
                ("samples-0-specification", "x\x07"), ("lots-2-spool", "  "), ("packer", "ghost"),
            )
        ),
        ("/rounds/set-up/", {key: value for key, value in planned().items() if "-0-" not in key}),
    ]  # fmt: skip
    for address, sent in wrong:
        answer = own.post(address, sent)
        assert answer.status_code == 422, (address, sent)
        said = re.findall(r'class="error"[^>]*>([^<]+)<', answer.content.decode())
        assert said, (address, sent)
        for sentence in said:
            own_words = re.sub(r"&#x27;.*?&#x27;", "", sentence)  # what was written is quoted
            assert not MACHINE_WORDS.search(own_words), sentence


def test_what_can_still_change_is_what_the_page_offers(organiser, testers):
    """Set up: all; open: a later last day, of which everybody is notified; closed: nothing."""
    made, _ = playing.opened(organiser, testers[:2])
    own, address = browser(organiser), f"/rounds/{made.pk}/change/"
    page = Page(own.get(address))
    offered = [one["name"] for one in page.all("input") if one.get("id", "").startswith("id_")]
    assert offered == ["results_by"]
    assert own.post(address, {"results_by": "2026-04-01"}).status_code == 422
    assert own.post(address, {"results_by": "2026-05-20"})["Location"] == f"/rounds/{made.pk}/"
    made.refresh_from_db()
    assert str(made.results_by) == "2026-05-20"
    for tester in testers[:2]:
        said = Notice.objects.filter(to=tester, about="round").latest("pk").text
        assert "in time until 20 May 2026" in said
    with pytest.raises(Forbidden):
        extend(testers[0], made, made.results_by)
    close(organiser, made)
    assert own.get(address)["Location"] == f"/rounds/{made.pk}/"
    with pytest.raises(Conflict):
        extend(organiser, made, made.results_by)


def test_a_wrong_code_is_refused_and_says_what_a_code_looks_like(testers):
    answer = browser(testers[0]).post("/rounds/enter/", {"entry_code": "nonsense"})
    assert answer.status_code == 422
    assert "K7MQ-3XWD" in Page(answer).text


def test_labels_are_the_packers_alone_and_opening_them_is_kept(organiser, testers):
    packer = contributor("packer")
    made, (first, *_) = playing.opened(organiser, testers[:2], packer=packer)
    address = f"/rounds/{made.pk}/labels/"
    for blind in (organiser, testers[0]):
        assert browser(blind).post(address).status_code == 403
    answer = browser(packer).post(address)
    codes = [readable(one.code) for one in first.specimens.all()]
    assert all(code in answer.content.decode() for code in codes)
    pictures = Page(answer).all("img")
    assert len(pictures) == 10
    assert all(one["src"].startswith("data:image/svg+xml;base64,") for one in pictures)
    assert made.sights.get().contributor == packer


def test_a_label_leads_its_tester_to_the_rig_and_others_nowhere(organiser, testers):
    _, (first, *_) = playing.opened(organiser, testers[:2])
    code = first.specimens.first().code
    answer = browser(testers[0]).get(f"/rounds/codes/{code}/")
    assert answer["Location"] == f"/at-the-rig/?sample={readable(code)}"
    for other in (testers[1], organiser):
        assert browser(other).get(f"/rounds/codes/{code}/").status_code == 404


def test_the_bench_sheet_names_every_code_and_nothing_that_is_hidden(organiser, testers):
    made, (first, *_) = playing.opened(organiser, testers[:2])
    said = text_of(browser(testers[0]), f"/rounds/{made.pk}/sheet/")
    for one in first.specimens.all():
        assert readable(one.code) in said
    assert said.count("comes tied") == 3
    assert "snaps back" in said
    assert "not for lifting, climbing or life support" in said
    assert browser(organiser).get(f"/rounds/{made.pk}/sheet/").status_code == 404


def test_others_read_of_an_open_round_its_days_and_no_more(organiser, testers):
    made, entered = playing.opened(organiser, testers[:3])
    codes = [one.code for each in entered for one in each.specimens.all()]
    for client in (Client(), browser(contributor("passer-by"))):
        for address in ("/rounds/", f"/rounds/{made.pk}/"):
            content = client.get(address).content.decode()
            assert "Spring round" not in content  # a name that no moderator has accepted
            for hidden in (*codes, made.entry_code, "spring reel", "Albright", "tester 1"):
                assert hidden not in content
                assert readable(codes[0]) not in content


def test_an_organiser_sees_who_has_sent_and_no_code(organiser, testers):
    made, entered = playing.opened(organiser, testers[:3])
    content = browser(organiser).get(f"/rounds/{made.pk}/").content.decode()
    assert "tester 1" in content
    for each in entered:
        for one in each.specimens.all():
            assert one.code not in content
            assert readable(one.code) not in content


def test_reports_say_in_plain_words_whose_rig_reads_low(organiser, testers):
    made = closed(organiser, testers)
    low = text_of(browser(testers[0]), f"/rounds/{made.pk}/report/mine/")
    assert "percent low." in low
    assert "Your tying is like the others'" in low
    assert "You are one of" in low
    other = text_of(browser(testers[1]), f"/rounds/{made.pk}/report/mine/")
    assert "Your rig reads like the others'" in other
    assert browser(organiser).get(f"/rounds/{made.pk}/report/mine/").status_code == 404


def test_those_in_the_round_read_handles_and_everyone_else_totals(organiser, testers):
    made = closed(organiser, testers)
    address = f"/rounds/{made.pk}/report/"
    said = text_of(browser(testers[1]), address)
    assert "8 of 8 testers sent 160 pulls" in said
    assert "Algorithm A" in said
    assert "Repeatability standard deviation" in said
    assert "tester 1" in said
    assert "sent late" in said
    assert "not blind" in said
    for outsider in (Client(), browser(contributor("passer-by"))):
        said = text_of(outsider, address)
        assert "Repeatability standard deviation" in said
        assert "1 tester sent results late." in said
        assert "1 tester had seen which code is which sample" in said
        assert "tester 1" not in said
        assert "Spring round" not in said
        assert not Page(outsider.get(address)).all("tbody")


def test_a_small_club_reads_what_can_not_be_said(organiser, testers):
    made = closed(organiser, testers[:3])
    said = text_of(browser(testers[0]), f"/rounds/{made.pk}/report/")
    assert "Repeatability standard deviation" not in said
    found = RoundReport.objects.get().report["samples"][0]["why_no_precision"]
    assert found
    assert " ".join(found.split()) in said


def test_there_is_no_report_before_the_close(organiser, testers):
    made, _ = playing.opened(organiser, testers[:2])
    for address in ("report/", "report/mine/"):
        assert browser(testers[0]).get(f"/rounds/{made.pk}/{address}").status_code == 404


def test_the_close_names_who_is_missing_and_is_the_organisers_alone(organiser, testers):
    made, _ = playing.opened(organiser, testers[:2])
    address = f"/rounds/{made.pk}/close/"
    said = text_of(browser(organiser), address)
    assert "This can't be undone." in said
    assert "tester 1: codes sent: 0 of 5" in said
    made.refresh_from_db()
    assert made.state == Round.State.OPEN  # looking closes nothing
    assert browser(testers[0]).post(address).status_code == 404
    assert browser(organiser).post(address).status_code == 302
    made.refresh_from_db()
    assert made.state == Round.State.CLOSED
    assert "Its report is being computed" in text_of(browser(testers[0]), f"/rounds/{made.pk}/")
    assert browser(organiser).post(address).status_code == 409
