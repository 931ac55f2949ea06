"""A set is called the same wherever its tester, a moderator or a program reads of it."""

import html
import re

import pytest
from django.test import Client

from results.models import PullSet
from results.review.decisions import ask
from results.review.desk.case_record import others_open
from tests.stories.test_review_desk import QUEUE, desk, page_of  # noqa: F401
from tests.stories.test_said_once import session_of
from tests.stories.test_second_look import league, newcomer  # noqa: F401

pytestmark = pytest.mark.usefixtures("planted_past")

OF_A_SET = re.compile(r"\b[Ss]et (\d+)")


@pytest.fixture
def held(league, newcomer, settings) -> PullSet:  # noqa: F811
    """A doubled one, whose label looks like the number of another."""
    settings.SAMESPOOL_MAIL_FROM = "samespool@example.org"
    newcomer.user.email = "owner@example.org"
    newcomer.user.save()
    first, _second = session_of(newcomer, 138.0, 139.0)
    PullSet.objects.filter(pk=first.pk).update(doubled=True, label="set 77")
    first.refresh_from_db()
    return first


def shown(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, address
    return html.unescape(re.sub(r"\s+", " ", answer.content.decode()))


def test_every_page_that_names_a_set_names_it_alike(desk, held):  # noqa: F811
    name = f"{held.connection.name}, doubled, set {held.pk}"
    assert str(held) == name
    tester = Client()
    tester.force_login(held.session.contributor.user)
    session, job = held.session_id, held.session.jobs.latest("created_at").pk
    for address in ("/bench/", f"/pull-sets/{held.pk}/", f"/sessions/{session}/", f"/jobs/{job}/"):
        assert name in shown(tester, address), address
    for address in (QUEUE, page_of(held)):
        assert name in shown(desk, address), address


def test_its_neighbour_its_letter_its_notice_and_its_mail_have_the_same_number(
    desk,  # noqa: F811
    held,
    moderator,
    mailoutbox,
    django_capture_on_commit_callbacks,
):
    name = str(held)
    neighbour = held.session.pull_sets.exclude(pk=held.pk).get()
    assert name in shown(desk, page_of(neighbour))
    assert {name} <= {
        each.label.split(", of ")[0][: len(name)] for each in others_open(neighbour.review_case)
    }
    with django_capture_on_commit_callbacks(execute=True):
        ask(by=moderator.user, pull_set=held, text="Which spool was it?")
    tester = Client()
    tester.force_login(held.session.contributor.user)
    for address in ("/bench/", "/account/"):
        assert f">{name}, " in shown(tester, address), address
    assert f"set {held.pk} of " in mailoutbox[-1].subject
    texts = held.notices.values_list("text", flat=True)
    assert {number for text in texts for number in OF_A_SET.findall(text)} == {str(held.pk)}
    assert not any("set 77" in text for text in texts)
    assert OF_A_SET.search(mailoutbox[-1].subject)[1] == str(held.pk)


def test_a_set_that_counts_has_that_name_on_the_page_of_its_tester(league):  # noqa: F811
    counting = PullSet.objects.filter(state="pooled").first()
    handle = counting.session.contributor.handle
    assert str(counting) in shown(Client(), f"/contributors/{handle}/")
