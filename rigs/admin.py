"""The admin's view of who measures with what; what results rest on can't be changed here."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import admin
from django.contrib.admin.views.main import SEARCH_VAR, ChangeList, ChangeListSearchForm
from django.http import HttpRequest

from rigs.models import (
    Calibration,
    CalibrationChange,
    CalibrationReading,
    Club,
    Contributor,
    Line,
    RevisionChange,
    Rig,
    RigRevision,
)

LONGEST_SEARCH = 80


class ShortSearch(ChangeListSearchForm):
    """Words to search for. Each is a condition for each column: thousands would be no query."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self.fields[SEARCH_VAR] = forms.CharField(
            required=False, strip=False, max_length=LONGEST_SEARCH
        )


# For every list of the admin at once, those of Django's own tables included.
ChangeList.search_form_class = ShortSearch


class ReadOnly:
    """Part of an admin that shows everything and changes nothing."""

    def _never(self, *_asked: object) -> bool:
        return False

    has_add_permission = has_change_permission = has_delete_permission = _never


class FixedOnceUsed:
    """Part of an admin whose ``fixed`` fields can be set until something measured rests on a row.

    Pools are keyed by them, stored figures are computed with them, or they say whose a thing is:
    changing one afterwards would leave all of that as it was. Another row takes what was entered
    wrongly, and the sessions are corrected by their contributors.
    """

    fixed: tuple[str, ...] = ()
    rests_on: tuple[str, ...] = ()
    """Names of the relations by which something rests on a row."""

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        own = tuple(super().get_readonly_fields(request, obj))  # type: ignore[misc]
        return (*own, *self.fixed) if obj is not None and self.is_used(obj) else own

    def is_used(self, obj: Any) -> bool:
        return any(getattr(obj, name).exists() for name in self.rests_on)


@admin.register(Club)
class ClubAdmin(admin.ModelAdmin):
    """Clubs."""

    list_display = ["name"]
    search_fields = ["name"]


@admin.register(Contributor)
class ContributorAdmin(admin.ModelAdmin):
    """Testers and their accounts. A handle is changed by its holder, who is then rewritten where it
    stands in stored sentences; agreeing and closing are the holder's own."""

    fields = ["user", "handle", "club", "shows_club", "shows_rigs", "shows_sets"]
    list_display = ["handle", "user", "club", "joined_at"]
    list_filter = ["club", "joined_at"]
    list_select_related = ["user", "club"]
    search_fields = ["handle", "user__username", "user__email"]
    autocomplete_fields = ["user", "club"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:  # noqa: ARG002
        return ("user", "handle") if obj is not None else ()


@admin.register(Line)
class LineAdmin(FixedOnceUsed, admin.ModelAdmin):
    """The catalogue of lines. Material is part of a pool's key; label and diameter are computed
    with: which line of two is the reference, and how thick a join is beside it."""

    fixed = (
        "material",
        "label_strength_N",
        "label_strength_written",
        "label_basis",
        "diameter_m",
        "diameter_written",
        "proposed_by",
    )
    rests_on = ("baselines", "sets_as_main", "sets_as_leader")
    list_display = [
        "name",
        "material",
        "label_strength_written",
        "diameter_written",
        "accepted",
        "proposed_by",
    ]
    list_filter = ["accepted", "material", "label_basis"]
    list_select_related = ["proposed_by"]
    search_fields = ["name", "proposed_by__handle"]
    autocomplete_fields = ["proposed_by"]


class RevisionInline(ReadOnly, admin.TabularInline):
    """The revisions of a rig, one row each."""

    model = RigRevision
    fields = ["number", "made_on", "what_changed", "load_generation", "indicator"]
    show_change_link = True
    extra = 0


@admin.register(Rig)
class RigAdmin(ReadOnly, admin.ModelAdmin):
    """Rigs."""

    list_display = ["name", "owner", "created_at"]
    list_filter = ["created_at"]
    list_select_related = ["owner"]
    search_fields = ["name", "owner__handle"]
    inlines = [RevisionInline]


@admin.register(RigRevision)
class RigRevisionAdmin(ReadOnly, admin.ModelAdmin):
    """Revisions: results never mix two. Their owners correct what was entered wrongly."""

    list_display = [
        "rig",
        "number",
        "version",
        "standing",
        "made_on",
        "load_generation",
        "indicator",
        "peak_capture",
    ]
    list_filter = ["load_generation", "indicator", "peak_capture", "first_grip", "made_on"]
    list_select_related = ["rig__owner"]
    search_fields = ["rig__name", "rig__owner__handle", "what_changed"]


class CalibrationReadingInline(ReadOnly, admin.TabularInline):
    """The check weights of a calibration."""

    model = CalibrationReading
    extra = 0


@admin.register(Calibration)
class CalibrationAdmin(ReadOnly, admin.ModelAdmin):
    """Calibrations."""

    list_display = [
        "revision",
        "made_on",
        "standing",
        "gain",
        "offset_N",
        "residual_sd_N",
        "created_at",
    ]
    list_filter = ["made_on"]
    list_select_related = ["revision__rig__owner"]
    search_fields = ["revision__rig__name", "revision__rig__owner__handle", "note"]
    inlines = [CalibrationReadingInline]


@admin.register(CalibrationReading)
class CalibrationReadingAdmin(ReadOnly, admin.ModelAdmin):
    """Check weights and what the rig read under them."""

    list_display = ["calibration", "number", "mass_written", "reading_written", "direction"]
    list_filter = ["how_known", "direction"]
    list_select_related = ["calibration__revision__rig__owner"]
    search_fields = [
        "calibration__revision__rig__name",
        "calibration__revision__rig__owner__handle",
    ]


@admin.register(CalibrationChange)
class CalibrationChangeAdmin(ReadOnly, admin.ModelAdmin):
    """Calibrations that were corrected or voided, by whom and why."""

    list_display = ["calibration", "successor", "by", "at", "reason"]
    list_filter = ["at"]
    list_select_related = [
        "calibration__revision__rig__owner",
        "successor__revision__rig__owner",
        "by",
    ]
    search_fields = [
        "calibration__revision__rig__name",
        "calibration__revision__rig__owner__handle",
        "reason",
    ]


@admin.register(RevisionChange)
class RevisionChangeAdmin(ReadOnly, admin.ModelAdmin):
    """Earlier versions of revisions, who ended them and why."""

    list_display = ["revision", "version", "voided", "by", "at", "reason"]
    list_filter = ["voided", "at"]
    list_select_related = ["revision__rig__owner", "by"]
    search_fields = ["revision__rig__name", "revision__rig__owner__handle", "reason"]
