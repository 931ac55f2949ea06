"""The desk's proposals: what testers need of the catalogue, accepted, mapped or declined."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import admin, messages
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.response import TemplateResponse
from django.utils.translation import gettext, gettext_lazy

from results.catalogue.proposals import Decision, Entry, proposed_as
from results.models import Connection, Proposal, TieParameter, WaitingSession
from results.review.desk.audits import ModeratorsOwn, Open
from results.review.proposals import decide_proposal
from rigs.metrology import bounds
from rigs.metrology.errors import MetrologyError
from rigs.metrology.units import parse_force
from rigs.models import Line, Material
from rigs.permissions import is_moderator
from rigs.refusals import Refused

Kind, State = Proposal.Kind, Proposal.State
LONGEST_ANSWER = 1000
NOT_CHOSEN = ("", "–")
NEW, MEANT, NO = "new", "meant", "no"
STATES = {NEW: State.ACCEPTED, MEANT: State.MAPPED, NO: State.DECLINED}


class ProposalForm(forms.Form):
    """What a proposal becomes; which fields it asks for depends on what is proposed."""

    decision = forms.ChoiceField(
        label=gettext_lazy("What is it"),
        widget=forms.RadioSelect,
        choices=[
            (NEW, gettext_lazy("new: take it into the catalogue")),
            (MEANT, gettext_lazy("something that is there already: map it")),
            (NO, gettext_lazy("neither: decline it")),
        ],
    )
    answer = forms.CharField(
        label=gettext_lazy("Answer to the tester"),
        required=False,
        max_length=LONGEST_ANSWER,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("The tester reads this; needed where it is declined."),
    )

    def __init__(self, sent: Any, proposal: Proposal) -> None:
        super().__init__(sent)
        self.proposal = proposal
        self.fields |= _FIELDS[Kind(proposal.kind)](proposal)
        self.order_fields([name for name in self.fields if name != "answer"])

    def decided(self) -> Decision:
        """The decision that was sent; its entry is None where what it needs was left out."""
        given = self.cleaned_data
        state = STATES[given["decision"]]
        entry: Entry | None = None
        if state == State.MAPPED:
            entry = given["meant"]
        elif state == State.ACCEPTED:
            entry = _new_entry(self.proposal, given)
        return Decision(state, given["answer"], entry)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        for name in _NEEDED_OF_NEW[Kind(self.proposal.kind)]:
            if given.get("decision") == NEW and not given.get(name):
                self.add_error(name, gettext("Needed for a new one."))
        return given


def _name(proposal: Proposal) -> forms.CharField:
    return forms.CharField(
        label=gettext_lazy("Name in the catalogue"),
        max_length=60 if proposal.kind == Kind.PARAMETER else 120,
        initial=proposal.name,
    )


def _of_a_join(proposal: Proposal) -> dict[str, forms.Field]:
    accepted = Connection.objects.filter(accepted=True)
    return {
        "meant": forms.ModelChoiceField(accepted, required=False, label=gettext_lazy("It is")),
        "name": _name(proposal),
        "kind": forms.ChoiceField(
            label=gettext_lazy("Kind"),
            required=False,
            choices=[NOT_CHOSEN, *Connection.Kind.choices],
        ),
    }


def _of_a_line(proposal: Proposal) -> dict[str, forms.Field]:
    accepted = Line.objects.filter(accepted=True)
    return {
        "meant": forms.ModelChoiceField(accepted, required=False, label=gettext_lazy("It is")),
        "name": _name(proposal),
        "material": forms.ChoiceField(
            label=gettext_lazy("Material"), required=False, choices=[NOT_CHOSEN, *Material.choices]
        ),
        "label_strength": ForceText(
            label=gettext_lazy("Strength on the label"),
            required=False,
            max_length=40,
            help_text=gettext_lazy("with its unit, as 15 lbf; may stay empty"),
        ),
    }


def _of_a_parameter(proposal: Proposal) -> dict[str, forms.Field]:
    there = TieParameter.objects.filter(connection=proposal.connection_id)
    return {
        "meant": forms.ModelChoiceField(there, required=False, label=gettext_lazy("It is")),
        "name": _name(proposal),
        "type": forms.ChoiceField(
            label=gettext_lazy("Type"),
            required=False,
            choices=[NOT_CHOSEN, *TieParameter.Type.choices],
        ),
        "unit": forms.CharField(label=gettext_lazy("Unit"), required=False, max_length=20),
        "choices": forms.CharField(
            label=gettext_lazy("Choices"),
            required=False,
            max_length=500,
            help_text=gettext_lazy("of a choice alone, with commas between"),
        ),
    }


class ForceText(forms.CharField):
    """A force as written with its unit; its value is the text, checked."""

    def clean(self, value: Any) -> str:
        text: str = super().clean(value)
        if text:
            try:
                force_N = parse_force(text).newtons
            except MetrologyError as error:
                raise forms.ValidationError(str(error)) from None
            if not bounds.LABEL_STRENGTH_N.lowest <= force_N <= bounds.LABEL_STRENGTH_N.highest:
                raise forms.ValidationError(gettext("No line is so strong or so weak."))
        return text


_FIELDS = {Kind.JOIN: _of_a_join, Kind.LINE: _of_a_line, Kind.PARAMETER: _of_a_parameter}
_NEEDED_OF_NEW = {Kind.JOIN: ["kind"], Kind.LINE: ["material"], Kind.PARAMETER: ["type"]}


def _new_entry(proposal: Proposal, given: dict[str, Any]) -> Entry:
    if proposal.kind == Kind.JOIN:
        return Connection(name=given["name"], kind=given["kind"])
    if proposal.kind == Kind.LINE:
        written = given["label_strength"]
        return Line(
            name=given["name"],
            material=given["material"],
            label_strength_N=parse_force(written).newtons if written else None,
            label_strength_written=written,
        )
    return TieParameter(
        connection=proposal.connection,
        name=given["name"],
        type=given["type"],
        unit=given["unit"],
        choices=[each.strip() for each in given["choices"].split(",") if each.strip()],
    )


class Undecided(Open):
    """Open proposals, unless all are requested."""

    column = "decided_at"


class ProposalAdmin(ModeratorsOwn[Proposal]):
    """Proposals with what they are needed for; the page of one decides on it."""

    list_display = ["name", "kind", "connection", "proposed_by", "sessions", "state", "created_at"]
    list_filter = [Undecided, "kind"]
    list_select_related = ["contributor", "connection"]
    search_fields = ["name", "contributor__handle"]

    def has_add_permission(self, *_asked: object) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:  # noqa: ARG002
        return bool(is_moderator(request.user))

    @admin.display(description="by")
    def proposed_by(self, proposal: Proposal) -> str:
        return proposal.contributor.handle

    @admin.display(description="sessions that wait")
    def sessions(self, proposal: Proposal) -> int:
        return proposal.waiting_sessions.count()

    def change_view(
        self,
        request: HttpRequest,
        object_id: str,
        form_url: str = "",  # noqa: ARG002  (the admin's signature)
        extra_context: dict[str, Any] | None = None,
    ) -> HttpResponse:
        """The screen of a proposal, and where its decision is sent to."""
        proposals = Proposal.objects.select_related("contributor", "connection", "decided_by")
        proposal = get_object_or_404(proposals, pk=object_id)
        if not self.has_view_permission(request, proposal):
            raise PermissionDenied
        form = ProposalForm(request.POST if request.method == "POST" else None, proposal)
        if request.method == "POST" and self._done(request, proposal, form):
            return redirect("admin:results_proposal_changelist")
        proposed = proposed_as(proposal)
        named = WaitingSession.objects.filter(proposals__in=proposed).distinct()
        sessions = named.select_related("contributor").order_by("created_at", "pk")
        context = {
            **self.admin_site.each_context(request),
            **(extra_context or {}),
            "title": gettext("Proposed: %(what)s") % {"what": proposal},
            "opts": self.opts,
            "proposal": proposal,
            "open": proposal.state == State.OPEN,
            "moderating": is_moderator(request.user),
            "proposed": proposed,
            "sessions": sessions,
            "waiting": [each for each in sessions if each.state == WaitingSession.State.WAITING],
            "form": form,
        }
        return TemplateResponse(request, "admin/results/proposal/decide.html", context)

    def _done(self, request: HttpRequest, proposal: Proposal, form: ProposalForm) -> bool:
        if not is_moderator(request.user):
            raise PermissionDenied
        assert isinstance(request.user, User)
        if not form.is_valid():
            return False
        try:
            sessions = decide_proposal(request.user, proposal, form.decided())
        except Refused as refusal:
            form.add_error(None, " ".join([refusal.detail, *map(str, refusal.findings)]))
            return False
        text = gettext("Decided. Sessions that went on: %(number)s.") % {"number": len(sessions)}
        self.message_user(request, text, messages.SUCCESS)
        return True
