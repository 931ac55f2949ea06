"""Correct and void revisions and calibrations on a page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django import forms
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext_lazy as _

from results.normalising import reprocess
from results.pages.figures import day
from results.pages.rigs.changes import (
    FORM,
    QUANTITIES,
    again,
    ask_about,
    current_user,
    put_beside_rows,
)
from results.pages.rigs.forms import (
    CalibrationForm,
    ChangeForm,
    Refusable,
    check_weights,
    rows_asked_for,
)
from rigs import selectors
from rigs.correcting import LONGEST_REASON
from rigs.models import Calibration, CalibrationChange, RevisionChange, Rig
from rigs.permissions import may
from rigs.refusals import Forbidden, Refused

SPARE_ROWS = 2


@dataclass(frozen=True)
class Entry:
    """One line of a rig's history of corrections."""

    at: datetime
    what: str
    reason: str
    by: str


class ReasonForm(Refusable, forms.Form):
    """What was wrong."""

    reason = forms.CharField(
        max_length=LONGEST_REASON,
        label=_("What was wrong"),
        help_text=_("you and moderators can read this in the history of the rig"),
    )


class CorrectedCalibrationForm(ReasonForm, CalibrationForm):
    """The day of a calibration, and what was wrong."""

    field_order = ["reason", "made_on", "note"]


class CorrectedRevisionForm(ChangeForm):
    """A revision as it should have been entered."""

    reason = forms.CharField(
        max_length=LONGEST_REASON,
        label=_("What was wrong"),
        help_text=_("you and moderators can read this in the history of the rig"),
    )
    field_order = ["reason", *ChangeForm.field_order]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("what_changed", "why"):
            self.fields[name].required = False


@FORM
@login_required
def correct_calibration(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter a calibration as it should have been."""
    calibration = get_object_or_404(selectors.calibrations(), pk=pk)
    revision = calibration.revision
    if not may(request.user, "rigs.calibrate_rig", revision.rig):
        raise PermissionDenied
    form = CorrectedCalibrationForm(
        request.POST or None, initial={"made_on": calibration.made_on, "note": calibration.note}
    )
    entered = [_as_entered(reading) for reading in calibration.readings.all()]
    spare = max(rows_asked_for(request) - len(entered), SPARE_ROWS)
    rows = check_weights(spare)(request.POST or None, initial=None if request.POST else entered)
    asked = False
    if request.method == "POST" and form.is_valid() and rows.is_valid():
        filled = [row for row in rows if row.has_changed()]
        cleaned, readings = dict(form.cleaned_data), [row.row() for row in filled]
        asked = ask_about(request, revision, cleaned["made_on"], readings, form, filled)
        try:
            if not asked:
                reprocess.correct_calibration_and_reprocess(
                    current_user(request),
                    calibration,
                    cleaned["made_on"],
                    readings,
                    cleaned["reason"],
                    note=cleaned["note"],
                )
                return redirect("pages:rig", revision.rig_id)
        except Forbidden:
            raise PermissionDenied from None
        except Refused as refusal:
            put_beside_rows(refusal, form, filled)
    context = {
        "form": form,
        "rows": rows,
        "revision": revision,
        "calibration": calibration,
        "more_rows": len(entered) + 2 * spare,
        "asked": asked,
    }
    return again(request, "pages/rigs/calibrate.html", context)


def _as_entered(reading: Any) -> dict[str, Any]:
    return {
        "mass": reading.mass_written,
        "tolerance": reading.tolerance_written,
        "how_known": reading.how_known,
        "temperature_C": reading.temperature_C,
        "direction": reading.direction,
        "reading": reading.reading_written,
    }


@FORM
@login_required
def correct_revision(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a revision in place: its sessions stay on it."""
    revision = get_object_or_404(selectors.revisions(), pk=pk)
    if not may(request.user, "rigs.revise_rig", revision.rig):
        raise PermissionDenied
    as_it_is = {name: getattr(revision, f"{name}_written") for name in QUANTITIES}
    words = {"what_changed": revision.what_changed, "why": revision.why}
    form = CorrectedRevisionForm(
        request.POST or None,
        instance=None if request.POST else revision,
        initial={**as_it_is, **words},
    )
    if request.method == "POST" and form.is_valid():
        columns = form.columns()
        reason = columns.pop("reason")
        try:
            reprocess.correct_revision_and_reprocess(
                current_user(request), revision, columns, reason
            )
            return redirect("pages:rig", revision.rig_id)
        except Refused as refusal:
            form.refuse(refusal)
    context = {"form": form, "rig": revision.rig, "latest": revision, "corrected": revision}
    return again(request, "pages/rigs/revise.html", context)


@FORM
@login_required
def void_calibration(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a calibration from being used."""
    calibration = get_object_or_404(selectors.calibrations(), pk=pk)
    return _void(
        request,
        calibration.revision.rig,
        {"calibration": calibration},
        lambda reason: reprocess.void_calibration_and_reprocess(
            current_user(request), calibration, reason
        ),
    )


@FORM
@login_required
def void_revision(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep a revision from being used, where no session stands on it."""
    revision = get_object_or_404(selectors.revisions(), pk=pk)
    return _void(
        request,
        revision.rig,
        {"revision": revision},
        lambda reason: reprocess.void_unused_revision(current_user(request), revision, reason),
    )


def _void(request: HttpRequest, rig: Rig, what: dict[str, Any], void: Any) -> HttpResponse:
    if not may(request.user, "rigs.revise_rig", rig):
        raise PermissionDenied
    form = ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            void(form.cleaned_data["reason"])
            return redirect("pages:rig", rig.pk)
        except Refused as refusal:
            form.refuse(refusal)
    return again(request, "pages/rigs/void.html", {"form": form, "rig": rig, **what})


def history_of(rig: Rig) -> list[Entry]:
    """What was corrected and voided of a rig, the newest first."""
    entries = [*_of_revisions(rig), *_of_calibrations(rig)]
    return sorted(entries, key=lambda entry: entry.at, reverse=True)


def _of_revisions(rig: Rig) -> Iterator[Entry]:
    changes = RevisionChange.objects.filter(revision__rig=rig).select_related(
        "revision", "by__contributor"
    )
    for change in changes:
        values = {"number": change.revision.number, "version": change.version}
        what = _("Revision %(number)s, version %(version)s, was corrected")
        if change.voided:
            what = _("Revision %(number)s was voided")
        yield Entry(change.at, str(what) % values, change.reason, change.by.contributor.handle)


def _of_calibrations(rig: Rig) -> Iterator[Entry]:
    changes = CalibrationChange.objects.filter(calibration__revision__rig=rig).select_related(
        "calibration__revision", "by__contributor"
    )
    for change in changes:
        calibration: Calibration = change.calibration
        values = {"number": calibration.pk, "day": day(calibration.made_on)}
        what = _("Calibration %(number)s of %(day)s was voided")
        if change.successor_id:
            values["successor"] = change.successor_id
            what = _("Calibration %(number)s of %(day)s was replaced by %(successor)s")
        yield Entry(change.at, str(what) % values, change.reason, change.by.contributor.handle)
