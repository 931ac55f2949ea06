"""The moderator's desk: one screen a case, and a decision that can't be taken blindly."""

import re
from datetime import date

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from results.models import Job, Pool, ReviewCase
from results.review.decisions import LONGEST_TEXT, answer, appeal, ask, decide, version_of
from results.review.reply_drafts import draft
from results.worker import embedded
from tests import making
from tests.people import contributor
from tests.stories.test_review import (  # noqa: F401  (fixtures)
    TOO_GOOD_N,
    held,
    league,
    send,
    shifted,
)

QUEUE = reverse("admin:results_reviewcase_changelist")


@pytest.fixture
def desk(moderator) -> Client:
    """A moderator's browser: the group opens the desk, and nothing else is needed."""
    client = Client()
    client.force_login(moderator.user)
    return client


def page_of(pull_set) -> str:
    return reverse("admin:results_reviewcase_change", args=[pull_set.pk])


def test_a_case_shows_evidence_pictures_and_the_pool_with_and_without_it(desk, held):  # noqa: F811
    page = desk.get(page_of(held)).content.decode()
    assert "130.5 percent of the straight line" in page
    assert "with this set" in page
    assert "without it" in page
    assert page.count("<svg") >= 2
    assert "gain 1.0000" in page
    assert "The contributor reads this." in page


def test_the_queue_shows_what_waits_and_by_how_much_it_would_move_its_pool(desk, held):  # noqa: F811
    page = desk.get(QUEUE).content.decode()
    assert "owner" in page
    assert re.search(r"[+-]\d+\.\d%</td>", page)
    assert "Record of the checks" in page


def test_queue_and_case_say_the_same_of_the_pool_also_after_it_changed(desk, held):  # noqa: F811
    """The figure that the queue is sorted by was found when the set was held."""
    said_at_first = _moves_by(desk, held)
    send(contributor("tester 9"), shifted(12))
    said = _moves_by(desk, held)
    assert said != said_at_first
    assert said in desk.get(page_of(held)).content.decode()


def test_a_case_that_an_appeal_is_against_says_the_same_too(desk, held, owner, moderator):  # noqa: F811
    decide(by=moderator.user, pull_set=held, decision="reject", reason="Wrong spool.")
    appeal(by=owner.user, pull_set=held, text="It was the right one.")
    send(contributor("tester 9"), shifted(12))
    assert _moves_by(desk, held) in desk.get(page_of(held)).content.decode()


def _moves_by(desk, pull_set) -> str:
    """What the queue says of this case."""
    rows = desk.get(QUEUE).content.decode().split("<tr")
    [row] = [each for each in rows if f"/{pull_set.pk}/change/" in each]
    return re.search(r"[+-]\d+\.\d%", row).group()


def test_a_draft_holds_the_evidence_and_what_the_contributor_can_do(desk, held):  # noqa: F811
    page = desk.get(page_of(held), {"draft": "reject"}).content.decode()
    assert "appeal and another moderator will look" in page


def test_a_decision_is_taken_on_the_screen_and_notified(desk, held):  # noqa: F811
    sent = {"decision": "release", "reason": "A splice.", "version": version_of(held)}
    assert desk.post(page_of(held), sent).status_code == 302
    held.refresh_from_db()
    assert held.state == "released"
    assert "A splice." in held.notices.first().text


def test_a_decision_on_a_case_that_moved_on_is_shown_and_not_taken(desk, held, moderator):  # noqa: F811
    seen = version_of(held)
    decide(by=moderator.user, pull_set=held, decision="reject", reason="Wrong spool.")
    answer = desk.post(page_of(held), {"decision": "release", "reason": "Fine.", "version": seen})
    assert "moved on since you looked" in answer.content.decode()
    held.refresh_from_db()
    assert held.state == "rejected"


def test_several_are_rejected_at_once_with_one_reason(desk, held, other):  # noqa: F811
    second = send(other, TOO_GOOD_N)
    desk.post(
        QUEUE,
        {
            "action": "reject_many",
            "_selected_action": [held.pk, second.pk],
            "reason": "Both pulled from the spool that was recalled.",
        },
    )
    for pull_set in (held, second):
        pull_set.refresh_from_db()
        assert pull_set.state == "rejected"


def test_several_without_a_reason_stay_as_they_were(desk, held):  # noqa: F811
    sent = {"action": "reject_many", "_selected_action": [held.pk], "reason": ""}
    assert "A reason is missing." in desk.post(QUEUE, sent, follow=True).content.decode()
    held.refresh_from_db()
    assert held.state == "held"


def test_a_browser_asks_for_the_reason_first_so_that_the_selection_stays(desk, held):  # noqa: F811
    """What runs failures again needs none."""
    Pool.objects.update(failed_at=timezone.now(), failures=5)
    page = desk.get(QUEUE).content.decode()
    [reason] = re.findall(r"<textarea[^>]*name=\"reason\"[^>]*>", page)
    assert " required" in reason
    again = reverse("admin:results_reviewcase_again")
    buttons = [each for each in re.findall(r"<button[^>]*>", page) if again in each]
    assert len(buttons) == 2
    assert all("formnovalidate" in each for each in buttons)


def test_the_queue_says_who_was_asked_who_answered_and_for_how_long_it_waits(
    desk,
    held,  # noqa: F811
    owner,
    moderator,
):
    assert (
        f"/admin/results/reviewcase/{held.pk}/change/"
        not in desk.get(QUEUE, {"waiting": "asked"}).content.decode()
    )
    ask(by=moderator.user, pull_set=held, text="Which spool was it?")
    row = f"/admin/results/reviewcase/{held.pk}/change/"
    page = desk.get(QUEUE, {"waiting": "asked"}).content.decode()
    assert row in page
    for column in ("Asked", "Answered", "Appealed", "Waiting for", "Pool moves by"):
        assert column in page
    answer(by=owner.user, pull_set=held, text="The new one.")
    assert row in desk.get(QUEUE, {"waiting": "answered"}).content.decode()
    assert row not in desk.get(QUEUE, {"waiting": "asked"}).content.decode()
    bench = desk.get("/bench/").content.decode()
    assert "The desk: 1 set waits" in bench
    assert "1 answered, 0 appealed" in bench


def test_a_case_can_be_decided_on_whose_pool_cannot_be_computed(desk, held, monkeypatch):  # noqa: F811
    def breaks(*_asked):
        raise FloatingPointError("overflow")

    monkeypatch.setattr("results.review.desk.case.with_and_without", breaks)
    monkeypatch.setattr("results.review.decisions.pool_shift", breaks)
    page = desk.get(page_of(held)).content.decode()
    assert "can't be computed at the moment" in page
    assert "this set, each pull" in page
    sent = {"decision": "release", "reason": "A splice.", "version": version_of(held)}
    assert desk.post(page_of(held), sent).status_code == 302
    ReviewCase.objects.all().delete()
    again = {"decision": "hold", "reason": "Once more."}
    decide(by=User.objects.get(username="moderator"), pull_set=held, **again)
    assert ReviewCase.objects.get(pull_set=held).pool_shift is None


@pytest.mark.parametrize("decision", ["release", "reject", "hold", "ask"])
def test_a_letter_says_what_it_is_about_what_was_seen_and_what_to_do(held, decision):  # noqa: F811
    letter = draft(held, decision)
    assert f"About set {held.pk}, pulled on" in letter
    assert "130.5 percent of the straight line" in letter
    assert "owner" not in letter
    assert not re.search(rf"\b{re.escape(held.label)}\b", letter)
    assert len(letter) < LONGEST_TEXT
    if decision in ("ask", "hold"):
        assert "Honest reasons" in letter
        assert "What settles it" in letter


def test_a_case_leads_to_the_sets_and_sessions_around_it_and_on_to_the_next(desk, held, owner):  # noqa: F811
    revision = held.session.revision
    earlier = making.session(revision, pulled_on=date(2025, 12, 1))
    making.joined(earlier, held.main_line, held.leader_line, [70, 71, 72])
    beside = making.joined(held.session, held.main_line, held.leader_line, [70, 71, 72])
    second = send(owner, [load + 1.5 for load in TOO_GOOD_N])
    page = desk.get(page_of(held)).content.decode()
    assert f"/sessions/{earlier.pk}" in page
    assert f"/pull-sets/{beside.pk}/" in page
    assert f'rel="next" href="{page_of(second)}"' in page
    sent = {"decision": "release", "reason": "Fine.", "version": version_of(held), "then_next": "1"}
    assert desk.post(page_of(held), sent).headers["Location"] == page_of(second)


def test_a_tester_with_no_such_role_sees_no_desk(held, other):  # noqa: F811
    other.user.is_staff = True
    other.user.save()
    client = Client()
    client.force_login(other.user)
    assert client.get(page_of(held)).status_code == 403
    assert client.get(QUEUE).status_code == 403


def test_what_could_not_be_worked_out_is_on_the_desk_and_runs_again_from_there(
    desk,
    held,  # noqa: F811
):
    job = held.session.jobs.get()
    pool = held.normalised.pool
    Job.objects.filter(pk=job.pk).update(
        state="failed", finished_at=timezone.now(), problem={"detail": "Working it out broke off."}
    )
    Pool.objects.filter(pk=pool.pk).update(failed_at=timezone.now(), failures=5)
    for address in (QUEUE, f"{QUEUE}?waiting=failed"):
        page = desk.get(address).content.decode()
        table = page[page.index('id="result_list"') :]
        assert table.index("Working it out broke off.") < table.index("could not be computed.")
        cases = [row for row in table.split("<tr") if f"/{held.pk}/change/" in row]
        assert len(cases) == (address == QUEUE)
    assert "Working it out broke off." not in desk.get(f"{QUEUE}?waiting=asked").content.decode()

    sent = {"jobs": [str(job.pk)], "pools": [str(pool.pk)]}
    answer = desk.post(reverse("admin:results_reviewcase_again"), sent, follow=True)

    assert "Sent to run again: 2." in answer.content.decode()
    embedded.drain()
    assert Pool.objects.get(pk=pool.pk).failed_at is None
    assert held.session.jobs.get(pk=job.pk).state == "done"


def test_only_a_moderator_has_it_run_again(desk, held, owner):  # noqa: F811
    owner.user.is_staff = True
    owner.user.save()
    client = Client()
    client.force_login(owner.user)
    sent = {"jobs": [str(held.session.jobs.get().pk)]}
    assert client.post(reverse("admin:results_reviewcase_again"), sent).status_code == 403


def test_a_case_shows_its_straight_line_and_leads_to_set_rig_session_and_tester(desk, held):  # noqa: F811
    page = desk.get(page_of(held)).content.decode()
    assert "Straight line as written: thin" in page
    assert "98 N" in page
    rig = held.session.revision.rig_id
    for address in (f"/pull-sets/{held.pk}/", f"/rigs/{rig}/", f"/sessions/{held.session_id}/"):
        assert f'{address}"' in page


def test_several_cases_of_a_tester_are_decided_on_from_the_screen_of_one(desk, held, owner):  # noqa: F811
    second = send(owner, [load + 1.5 for load in TOO_GOOD_N])
    assert second.state == "held"
    assert f'value="{second.pk}.{version_of(second)}"' in desk.get(page_of(held)).content.decode()
    sent = {
        "decision": "release",
        "reason": "A splice.",
        "version": version_of(held),
        "also": [f"{second.pk}.{version_of(second)}"],
    }
    assert desk.post(page_of(held), read_first(desk, page_of(held), sent)).status_code == 302
    for pull_set in (held, second):
        pull_set.refresh_from_db()
        assert pull_set.state == "released"


def read_first(desk, address, sent) -> dict[str, object]:
    """The same form once the warning has been read of what several releases add up to."""
    answer = desk.post(address, sent)
    assert answer.status_code == 200
    page = answer.content.decode()
    assert "Released together" in page
    [mark] = re.findall(r'name="together" value="([^"]+)"', page)
    return sent | {"together": mark}


def test_none_is_decided_on_where_one_of_several_has_moved_on(desk, held, owner, moderator):  # noqa: F811
    second = send(owner, [load + 1.5 for load in TOO_GOOD_N])
    seen = f"{second.pk}.{version_of(second)}"
    ask(by=moderator.user, pull_set=second, text="Which spool?")
    sent = {"decision": "reject", "reason": "Wrong.", "version": version_of(held), "also": [seen]}
    assert desk.post(page_of(held), sent).status_code == 200
    held.refresh_from_db()
    assert held.state == "held"


def test_several_are_decided_on_by_the_api_or_none_of_them(as_moderator, as_owner, held, owner):  # noqa: F811
    second = send(owner, [load + 1.5 for load in TOO_GOOD_N])
    cases = [{"pull_set": one.pk, "version": version_of(one)} for one in (held, second)]
    sent = {"cases": cases, "decision": "release", "reason": "A splice."}
    address = "/api/v1/reviews/decisions"
    assert as_owner.post(address, sent, format="json").status_code == 403
    moved_on = sent | {"cases": [cases[0], {"pull_set": second.pk, "version": 99}]}
    assert as_moderator.post(address, moved_on, format="json").status_code == 409
    held.refresh_from_db()
    assert held.state == "held"
    answer = as_moderator.post(address, sent, format="json")
    assert answer.status_code == 201
    assert [change["to_state"] for change in answer.json()] == ["released", "released"]
    missing = sent | {"cases": [{"pull_set": 10**9}]}
    assert "no set 1000000000" in str(as_moderator.post(address, missing, format="json").json())
