"""Rigs on a phone: register one, record a change, calibrate it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib.auth.decorators import login_required
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from results.normalising.reprocess import calibrate_and_reprocess
from results.pages.rigs.forms import (
    MOST_ROWS,
    CalibrationForm,
    ChangeForm,
    RigForm,
    check_weights,
    rows_asked_for,
)
from results.pages.showing import render
from results.pages.signed_in import contributors_only
from rigs import selectors
from rigs.calibrating import doubtful
from rigs.models import CalibrationReading, RigRevision
from rigs.permissions import may
from rigs.refusals import Forbidden, Invalid, Refused
from rigs.registering import register_rig, revise_rig

FORM = require_http_methods(["GET", "HEAD", "POST"])
_PLACE = re.compile(r"points\[(\d+)\]")


def current_user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


def again(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    """The page with its form; 422 where what was sent has to be corrected."""
    return render(request, template, context, status=422 if request.method == "POST" else 200)


@FORM
@contributors_only
def register(request: HttpRequest) -> HttpResponse:
    """Register a rig with its first revision."""
    form = RigForm(request.POST or None, initial={"made_on": timezone.now().date()})
    if request.method == "POST" and form.is_valid():
        columns = form.columns()
        try:
            rig = register_rig(current_user(request), columns.pop("name"), RigRevision(**columns))
            return redirect("pages:rig", rig.pk)
        except Refused as refusal:
            form.refuse(refusal)
    return again(request, "pages/rigs/register.html", {"form": form})


@FORM
@login_required
def revise(request: HttpRequest, pk: int) -> HttpResponse:
    """Tell a change of a rig: its next revision."""
    rig = get_object_or_404(selectors.rigs(), pk=pk)
    if not may(request.user, "rigs.revise_rig", rig):
        raise PermissionDenied
    latest = rig.latest
    as_it_was = {name: getattr(latest, f"{name}_written") for name in QUANTITIES}
    form = ChangeForm(
        request.POST or None,
        instance=None if request.POST else latest,
        initial={**as_it_was, "made_on": timezone.now().date(), "what_changed": "", "why": ""},
    )
    if request.method == "POST" and form.is_valid():
        columns = form.columns()
        made_on, what, why = (columns.pop(name) for name in ("made_on", "what_changed", "why"))
        try:
            revise_rig(current_user(request), rig, made_on, what, why, columns)
            return redirect("pages:rig", rig.pk)
        except Refused as refusal:
            form.refuse(refusal)
    return again(request, "pages/rigs/revise.html", {"form": form, "rig": rig, "latest": latest})


QUANTITIES = ("resolution", "capacity", "free_length")


@FORM
@login_required
def calibrate(request: HttpRequest, pk: int) -> HttpResponse:
    """Tell what a revision read under check weights."""
    revision = get_object_or_404(selectors.revisions(), pk=pk)
    if not may(request.user, "rigs.calibrate_rig", revision.rig):
        raise PermissionDenied
    form = CalibrationForm(request.POST or None, initial={"made_on": timezone.now().date()})
    rows = check_weights(rows_asked_for(request))(request.POST or None)
    asked = False
    if request.method == "POST" and form.is_valid() and rows.is_valid():
        filled = [row for row in rows if row.has_changed()]
        readings, made_on = [row.row() for row in filled], form.cleaned_data["made_on"]
        asked = ask_about(request, revision, made_on, readings, form, filled)
        try:
            if not asked:
                calibrate_and_reprocess(
                    current_user(request),
                    revision,
                    made_on,
                    readings,
                    note=form.cleaned_data["note"],
                )
                return redirect("pages:rig", revision.rig_id)
        except Forbidden:
            raise PermissionDenied from None
        except Refused as refusal:
            put_beside_rows(refusal, form, filled)
    more_rows = min(2 * len(rows.forms), MOST_ROWS)
    context = {
        "form": form,
        "rows": rows,
        "revision": revision,
        "more_rows": more_rows,
        "asked": asked,
    }
    return again(request, "pages/rigs/calibrate.html", context)


def ask_about(
    request: HttpRequest,
    revision: RigRevision,
    made_on: date,
    readings: Sequence[CalibrationReading],
    form: CalibrationForm,
    filled: list[Any],
) -> bool:
    """Ask about a reading that lies far from the others, unless its tester has looked at it."""
    finding = doubtful(revision, made_on, readings)
    if finding is None or request.POST.get("looked_at"):
        return False
    put_beside_rows(Invalid(_("Please look at this before it is stored."), [finding]), form, filled)
    return True


def put_beside_rows(refusal: Refused, form: CalibrationForm, filled: list[Any]) -> None:
    """Put each finding beside the row it is about."""
    form.add_error(None, refusal.detail)
    for finding in refusal.findings:
        place = _PLACE.match(finding.row)
        at = filled[int(place[1])] if place else form
        at.refuse(Refused(refusal.detail, [finding]))
