"""One's own data: everything stored of an account in one archive, and nobody else's."""

import io
import json
import zipfile

import pytest
from django.apps import apps
from django.test import Client

from results import intake
from results.accounts.own_data import KEPT_BACK, MOST_A_DAY, NOT_OF_AN_ACCOUNT
from results.accounts.personal_columns import ERASED, PATHS
from results.models import Upload
from tests import making
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.results.test_closing_at_once import document
from tests.results.test_erasing import MARK, TEXT, admin, wordy

__all__ = ["admin", "wordy"]


def opened(answer) -> zipfile.ZipFile:
    return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))


def test_every_table_of_ours_is_in_it_or_is_said_to_be_of_no_account():
    tables = {
        model._meta.label
        for app in ("rigs", "results")
        for model in apps.get_app_config(app).get_models()
    }
    assert tables - set(PATHS) - set(NOT_OF_AN_ACCOUNT) == set()
    assert set(PATHS) & set(NOT_OF_AN_ACCOUNT) == set()
    for column in KEPT_BACK:
        apps.get_model(column.rpartition(".")[0])._meta.get_field(column.rpartition(".")[2])


def test_all_that_was_written_is_in_it_and_every_upload_byte_for_byte(wordy):
    answer = browser(wordy).post("/account/data/")
    assert answer["Content-Type"] == "application/zip"
    found = opened(answer)
    for personal in ERASED:
        if isinstance(personal.field, TEXT) and personal.label not in KEPT_BACK:
            table = found.read(f"{personal.model._meta.label}.json").decode()
            assert MARK in table, personal.label
    uploads = Upload.objects.filter(contributor=wordy)
    for upload in uploads:
        assert found.read(f"uploads/session-{upload.session_id}.json") == bytes(upload.body)
    assert found.read("uploads/waiting.csv") == MARK.encode()
    assert len(json.loads(found.read("results.Session.json"))) == wordy.sessions.count()
    (account,) = json.loads(found.read("auth.User.json"))
    assert account["email"] == f"{MARK}@example.org"
    assert "password" not in account
    shown = {each["by_id"] for each in json.loads(found.read("results.StateChange.json"))}
    assert shown == {None, "yourself", "a moderator"}


def test_it_is_for_oneself_alone(wordy, other, as_other, as_stranger):
    assert as_stranger.get("/api/v1/me/data").status_code == 401
    assert Client().post("/account/data/").status_code == 302
    theirs = opened(as_other.get("/api/v1/me/data"))
    for name in theirs.namelist():
        assert MARK not in theirs.read(name).decode(), name


def test_it_is_given_a_few_times_a_day(owner, as_owner):
    answer = [as_owner.get("/api/v1/me/data").status_code for _ in range(MOST_A_DAY + 1)]
    assert answer == [200] * MOST_A_DAY + [429]
    refused = browser(owner).post("/account/data/")
    assert refused.status_code == 429
    assert "try again" in Page(refused).text


@pytest.mark.parametrize("address", ["/", "/sign-up/"])
def test_the_page_on_privacy_is_linked_from_everywhere(db, address):
    assert "/privacy/" in Page(Client().get(address)).links()
    page = Page(Client().get("/privacy/"))
    for said in ("30 days", "Close your account", "Never shown", "Backups"):
        assert said in page.text


def test_the_archive_of_an_account_that_sent_a_session_holds_that_session(owner, as_owner):
    making.revision_of(owner)
    making.line("thin")
    making.line("thick", label_N=180)
    making.connection("Blood")
    intake.receive(owner, document("shed winch", 10), intake.JSON, None)
    found = opened(as_owner.get("/api/v1/me/data"))
    assert len(json.loads(found.read("results.PullSet.json"))) == 3
