"""Results by code, in every form in which sessions are sent (story 15)."""

import io
import json

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from results.models import PullSet, Session, WaitingUpload
from results.rounds import receiving, selectors
from results.rounds.closing import close
from results.rounds.codes import readable
from results.rounds.receiving import dry_run, receive
from results.rounds.template import template, template_workbook
from rigs.refusals import Conflict, Invalid, Refused
from tests import playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.people import client_of

CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
HEADER = "rig,revision,date,state,unit,kind,{},main line,main spool,reading,failure mode"


@pytest.fixture
def organiser(db):
    return playing.member("organiser")


@pytest.fixture
def testers(db):
    found = [playing.member(f"tester {number}") for number in (1, 2)]
    for tester in found:
        playing.lent_rig(tester)
    return found


@pytest.fixture
def under_way(organiser, testers):
    return playing.opened(organiser, testers)


def codes_of(participant) -> list[str]:
    return [readable(one.code) for one in selectors.own_codes(participant)]


def sheet(codes, *, heading="sample", day="2026-03-10", load_N=80.0, ties=5) -> str:
    """A sheet by somebody's own hand: straight line of both spools, then each code."""
    first = f"shed winch,1,{day},dry,N,"
    rows = [
        f"straight,,{line},{spool},{at + 0.3 * pull},line"
        for (line, spool), at in zip(playing.SPOOLS.items(), (100.0, 190.0), strict=True)
        for pull in range(5)
    ]
    rows += [
        f"joined,{code},,,{load_N + 0.7 * pull},join" for code in codes for pull in range(ties)
    ]
    lines = [HEADER.format(heading), first + rows[0], *(",,,,," + row for row in rows[1:])]
    return "\n".join(lines)


def refused(participant, text: str) -> list[tuple[str, str, str, str]]:
    with pytest.raises(Refused) as refusal:
        receive(participant.contributor, text.encode(), CSV, None)
    return [(each.row, each.field, each.found, each.expected) for each in refusal.value.findings]


@pytest.mark.parametrize("heading", ["sample", "Sample code", "code"])
def test_a_sheet_by_code_comes_to_what_the_same_document_comes_to(
    under_way, organiser, heading, drain
):
    made, (first, second) = under_way
    receive(first.contributor, sheet(codes_of(first), heading=heading).encode(), CSV, None)
    document = playing.session(codes_of(second))
    receive(second.contributor, json.dumps(document).encode(), "application/json", None)
    close(organiser, made)
    drain()
    by_sheet = PullSet.objects.filter(session__contributor=first.contributor)
    assert by_sheet.count() == 5
    for one in by_sheet.select_related("in_round__specimen__sample"):
        assert one.connection_id == one.in_round.specimen.sample.connection_id
        assert one.main_spool == "spring reel"
        assert one.label == readable(one.in_round.specimen.code)
    assert selectors.latest_report(made).report["sent"] == 2


def test_the_sheets_that_a_participant_is_given_are_sent_as_they_are_filled_in(under_way):
    made, entered = under_way
    first, second = made.participants.filter(pk__in=[one.pk for one in entered])
    filled = template(first).replace("(your rig)", "shed winch").splitlines()
    names = filled[0].split(",")
    rows = []
    for line in filled[1:]:
        row = dict(zip(names, line.split(","), strict=True))
        straight = row["kind"] == "straight"
        row["reading"] = {"thin": "100.5", "thick": "190"}.get(row["main line"], "81.5")
        row["failure mode"] = "line" if straight else "join"
        row["date"] = "2026-03-12" if row["rig"] else ""
        rows.append(",".join(row[name] for name in names))
    assert receive(first.contributor, "\n".join([filled[0], *rows]).encode(), CSV, None).created
    book = openpyxl.load_workbook(io.BytesIO(template_workbook(second)))
    pulls = book.worksheets[0]
    names = [cell.value for cell in pulls[1]]
    for row in pulls.iter_rows(min_row=2):
        cells = dict(zip(names, row, strict=True))
        if cells["kind"].value is None:
            continue
        straight = cells["kind"].value == "straight"
        cells["reading"].value = 81.5 if not straight else 100.0
        cells["failure mode"].value = "line" if straight else "join"
        if cells["rig"].value:
            cells["date"].value = "2026-03-12"
    body = io.BytesIO()
    book.save(body)
    assert receive(second.contributor, body.getvalue(), XLSX, None).created
    with pytest.raises(Invalid):
        receive(second.contributor, template(second).encode(), CSV, None)


@pytest.mark.parametrize("code", ["2222-2222", None], ids=["an unknown code", "codes of theirs"])
def test_one_answer_names_what_is_wrong_with_codes_and_with_pulls(under_way, code):
    """Also of a document, whose places are paths; a sheet that is right but for a pull as well."""
    _, (first, _) = under_way
    own = codes_of(first)
    text = sheet([code or own[0], own[1]])
    text = text.replace("80.7,join", "banana,join").replace("82.8,join", "82.8,exploded")
    found = {(row, field) for row, field, _, _ in refused(first, text)}
    at = len(playing.SPOOLS) * 5 + 2
    expected = {(f"{at + set_ * 5 + 1}", "reading") for set_ in (0, 1)}
    expected |= {(f"{at + set_ * 5 + 4}", "failure mode") for set_ in (0, 1)}
    assert found == expected | ({(f"{at}", "sample")} if code else set())


def test_every_refusal_names_row_field_and_what_was_expected(under_way, organiser, testers):
    made, (first, second) = under_way
    codes = codes_of(first)
    others, _ = playing.opened(playing.member("another organiser"), testers)
    elsewhere = codes_of(others.participants.get(contributor=first.contributor))[0]
    at = len(playing.SPOOLS) * 5 + 2

    def only(*changed, **changes):
        (found,) = refused(first, sheet(changed, **changes))
        return found

    assert only("2222-2222")[:2] == (f"{at}", "sample")
    assert "no round has this one" in only("2222-2222")[3]
    assert "never 0, 1, I or O" in only("K7M0-3XWD")[3]
    assert "another tester's label" in only(codes_of(second)[0])[3]
    row, field, found, expected = only(codes[0], codes[1], elsewhere)
    assert (row, field) == (f"{at + 10}", "sample")
    assert "another round" in found
    assert "one round" in expected
    row, field, found, expected = only(codes[0], ties=6)
    assert (row, field, found) == (f"{at}", "pulls", "6 pulls that are not void")
    assert "at most 5" in expected
    row, field, found, expected = only(codes[0], day="2026-02-20")
    assert (field, found) == ("date", "2026-02-20")
    assert "2026-03-01" in expected
    (twice,) = refused_document(first, [codes[0], codes[0]])
    assert twice[:2] == ("pull_sets[1]", "sample")
    receive(first.contributor, sheet(codes[:1]).encode(), CSV, None)
    row, field, found, expected = only(codes[0])
    assert (row, field) == (f"{at}", "sample")
    assert "results came on" in found
    close(organiser, made)
    row, field, found, _ = only(codes[1])
    assert (row, field) == (f"{at}", "sample")
    assert "closed" in found


def refused_document(participant, codes):
    body = json.dumps(playing.session(codes)).encode()
    with pytest.raises(Refused) as refusal:
        receive(participant.contributor, body, "application/json", None)
    return [(each.row, each.field, each.found, each.expected) for each in refusal.value.findings]


def test_a_void_pull_may_stand_beside_as_many_as_there_are_joins(under_way):
    _, (first, _) = under_way
    text = sheet(codes_of(first)[:1])
    more = text + f"\n,,,,,joined,{codes_of(first)[0]},,,,void"
    assert receive(first.contributor, more.encode(), CSV, None).created


def test_a_column_of_samples_of_ones_own_beside_named_joins_is_left_out_as_ever(under_way):
    _, (first, _) = under_way
    lines = sheet(["1"]).replace(",sample,", ",sample,connection,leader line,").splitlines()
    rows = [line.replace("straight,,", "straight,,,,") for line in lines[1:]]
    named = [row.replace("joined,1,,", "joined,1,Blood,thick,thin,") for row in rows]
    text = "\n".join([lines[0], *named])
    sent = client_of(first.contributor).post(
        "/api/v1/sessions?dry_run=true", text, content_type=CSV
    )
    assert sent.status_code == 200, sent.json()
    assert sent.json()["sealed_until_the_close_of"] is None
    assert any("not one of a session's" in each["found"] for each in sent.json()["warnings"])


def test_a_dry_run_says_what_would_be_sealed_and_no_figure(under_way):
    made, (first, _) = under_way
    client = client_of(first.contributor)
    for body, form in (
        (sheet(codes_of(first)), CSV),
        (json.dumps(playing.session(codes_of(first))), "application/json"),
    ):
        answer = client.post("/api/v1/sessions?dry_run=true", body, content_type=form)
        said = answer.json()
        assert (answer.status_code, said["sealed_until_the_close_of"]) == (200, made.pk)
        assert {one["label"] for one in said["sets"]} == set(codes_of(first))
        assert {one["efficiency"] for one in said["sets"]} == {None}
        assert sum(one["connection"] == "comes tied" for one in said["sets"]) == 3
    assert not first.sealed.exists()
    sent = client.post("/api/v1/sessions", sheet(codes_of(first)), content_type=CSV)
    assert (sent.status_code, sent.json()["round"]) == (201, made.pk)


def test_the_upload_page_checks_seals_and_answers_the_same_when_pressed_twice(under_way):
    made, (first, _) = under_way
    client = browser(first.contributor)
    file = SimpleUploadedFile("round.csv", sheet(codes_of(first)).encode())
    answer = client.post("/upload/", {"file": file})
    page = Page(answer)
    assert answer.status_code == 200, page.text
    assert "kept sealed until the close" in page.text
    (address,) = {
        form["action"] for form in page.all("form") if form.get("action", "").endswith("/store/")
    }
    for _ in range(2):
        assert client.post(address)["Location"] == f"/rounds/{made.pk}/"
    assert first.sealed.count() == 1
    assert not WaitingUpload.objects.exists()
    assert not Session.objects.exists()
    wrong = SimpleUploadedFile("round.csv", sheet(["2222-2222"]).encode())
    answer = client.post("/upload/", {"file": wrong})
    assert answer.status_code == 422
    assert "no round has this one" in Page(answer).text


def test_a_session_by_code_takes_no_other_sessions_place(under_way, organiser, drain):
    made, (first, _) = under_way
    playing.sends(first)
    close(organiser, made)
    drain()
    session = Session.objects.get(contributor=first.contributor)
    answer = client_of(first.contributor).post(
        f"/api/v1/sessions/{session.pk}/versions?reason=typo",
        sheet(codes_of(first)),
        content_type=CSV,
    )
    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] == "sample"


def test_the_label_brings_its_code_to_the_page_at_the_rig(under_way):
    made, (first, _) = under_way
    client = browser(first.contributor)
    code = first.specimens.first().code
    answer = client.get(f"/rounds/codes/{code}/")
    assert answer["Location"] == f"/at-the-rig/?sample={readable(code)}"
    content = client.get("/at-the-rig/").content.decode()
    for one in codes_of(first):
        assert f'value="{one}"' in content
    assert "spring reel" in content
    assert content.count('data-what="comes tied"') == 3
    playing.sends(first)
    assert client.get(f"/rounds/codes/{code}/")["Location"] == f"/rounds/{made.pk}/#{code}"
    assert "add-sample" not in client.get("/at-the-rig/").content.decode()


def test_nothing_that_is_hidden_is_given_away_by_what_is_wrong(under_way):
    """A sheet's rows stand in place of places in a document: the filter comes before."""
    _, (first, _) = under_way
    hidden = [readable(one.code) for one in first.specimens.all() if one.sample.is_hidden]
    few = sheet(hidden, ties=1)
    for _, _, found, expected in refused(first, few):
        for telling in ("Blood", "Albright", "thin", "thick"):
            assert telling not in found + expected


def test_what_is_sealed_can_be_dry_run_again_only_after_it_is_taken_back(under_way):
    _, (first, _) = under_way
    text = sheet(codes_of(first)).encode()
    row = receive(first.contributor, text, CSV, "key").row
    assert receive(first.contributor, text, CSV, "key").row == row
    with pytest.raises(Conflict):
        dry_run(first.contributor, text, CSV)
    receiving.take_back(first.contributor, row)
    assert dry_run(first.contributor, text, CSV).pull_sets == 5
