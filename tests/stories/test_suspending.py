"""A moderator suspends an account and holds its sets in one step, and lifts it again."""

import pytest
from django.core import mail
from django.test import Client

from results import intake
from results.models import Notice, PullSet, ReviewCase, Upload
from results.review.suspend import lift, suspend
from results.worker import embedded
from rigs.models import Contributor, Suspension
from rigs.refusals import AccountSuspended, Conflict, Forbidden, Invalid
from tests import making
from tests.api.leagues import league_of
from tests.pages.conftest import pool_of
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.results.test_closing_at_once import document

REASON = "Five sessions share every reading."


@pytest.fixture
def tester(db) -> Contributor:
    league_of({"Blood": 86.0}, testers=4)
    making.line("thin")
    making.line("thick", label_N=180)
    return Contributor.objects.get(handle="tester 0")


def states(tester: Contributor) -> set[str]:
    of_tester = PullSet.objects.filter(session__contributor=tester)
    return set(of_tester.values_list("state", flat=True))


def test_all_sets_are_held_in_one_step_and_leave_the_figure(
    tester, moderator, settings, django_capture_on_commit_callbacks
):
    settings.SAMESPOOL_MAIL_FROM = "pulls@example.org"
    tester.user.email = "tester@example.org"
    tester.user.save()
    with django_capture_on_commit_callbacks(execute=True):
        suspension = suspend(by=moderator.user, contributor=tester, reason=REASON)
    assert states(tester) == {"held"}
    embedded.drain()
    assert pool_of("Blood").current.testers == 3
    assert len(suspension.held) == PullSet.objects.filter(session__contributor=tester).count()
    assert ReviewCase.objects.filter(pull_set__session__contributor=tester).exists()
    assert REASON in Notice.objects.filter(to=tester).latest("pk").text
    assert [REASON in sent.body for sent in mail.outbox] == [True]


def test_uploads_are_refused_by_a_problem_that_says_why_and_all_else_goes_on(tester, moderator):
    suspend(by=moderator.user, contributor=tester, reason=REASON)
    rig = tester.rigs.first().name
    with pytest.raises(AccountSuspended, match=REASON):
        intake.receive(tester, document(rig, 20), intake.JSON, None)
    session = tester.sessions.first()
    with pytest.raises(AccountSuspended):
        intake.receive(
            tester, document(rig, 21), intake.JSON, None, replaces=session, reason="a digit"
        )
    assert not Upload.objects.filter(session__pulled_on="2026-01-20").exists()
    at_home = browser(tester)
    for address in ("/account/", "/bench/"):
        page = Page(at_home.get(address))
        assert "suspended this account" in page.text
        assert REASON in page.text
    held = PullSet.objects.filter(session__contributor=tester).first()
    at_home.post(f"/bench/sets/{held.pk}/say/", {"text": "They are mine."})
    assert held.messages.get().text == "They are mine."


def test_the_api_answers_uploads_of_a_suspended_account_by_its_own_problem(
    owner, as_owner, moderator
):
    rig = document("shed winch", 10)
    suspend(by=moderator.user, contributor=owner, reason=REASON)
    making.revision_of(owner)
    making.line("thin")
    making.line("thick", label_N=180)
    making.connection("Blood")
    answer = as_owner.generic("POST", "/api/v1/sessions", rig, "application/json")
    assert answer.status_code == 403
    assert answer.json()["type"].endswith("/account-suspended")
    assert REASON in answer.json()["detail"]
    assert as_owner.get("/api/v1/me").json()["suspension"]["reason"] == REASON
    assert "suspended" in Page(Client().get("/problems/account-suspended")).text


def test_lifted_it_counts_again_where_it_counted_and_what_was_held_otherwise_stays(
    tester, moderator
):
    other_reason, *_ = PullSet.objects.filter(session__contributor=tester)
    suspend(by=moderator.user, contributor=tester, reason=REASON)
    for before, after in (("held", "released"), ("released", "held")):
        other_reason.state_changes.create(
            from_state=before, to_state=after, by=moderator.user, reason="and the unit is wrong"
        )
    lift(by=moderator.user, contributor=tester, reason="Explained.", release=True)
    other_reason.refresh_from_db()
    assert other_reason.state == "held"
    assert (
        states(tester) == {"held", "released"}
        or PullSet.objects.filter(session__contributor=tester).count() == 1
    )
    session = intake.receive(
        tester, document(tester.rigs.first().name, 20), intake.JSON, None
    ).session
    assert session.pk
    assert tester.suspension is None


def test_only_moderators_suspend_neither_themselves_nor_one_another_and_once(
    tester, moderator, owner
):
    with pytest.raises(Forbidden):
        suspend(by=owner.user, contributor=tester, reason=REASON)
    with pytest.raises(Forbidden, match="own account"):
        suspend(by=moderator.user, contributor=moderator, reason=REASON)
    owner.user.groups.set(moderator.user.groups.all())
    with pytest.raises(Forbidden, match="administrator"):
        suspend(by=moderator.user, contributor=Contributor.objects.get(pk=owner.pk), reason=REASON)
    with pytest.raises(Invalid):
        suspend(by=moderator.user, contributor=tester, reason=" ")
    with pytest.raises(Conflict):
        lift(by=moderator.user, contributor=tester, reason="why not")
    suspend(by=moderator.user, contributor=tester, reason=REASON)
    with pytest.raises(Conflict):
        suspend(by=moderator.user, contributor=tester, reason=REASON)
    assert Suspension.objects.count() == 1


@pytest.fixture
def at_desk(moderator) -> Client:
    return browser(moderator)


def test_a_moderator_suspends_and_lifts_at_the_desk(tester, at_desk):
    add = "/admin/rigs/suspension/add/"
    wrong = at_desk.post(add, {"handle": "nobody", "reason": REASON})
    assert "No contributor has this handle" in wrong.content.decode()
    assert at_desk.post(add, {"handle": "Tester 0", "reason": REASON}).status_code == 302
    suspension = Suspension.objects.get()
    assert (suspension.contributor, suspension.reason) == (tester, REASON)
    assert at_desk.post(add, {"handle": "tester 0", "reason": REASON}).status_code == 409
    change = f"/admin/rigs/suspension/{suspension.pk}/change/"
    assert REASON in at_desk.get(change).content.decode()
    lifted = at_desk.post(change, {"lifted_reason": "Explained.", "release": "on"})
    assert lifted.status_code == 302
    suspension.refresh_from_db()
    assert suspension.lifted_reason == "Explained."
    assert states(tester) == {"released"}
    assert "Suspended accounts" in at_desk.get("/admin/results/reviewcase/").content.decode()
