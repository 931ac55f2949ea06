"""A set that waits for a second look, as its tester, a reader and a moderator see it."""

import pytest
from django.contrib.auth.models import Group
from django.test import Client
from playwright.sync_api import expect

from rigs.models import Contributor
from rigs.permissions import MODERATORS
from tests.people import contributor
from tests.stories.test_second_look import account, send


@pytest.fixture
def waiting(transactional_db):
    for number, mean_N in enumerate((78.0, 80.0, 82.0), start=1):
        send(account(f"tester {number}", joined=number), mean_N)
    owner = contributor("owner")
    Contributor.objects.filter(pk=owner.pk).update(joined_at="2025-04-01T12:00:00Z")
    pull_set = send(owner, 96.0)
    assert pull_set.state == "held"
    return pull_set


def sign_in(user, page, live_server) -> None:
    client = Client()
    client.force_login(user)
    [cookie] = client.cookies.values()
    page.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": live_server.url}])


def test_its_tester_reads_what_waits_why_and_what_releases_it(waiting, page, look, live_server):
    sign_in(waiting.session.contributor.user, page, live_server)
    for address, name in (("/bench/", "waiting-bench"), (f"/pull-sets/{waiting.pk}/", "waiting")):
        look(address, name=name)
        expect(page.get_by_text("waits for a second look").first).to_be_visible()
        expect(page.get_by_text("A second tester, not linked to you").first).to_be_visible()


def test_a_reader_sees_how_many_sets_wait_and_why_they_do(waiting, page, look):
    look(f"/pools/{waiting.normalised.pool_id}/", name="pool-with-waiting")
    expect(page.get_by_text("1 set waits for a second look")).to_be_visible()
    page.get_by_role("link", name="Why").first.click()
    look()
    expect(page.get_by_text("Waiting for a second look").first).to_be_visible()


def test_a_moderator_reads_the_case_with_its_straight_line(waiting, page, look, live_server):
    moderator = contributor("moderator")
    moderator.user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    sign_in(moderator.user, page, live_server)
    look(f"/admin/results/reviewcase/{waiting.pk}/change/", name="case-that-waits")
    expect(page.get_by_text("Straight line as written: thin").first).to_be_visible()
    expect(page.get_by_text("has to be decided").first).to_be_visible()
