"""Readers and testers report a set or a name; moderators alone read what they wrote."""

import pytest
from django.core.cache import cache
from django.test import Client

from results.models import Report
from results.review.reports import MOST_AN_HOUR, close_report
from rigs.refusals import Conflict, Forbidden
from tests import making
from tests.pages.conftest import pool_of
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser

TEXT = "The name of the rig is that of my neighbour."


@pytest.fixture
def rig(owner):
    return making.revision_of(owner).rig


def test_a_reader_without_an_account_reports_and_only_moderators_read_it(
    rig, moderator, as_owner, as_stranger, as_moderator
):
    address = f"/report/rig/{rig.pk}/"
    page = Page(Client().get(f"/rigs/{rig.pk}/"))
    assert address in page.links()
    assert Client().post(address, {"text": " "}).status_code == 422
    assert Client().post(address, {"text": TEXT}).status_code == 302
    again = Client().post(address, {"text": TEXT})
    assert again.status_code == 422
    assert "reported this already" in Page(again).text
    elsewhere = Client(REMOTE_ADDR="10.1.2.3").post(address, {"text": TEXT})
    assert elsewhere.status_code == 302
    for nosy in (as_stranger, as_owner):
        assert nosy.get("/api/v1/reports").status_code in (401, 403)
    read = as_moderator.get("/api/v1/reports").json()["results"]
    assert [(each["reporter"], each["text"]) for each in read] == [(None, TEXT)] * 2


def test_a_tester_reports_by_the_api_and_one_of_theirs_is_open_at_a_time(rig, owner, as_other):
    sent = {"subject_kind": "rig", "subject_id": rig.pk, "text": TEXT}
    answer = as_other.post("/api/v1/reports", sent, format="json")
    assert answer.status_code == 201
    assert TEXT not in str(answer.json())
    assert as_other.post("/api/v1/reports", sent, format="json").status_code == 409
    for wrong in ({"subject_kind": "boat"}, {"subject_id": 10**9}, {"text": "x" * 2001}):
        assert as_other.post("/api/v1/reports", sent | wrong, format="json").status_code == 422
    assert Report.objects.get().reporter.handle == "other"


def test_no_one_floods_the_desk_with_reports(rig, as_stranger):
    sent = {"subject_kind": "rig", "subject_id": rig.pk, "text": TEXT}
    shown = [
        as_stranger.post("/api/v1/reports", sent, format="json").status_code
        for _ in range(MOST_AN_HOUR + 1)
    ]
    assert shown == [201, *[409] * (MOST_AN_HOUR - 1), 429]
    answer = as_stranger.post("/api/v1/reports", sent, format="json")
    assert int(answer["Retry-After"]) > 0
    assert Client().post(f"/report/rig/{rig.pk}/", {"text": TEXT}).status_code == 429
    cache.clear()


def test_closed_it_is_forgotten_who_reported_and_can_be_reported_again(rig, moderator, owner):
    Client().post(f"/report/rig/{rig.pk}/", {"text": TEXT})
    found = Report.objects.get()
    assert "127.0.0.1" not in found.reporter_key
    with pytest.raises(Forbidden):
        close_report(found, by=owner.user, outcome="nothing in it")
    at_desk = browser(moderator)
    listed = Page(at_desk.get("/admin/results/report/"))
    assert TEXT in listed.text
    change = f"/admin/results/report/{found.pk}/change/"
    assert {change, f"/rigs/{rig.pk}/"} <= set(listed.links())
    assert at_desk.post(change, {"outcome": "The rig is renamed."}).status_code == 302
    found.refresh_from_db()
    assert (found.reporter_key, found.closed_by) == ("", moderator.user)
    with pytest.raises(Conflict):
        close_report(found, by=moderator.user, outcome="again")
    assert Client().post(f"/report/rig/{rig.pk}/", {"text": TEXT}).status_code == 302


def test_every_page_of_a_set_or_a_name_leads_to_the_form(league):
    pool = pool_of("Blood")
    pull_set = pool.normalised_sets.first().pull_set
    owner = pull_set.session.contributor
    pages = {
        f"/pull-sets/{pull_set.pk}/": f"/report/pull-set/{pull_set.pk}/",
        f"/pools/{pool.pk}/": f"/report/pool/{pool.pk}/",
        f"/connections/{pool.connection_id}/": f"/report/connection/{pool.connection_id}/",
        f"/lines/{pull_set.main_line_id}/": f"/report/line/{pull_set.main_line_id}/",
        f"/contributors/{owner.handle}/": f"/report/contributor/{owner.pk}/",
        f"/rigs/{pull_set.session.revision.rig_id}/": (
            f"/report/rig/{pull_set.session.revision.rig_id}/"
        ),
    }
    for page, form in pages.items():
        assert form in Page(Client().get(page)).links(), page
        assert Client().get(form).status_code == 200
    assert Client().get("/report/boat/1/").status_code == 404
    assert Client().get("/report/rig/999999/").status_code == 404
