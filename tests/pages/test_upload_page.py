"""Uploading on a page, without JavaScript: checked, shown with its rows marked, stored once."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from results.models import Session, Upload, WaitingUpload
from results.worker.embedded import drain
from tests.intake.conftest import RIGHT, bench, sheet
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser

__all__ = ["bench"]


@pytest.fixture
def at_home(owner, bench) -> Client:
    return browser(owner)


def check(client: Client, text: str, name="winter.csv", **said):
    return client.post("/upload/", {"file": SimpleUploadedFile(name, text.encode()), **said})


def address_of_store(answer) -> str:
    return next(
        form["action"]
        for form in Page(answer).all("form")
        if form.get("action", "").endswith("/store/")
    )


def test_a_file_that_is_right_is_shown_as_it_would_come_out_and_not_stored(at_home):
    answer = check(at_home, sheet())
    text = Page(answer).text
    assert answer.status_code == 200
    assert "winter.csv can be stored" in text
    assert "shed winch, revision 1. Pulls: 8" in text
    assert "Double uni" in text
    assert not Session.objects.exists()


def test_what_was_read_of_each_part_is_shown_before_it_is_stored(at_home):
    text = Page(check(at_home, sheet())).text
    assert "10 Jan 2026, dry, lbf; straight line thin, spool A: 20.5, 21.0, 20.2, 19.1" in text
    assert "10 Jan 2026, dry, lbf; set 1: 15.2, 16, 15.5, " in text


def test_a_recording_is_sent_on_by_a_link_that_its_refusal_holds(at_home):
    samples = "".join(f"{at / 10},{at * 1.5}\n" for at in range(60))
    links = Page(check(at_home, samples)).all("a")
    assert [link["href"] for link in links].count("/recordings/") > [
        link["href"] for link in Page(check(at_home, "rig,date\n")).all("a")
    ].count("/recordings/")


def test_what_was_checked_is_stored_byte_for_byte_and_leads_to_its_job(at_home):
    answer = at_home.post(address_of_store(check(at_home, sheet())))
    job = Session.objects.get().jobs.get()
    assert answer.headers["Location"] == f"/jobs/{job.pk}/"
    assert bytes(Upload.objects.get().body).decode() == sheet()
    assert not WaitingUpload.objects.exists()


def test_pressing_store_twice_stores_once(at_home):
    address = address_of_store(check(at_home, sheet()))
    first, second = at_home.post(address), at_home.post(address)
    assert first.headers["Location"] == second.headers["Location"]
    assert Session.objects.count() == 1


def test_a_file_checked_since_takes_the_place_of_the_one_before(at_home):
    earlier = address_of_store(check(at_home, sheet()))
    check(at_home, sheet(), name="corrected.csv")
    assert WaitingUpload.objects.get().file_name == "corrected.csv"
    answer = at_home.post(earlier)
    assert answer.status_code == 409
    assert "check it again" in Page(answer).text


def test_no_one_stores_what_someone_else_had_checked(at_home, other):
    address = address_of_store(check(at_home, sheet()))
    assert browser(other).post(address).status_code == 409
    assert not Session.objects.exists()


def test_every_mistake_is_listed_and_marked_in_its_row(at_home):
    answer = check(
        at_home, sheet().replace("21.0,line", "21.0,snapped").replace("16,join", "-16,join")
    )
    page = Page(answer)
    assert answer.status_code == 422
    assert "To correct" in page.text
    assert "row 3, failure mode : found 'snapped', expected" in page.text
    assert len(page.all("td", **{"class": "wrong"})) == 2
    assert len(page.all("tr", **{"class": "wrong"})) == 2
    assert "3 wrong" in page.text
    assert not WaitingUpload.objects.exists()


def test_a_mistake_that_is_written_in_each_row_of_a_set_is_marked_in_each(at_home):
    page = Page(check(at_home, sheet().replace("Double uni", "Duoble uni")))
    assert page.text.count("found 'Duoble uni'") == 1
    marked = list(page.all("td", **{"class": "wrong"}))
    assert len(marked) == sheet().count("Double uni") > 1


def test_what_is_asked_about_is_said_once_and_in_full(at_home):
    page = Page(check(at_home, sheet().replace("20.5,", "60,")))
    assert "Please look at these before you store it" in page.text
    assert page.text.count("times the middle of its series") == 1
    assert page.text.count("is the decimal point right?") == 1


def test_from_its_job_a_tester_goes_on_to_the_session_on_a_page(at_home, as_stranger):
    at_home.post(address_of_store(check(at_home, sheet())))
    drain()
    session = Session.objects.get()
    address = f"/jobs/{session.jobs.get().pk}/"
    assert Page(at_home.get(address)).all("a", href=f"/sessions/{session.pk}/")
    assert not Page(as_stranger.get(address)).all("a", href=f"/sessions/{session.pk}/")


def test_what_is_odd_is_marked_and_can_be_stored_all_the_same(at_home):
    text = sheet()
    for reading in ("20.5", "21.0", "20.2", "19.1"):
        text = text.replace(f"{reading},", f"{float(reading) / 2},")
    answer = check(at_home, text)
    assert answer.status_code == 200
    assert "Unusual: please check" in Page(answer).text
    assert Page(answer).all("tr", **{"class": "odd"})


def test_a_document_is_taken_too_and_its_mistakes_are_reported_by_place(at_home):
    assert check(at_home, json.dumps(RIGHT), "winter.json").status_code == 200
    wrong = {**RIGHT, "state": "damp"}
    assert "state : found 'damp'" in Page(check(at_home, json.dumps(wrong), "w.json")).text


@pytest.mark.parametrize(
    ("sent", "expected"),
    [
        ({}, "No file was chosen"),
        ({"file": SimpleUploadedFile("winter.pdf", b"%PDF")}, "kind of file can't be read"),
        ({"file": SimpleUploadedFile("winter.csv", b"\xff\x00")}, "can't be stored"),
        ({"file": SimpleUploadedFile("winter.csv", b"a,b\n1,2")}, "an unknown column"),
        ({"file": SimpleUploadedFile("winter.xlsx", b"not a zip")}, "can't be stored"),
    ],
    ids=["nothing", "pdf", "bytes", "other columns", "no workbook"],
)
def test_what_is_no_session_is_refused_in_words(at_home, sent, expected):
    answer = at_home.post("/upload/", sent)
    assert answer.status_code == 422
    assert expected in Page(answer).text


def test_what_stands_in_a_cell_is_text_on_the_page(at_home):
    answer = check(at_home, sheet().replace("Double uni", "<script>alert(1)</script>"))
    assert [each for each in Page(answer).all("script") if "src" not in each] == []


def test_progress_is_reported_until_the_sets_have_come_out(at_home, django_assert_max_num_queries):
    job = at_home.post(address_of_store(check(at_home, sheet()))).headers["Location"]
    waiting = Page(at_home.get(job))
    assert "waiting to be processed" in waiting.text
    assert "data-unfinished" in waiting.all("div", id="progress")[0]
    assert [each["src"] for each in waiting.all("script")] == ["/static/pages/job.js"]
    assert job in waiting.links()
    drain()
    with django_assert_max_num_queries(12):
        done = Page(at_home.get(job))
    assert "Processed" in done.text
    assert "data-unfinished" not in done.all("div", id="progress")[0]
    assert done.all("script") == []
    assert "Double uni" in done.text


def test_a_large_sheet_with_many_mistakes_makes_a_small_page(
    at_home, django_assert_max_num_queries
):
    rows = sheet().splitlines()
    text = "\n".join([*rows, *[rows[-2].replace("15.5", "x" * 20)] * 1900])
    with django_assert_max_num_queries(17):
        answer = check(at_home, text)
    assert answer.status_code == 422
    assert len(answer.content) < 150_000
    assert "others are left out" in Page(answer).text


def test_a_stranger_is_asked_to_sign_in_first(db):
    assert Client().get("/upload/").headers["Location"].startswith("/sign-in/?next=/upload/")


def test_the_page_has_cautions_labels_and_few_queries(at_home, django_assert_max_num_queries):
    with django_assert_max_num_queries(12):
        page = Page(at_home.get("/upload/"))
    assert "eye protection" in page.text
    shown = [field for field in page.all("input") if field.get("type") != "hidden"]
    assert {field["id"] for field in shown} <= {label["for"] for label in page.all("label")}


def test_a_file_that_is_stored_already_is_said_so_when_it_is_checked(at_home):
    at_home.post(address_of_store(check(at_home, sheet())))
    stored = Session.objects.get()

    text = Page(check(at_home, sheet())).text

    assert f"already stored as session {stored.pk}" in text
    assert "can be stored." not in text
    assert "To correct : found" not in text


def test_sessions_of_one_day_are_told_apart_by_their_number_and_their_joins(at_home):
    at_home.post(address_of_store(check(at_home, sheet())))
    at_home.post(address_of_store(check(at_home, sheet().replace("15.2", "15.3"))))
    sessions = Session.objects.order_by("pk")

    text = Page(check(at_home, sheet().replace("15.2", "15.4"))).text

    assert text.count("Is it a correction?") == 1
    bench_page = Page(at_home.get("/bench/")).text
    for each in sessions:
        assert f"Session {each.pk}: Double uni" in text
        assert f"session {each.pk}" in bench_page
        assert f"Session {each.pk}" in Page(at_home.get(f"/sessions/{each.pk}/")).text
    assert bench_page.count("Double uni") == len(sessions)
