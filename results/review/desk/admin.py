"""The moderator's desk: a queue, and one screen a case, in Django's admin."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.contrib import admin
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.db.models import F, QuerySet
from django.db.models.functions import Abs
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.response import TemplateResponse
from django.urls import URLPattern, path
from django.utils.timesince import timesince
from django.utils.translation import gettext, gettext_lazy, ngettext

from results.models import PullSet, ReviewCase
from results.review.decisions import LONGEST_TEXT, ask, ask_many, decide_many, decisions_open_to
from results.review.desk.case import case_context
from results.review.desk.case_record import others_open
from results.review.desk.failures import Queue, run_again
from results.review.desk.forms import ASK, CHOICES, DecisionForm, ManyForm
from results.review.desk.queue import Waiting, next_open, with_messages
from results.review.desk.waiting_work import waiting_work
from results.review.moved import Together, far_together, moved_by
from results.review.reply_drafts import draft, letters_to
from results.review.selectors import check_records
from rigs.admin import ReadOnly
from rigs.permissions import is_moderator
from rigs.refusals import Conflict, Forbidden, Refused

ONCE_MORE = {
    "release": gettext_lazy("Release these sets"),
    "reject": gettext_lazy("Reject these sets"),
    ASK: gettext_lazy("Ask about these sets"),
}
"""What the page that asks once more is called by the action, and its button."""


class CaseAdmin(ReadOnly, admin.ModelAdmin[ReviewCase]):
    """Cases, those first that would move their pool the most. Moderators need no other right."""

    list_display = [
        "pull_set",
        "tester",
        "standing",
        "moves_the_pool",
        "asked",
        "answered",
        "appealed_now",
        "age",
        "pulled_on",
    ]
    list_filter = [Waiting]
    list_per_page = 50
    # Its counts would be of the cases that are listed, not of those that a filter would list.
    show_facets = admin.ShowFacets.NEVER
    list_select_related = ["pull_set__connection", "pull_set__session__contributor"]
    search_fields = ["=pull_set__id", "pull_set__session__contributor__handle"]
    actions = ["release_many", "reject_many", "ask_many"]
    action_form = ManyForm

    def has_module_permission(self, request: HttpRequest) -> bool:
        return self.has_view_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: ReviewCase | None = None) -> bool:
        return is_moderator(request.user) or super().has_view_permission(request, obj)

    def get_queryset(self, request: HttpRequest) -> QuerySet[ReviewCase]:
        return with_messages(super().get_queryset(request)).annotate(size=Abs("pool_shift"))

    def get_changelist(self, request: HttpRequest, **kwargs: Any) -> type[Queue]:  # noqa: ARG002
        return Queue

    def get_ordering(self, _request: HttpRequest) -> list[Any]:
        return [F("size").desc(nulls_last=True), "opened_at"]

    @admin.display(description="pulled on", ordering="pull_set__session__pulled_on")
    def pulled_on(self, case: ReviewCase) -> date:
        return case.pull_set.session.pulled_on

    @admin.display(description="tester")
    def tester(self, case: ReviewCase) -> str:
        return case.pull_set.session.contributor.handle

    @admin.display(description="state")
    def standing(self, case: ReviewCase) -> str:
        return case.pull_set.state

    @admin.display(description="pool moves by", ordering="size")
    def moves_the_pool(self, case: ReviewCase) -> str:
        return moved_by(case.pool_shift)

    @admin.display(description="asked", ordering="asked_at")
    def asked(self, case: Any) -> str:
        return _ago(case.asked_at)

    @admin.display(description="answered", ordering="answered_at")
    def answered(self, case: Any) -> str:
        return _ago(case.answered_at)

    @admin.display(description="waiting for", ordering="opened_at")
    def age(self, case: ReviewCase) -> str:
        return timesince(case.opened_at, depth=1)

    @admin.display(description="appealed")
    def appealed_now(self, case: ReviewCase) -> str:
        return "yes" if case.appealed_id is not None else "no"

    @admin.action(description=gettext_lazy("Release, with the reason beside"))
    def release_many(
        self, request: HttpRequest, cases: QuerySet[ReviewCase]
    ) -> HttpResponse | None:
        return self._decide_many(request, cases, "release")

    @admin.action(description=gettext_lazy("Reject, with the reason beside"))
    def reject_many(self, request: HttpRequest, cases: QuerySet[ReviewCase]) -> HttpResponse | None:
        return self._decide_many(request, cases, "reject")

    @admin.action(description=gettext_lazy("Ask the testers, with the question beside"))
    def ask_many(self, request: HttpRequest, cases: QuerySet[ReviewCase]) -> HttpResponse | None:
        return self._decide_many(request, cases, ASK)

    def changelist_view(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        records = {
            "check_records": check_records(),
            "waiting": waiting_work(),
            "moderating": is_moderator(request.user),
            "title": gettext("What waits for a moderator"),
        }
        return super().changelist_view(request, {**records, **(extra_context or {})})

    def get_urls(self) -> list[URLPattern]:
        again = path("again/", run_again, name="results_reviewcase_again")
        return [again, *super().get_urls()]

    def change_view(
        self,
        request: HttpRequest,
        object_id: str,
        form_url: str = "",  # noqa: ARG002  (the admin's signature)
        extra_context: dict[str, Any] | None = None,
    ) -> HttpResponse:
        """The screen of a case, and where its decision is sent to."""
        cases = ReviewCase.objects.select_related(
            "pull_set__session__contributor__user", "pull_set__connection", "appealed"
        )
        case = get_object_or_404(cases, pk=object_id)
        if not self.has_view_permission(request, case):
            raise PermissionDenied
        context = case_context(case)
        form = self._form(request, case, context["version"])
        form.offer_others([(other.value, other.label) for other in others_open(case)])
        if request.method == "POST" and self._done(request, case, form):
            following = next_open(case)
            if following and "then_next" in request.POST:
                return redirect("admin:results_reviewcase_change", following.pk)
            return redirect("admin:results_reviewcase_changelist")
        offered, why_not = _offered(request, case)
        form.offer(offered)
        return TemplateResponse(
            request,
            "admin/results/reviewcase/case.html",
            {
                **self.admin_site.each_context(request),
                **context,
                **(extra_context or {}),
                "title": f"{case.pull_set} of {case.pull_set.session}",
                "opts": self.opts,
                "form": form,
                "drafts": offered,
                "letters": {name: draft(case.pull_set, name) for name in offered},
                "following": next_open(case),
                "why_not": why_not,
                "moderating": is_moderator(request.user),
            },
        )

    def _form(self, request: HttpRequest, case: ReviewCase, version: int) -> DecisionForm:
        if request.method == "POST":
            if not is_moderator(request.user):
                raise PermissionDenied
            return DecisionForm(request.POST)
        wanted = request.GET.get("draft", "")
        decision = wanted if wanted in CHOICES else ASK
        reason = draft(case.pull_set, decision)
        return DecisionForm(initial={"decision": decision, "reason": reason, "version": version})

    def _done(self, request: HttpRequest, case: ReviewCase, form: DecisionForm) -> bool:
        assert isinstance(request.user, User)
        if not form.is_valid():
            return False
        decision, reason = form.cleaned_data["decision"], form.cleaned_data["reason"]
        pull_sets = [case.pull_set]
        try:
            if decision == ASK:
                ask(by=request.user, pull_set=case.pull_set, text=reason)
            else:
                others = form.versions_of_others()
                found = PullSet.objects.filter(pk__in=others).order_by("pk")
                pull_sets += found.select_related("session__contributor", "connection")
                if far := _unseen(decision, pull_sets, form.cleaned_data["together"]):
                    form.warn_of_the_sum([one.sentence for one in far], _mark_of(pull_sets, far))
                    return False
                decide_many(
                    by=request.user,
                    pull_sets=pull_sets,
                    decision=decision,
                    reason=reason,
                    letters=letters_to(pull_sets, reason, decision, of=case.pull_set),
                    expected={case.pk: form.cleaned_data["version"], **others},
                )
        except Refused as refusal:
            form.add_error(None, refusal.detail)
            return False
        self.message_user(request, _done_on(decision, pull_sets))
        return True

    def get_actions(self, request: HttpRequest) -> dict[str, Any]:
        """Decisions on many cases, for moderators: others only look."""
        found: dict[str, Any] = super().get_actions(request)
        return found if is_moderator(request.user) else {}

    def _decide_many(
        self, request: HttpRequest, cases: QuerySet[ReviewCase], decision: str
    ) -> HttpResponse | None:
        assert isinstance(request.user, User)
        chosen = cases.select_related("pull_set__session__contributor", "pull_set__connection")
        pull_sets = [case.pull_set for case in chosen]
        reason = request.POST.get("reason", "")
        far = _unseen(decision, pull_sets, request.POST.get("together", ""))
        if far or not reason.strip():
            problem = "" if far else gettext("A reason is missing.")
            return self._ask_again(request, pull_sets, decision, far, problem)
        try:
            letters = letters_to(pull_sets, reason, decision)
            if decision == ASK:
                ask_many(by=request.user, pull_sets=pull_sets, text=reason, letters=letters)
            else:
                decide_many(
                    by=request.user,
                    pull_sets=pull_sets,
                    decision=decision,
                    reason=reason,
                    letters=letters,
                )
        except Refused as refusal:
            problem = " ".join([refusal.detail, *map(str, refusal.findings)])
            return self._ask_again(request, pull_sets, decision, [], problem)
        self.message_user(request, _done_on(decision, pull_sets))
        return None

    def _ask_again(
        self,
        request: HttpRequest,
        pull_sets: Sequence[PullSet],
        decision: str,
        far: Sequence[Together],
        problem: str,
    ) -> HttpResponse:
        """Ask once more, with what the releases add up to or why nothing was done.

        The sets stay ticked, and the reason can be written beside the sums.
        """
        return TemplateResponse(
            request,
            "admin/results/reviewcase/together.html",
            {
                **self.admin_site.each_context(request),
                "title": gettext("What these releases add up to") if far else ONCE_MORE[decision],
                "opts": self.opts,
                "far": far,
                "pull_sets": pull_sets,
                "reason": request.POST.get("reason", ""),
                "together": _mark_of(pull_sets, far) if far else request.POST.get("together", ""),
                "problem": problem,
                "action": f"{decision}_many",
                "verb": gettext("Release them all the same") if far else ONCE_MORE[decision],
                "longest": LONGEST_TEXT,
            },
        )


def _unseen(decision: str, pull_sets: Sequence[PullSet], seen: str) -> list[Together]:
    """What a release of several sets does to their pools by its sum, unless it was ``seen``."""
    far = far_together(pull_sets) if decision == "release" else []
    return far if far and seen != _mark_of(pull_sets, far) else []


def _mark_of(pull_sets: Sequence[PullSet], far: Sequence[Together]) -> str:
    """What a form sends once its sender has read a warning: other sets or figures, another mark."""
    sets = ",".join(str(each.pk) for each in sorted(pull_sets, key=lambda each: each.pk))
    return " ".join([sets, *(f"{one.pool.pk}:{moved_by(one.shift)}" for one in far)])


def _done_on(decision: str, pull_sets: Sequence[PullSet]) -> str:
    """What was done, on how many sets and on which."""
    return ngettext(
        "%(decision)s is done on %(number)d set, %(sets)s; the contributor was notified.",
        "%(decision)s is done on %(number)d sets, %(sets)s; a letter of its own went out for each.",
        len(pull_sets),
    ) % {
        "decision": decision,
        "number": len(pull_sets),
        "sets": "; ".join(str(each) for each in pull_sets),
    }


def _ago(at: datetime | None) -> str:
    """How long ago, in words; a dash where never."""
    if at is None:
        return "–"
    return gettext("%(time)s ago") % {"time": timesince(at, depth=1)}


def _offered(request: HttpRequest, case: ReviewCase) -> tuple[list[str], str]:
    """What this account can do with a case, and why nothing where it is nothing."""
    assert isinstance(request.user, User)
    try:
        return [*decisions_open_to(request.user, case), ASK], ""
    except (Conflict, Forbidden) as refusal:
        return [], refusal.detail
