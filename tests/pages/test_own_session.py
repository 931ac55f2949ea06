"""A tester corrects or withdraws one session on pages, and a correction is offered as one."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from results.models import Session
from results.worker.embedded import drain
from tests.intake.conftest import bench, sheet
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser

__all__ = ["bench"]


@pytest.fixture
def at_home(owner, bench) -> Client:
    return browser(owner)


def check(client: Client, text: str, **said):
    return client.post("/upload/", {"file": SimpleUploadedFile("day.csv", text.encode()), **said})


def stores(answer) -> list[str]:
    return [
        form["action"]
        for form in Page(answer).all("form")
        if form.get("action", "").endswith("/store/")
    ]


def corrected() -> str:
    """The sheet with one reading typed as it was pulled."""
    assert sheet().count("15.2") >= 1
    return sheet().replace("15.2", "15.4", 1)


@pytest.fixture
def sent(at_home) -> Session:
    at_home.post(stores(check(at_home, sheet()))[0])
    drain()
    return Session.objects.get()


def test_a_session_is_corrected_from_its_page_with_the_file_as_it_was_sent(at_home, sent):
    assert f"/sessions/{sent.pk}/" in Page(at_home.get("/bench/")).links()
    page = Page(at_home.get(f"/sessions/{sent.pk}/"))
    original, correct = f"/api/v1/sessions/{sent.pk}/original", f"/upload/?replaces={sent.pk}"
    assert {original, correct} <= set(page.links())
    assert at_home.get(original).content.decode() == sheet()
    assert f"takes the place of session {sent.pk}" in Page(at_home.get(correct)).text
    [address] = stores(check(at_home, corrected(), replaces=sent.pk))
    answer = at_home.post(address, {"replaces": sent.pk, "reason": "a digit typed wrong"})
    drain()
    now = Session.objects.get(standing="current")
    assert answer.headers["Location"] == f"/jobs/{now.jobs.get().pk}/"
    assert (now.version, now.replaces_id) == (2, sent.pk)
    earlier = Page(at_home.get(f"/sessions/{sent.pk}/"))
    assert "a digit typed wrong" in earlier.text
    assert f"/sessions/{now.pk}/" in earlier.links()
    assert f"/upload/?replaces={sent.pk}" not in earlier.links()


def test_a_file_of_the_same_day_and_rig_is_offered_as_a_correction(at_home, sent):
    answer = check(at_home, corrected())
    assert "Is it a correction?" in Page(answer).text
    of_its_own, as_correction = stores(answer)
    assert of_its_own == as_correction
    at_home.post(as_correction, {"replaces": sent.pk, "reason": "a digit typed wrong"})
    assert Session.objects.get(standing="current").replaces_id == sent.pk


def test_a_correction_says_why(at_home, sent):
    [address] = stores(check(at_home, corrected(), replaces=sent.pk))
    answer = at_home.post(address, {"replaces": sent.pk, "reason": " "})
    assert answer.status_code == 409
    assert "A reason is needed" in Page(answer).text
    assert Session.objects.get() == sent
    [again] = stores(answer)
    at_home.post(again, {"replaces": sent.pk, "reason": "a digit typed wrong"})
    assert Session.objects.get(standing="current").replaces_id == sent.pk


def test_a_session_is_withdrawn_on_its_page_with_a_reason(at_home, sent):
    address = f"/sessions/{sent.pk}/withdraw/"
    at_home.post(address, {"reason": ""})
    sent.refresh_from_db()
    assert sent.standing == "current"
    page = Page(at_home.post(address, {"reason": "the scale stuck"}, follow=True))
    sent.refresh_from_db()
    assert sent.standing == "withdrawn"
    assert "the scale stuck" in page.text
    assert [form for form in page.all("form") if "withdraw" in form.get("action", "")] == []


@pytest.mark.parametrize("replaces", ["0", "x", "-1", "9" * 30, "1e3", "١"])
def test_what_is_no_session_of_ones_own_can_not_be_replaced(at_home, sent, replaces):
    assert at_home.get("/upload/", {"replaces": replaces}).status_code == 404
    assert check(at_home, corrected(), replaces=replaces).status_code == 404


def test_no_one_else_opens_corrects_or_withdraws_it(at_home, sent, other, moderator):
    """A moderator reads it: the desk leads to it."""
    for stranger, status in ((browser(other), 404), (browser(moderator), 200)):
        assert stranger.get(f"/sessions/{sent.pk}/").status_code == status
        assert stranger.post(f"/sessions/{sent.pk}/withdraw/", {"reason": "x"}).status_code == 404
        assert stranger.get("/upload/", {"replaces": sent.pk}).status_code == 404
    assert Client().get(f"/sessions/{sent.pk}/").headers["Location"].startswith("/sign-in/")
