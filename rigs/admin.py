"""The admin's view of who measures with what; what results rest on can't be changed here."""

from __future__ import annotations

from typing import Any, TypeVar

from django import forms
from django.contrib import admin
from django.contrib.admin.views.main import SEARCH_VAR, ChangeList, ChangeListSearchForm
from django.contrib.auth.models import User
from django.db.models import Model, QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

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

M = TypeVar("M", bound=Model)
LONGEST_SEARCH = 80
MOST_ROWS = 30
"""Of another table on one page: some hundred sets of checks would weigh as much as a picture."""


class ShortSearch(ChangeListSearchForm):
    """Words to search for. Each is a condition for each column: thousands would be no query."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self.fields[SEARCH_VAR] = forms.CharField(
            required=False, strip=False, max_length=LONGEST_SEARCH
        )


# For every list of the admin at once, those of Django's own tables included.
ChangeList.search_form_class = ShortSearch


def _scripts(_admin: admin.ModelAdmin[Any]) -> forms.Media:
    """Of the scripts that Django gives each form, those that ours use: no field writes another."""
    names = ("vendor/jquery/jquery.min.js", "jquery.init.js", "core.js")
    return forms.Media(
        js=[f"admin/js/{name}" for name in (*names, "admin/RelatedObjectLookups.js")]
    )


admin.ModelAdmin.media = property(_scripts)  # type: ignore[assignment,method-assign]  # for all


class ReadOnly:
    """Part of an admin that shows everything and changes nothing."""

    def _never(self, *_asked: object) -> bool:
        return False

    has_add_permission = has_change_permission = has_delete_permission = _never


class _ReadOnlyAdmin(ReadOnly, admin.ModelAdmin[Any]):
    """A table that is shown and not changed."""


def read_only(
    model: type[Model],
    display: str,
    *,
    filters: str = "",
    related: str = "",
    search: str = "",
    **options: Any,
) -> None:
    """Register a read-only table; columns are named with a space between."""
    admin.site.register(
        model,
        _ReadOnlyAdmin,
        list_display=display.split(),
        list_filter=filters.split(),
        list_select_related=related.split() or False,
        search_fields=search.split(),
        **options,
    )


class _FirstRows(forms.BaseInlineFormSet):  # type: ignore[type-arg]  # of any two tables
    """So many rows of a parent as one can look through; ``left_out`` has how many there are."""

    def get_queryset(self) -> QuerySet[Any]:
        if not hasattr(self, "_first"):
            rows = super().get_queryset()
            self._first = rows[:MOST_ROWS]
            self.total = rows.count()
        return self._first

    def left_out(self) -> str:
        """Where all of them are, if some are left out."""
        self.get_queryset()
        if self.total <= MOST_ROWS:
            return ""
        assert self.model is not None
        place = f"admin:{self.model._meta.app_label}_{self.model._meta.model_name}_changelist"
        return f"{reverse(place)}?{self.fk.name}__id__exact={self.instance.pk}"


def rows_of(
    model: type[Model], fields: str = "", *, links: bool = True
) -> type[admin.TabularInline[Any, Any]]:
    """The first rows of a table on their parent's page, and the way to all of them."""
    shown = {
        "model": model,
        "extra": 0,
        "fields": fields.split() or None,
        "formset": _FirstRows,
        "show_change_link": links,
        "template": "admin/first_rows.html",
    }
    return type(f"{model.__name__}Inline", (ReadOnly, admin.TabularInline), shown)


class FixedOnceUsed(admin.ModelAdmin[M]):
    """An admin whose ``fixed`` fields can be set until something measured rests on a row.

    Pools are keyed by them, stored figures are computed with them, or they say whose a thing is:
    changing one afterwards would leave all of that as it was. Another row takes what was entered
    wrongly, and the sessions are corrected by their contributors.
    """

    fixed: tuple[str, ...] = ()
    rests_on: tuple[str, ...] = ()
    """Names of the relations by which something rests on a row."""

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        own = tuple(super().get_readonly_fields(request, obj))
        return (*own, *self.fixed) if obj is not None and self.is_used(obj) else own

    def is_used(self, obj: Any) -> bool:
        return any(getattr(obj, name).exists() for name in self.rests_on)


@admin.register(Club)
class ClubAdmin(admin.ModelAdmin[Club]):
    """Clubs."""

    list_display = ["name"]
    search_fields = ["name"]


class ContributorForm(forms.ModelForm):  # type: ignore[type-arg]  # of contributors
    """A profile; whose it is to be is said by the name that the account signs in by."""

    user = forms.ModelChoiceField(
        User.objects.filter(contributor__isnull=True),
        to_field_name="username",
        label=_("Sign-in name"),
        help_text=_("of an account that has no handle yet"),
        widget=forms.TextInput,
        error_messages={
            "invalid_choice": _("No account signs in by this name, or it has a handle already.")
        },
    )


@admin.register(Contributor)
class ContributorAdmin(admin.ModelAdmin[Contributor]):
    """Testers and their accounts. A handle is changed by its holder, who is then rewritten where it
    stands in stored sentences; agreeing and closing are the holder's own."""

    form = ContributorForm
    fields = ["user", "handle", "club", "shows_club", "shows_rigs", "shows_sets"]
    list_display = ["handle", "user__username", "club", "joined_at"]
    list_filter = ["club", "joined_at"]
    list_select_related = ["user", "club"]
    search_fields = ["handle", "user__username", "user__email"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:  # noqa: ARG002
        return ("user", "handle") if obj is not None else ()


@admin.register(Line)
class LineAdmin(FixedOnceUsed[Line]):
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
    raw_id_fields = ["proposed_by"]


read_only(
    Rig,
    "name owner created_at",
    filters="created_at",
    related="owner",
    search="name owner__handle",
    inlines=[rows_of(RigRevision, "number made_on what_changed load_generation indicator")],
)
read_only(
    RigRevision,
    "rig number version standing made_on load_generation indicator peak_capture",
    filters="load_generation indicator peak_capture first_grip made_on",
    related="rig__owner",
    search="rig__name rig__owner__handle what_changed",
)
read_only(
    Calibration,
    "revision made_on standing gain offset_N residual_sd_N created_at",
    filters="made_on",
    related="revision__rig__owner",
    search="revision__rig__name revision__rig__owner__handle note",
    inlines=[rows_of(CalibrationReading, links=False)],
)
read_only(
    CalibrationReading,
    "calibration number mass_written reading_written direction",
    filters="how_known direction",
    related="calibration__revision__rig__owner",
    search="calibration__revision__rig__name calibration__revision__rig__owner__handle",
)
read_only(
    CalibrationChange,
    "calibration successor by at reason",
    filters="at",
    related="calibration__revision__rig__owner successor__revision__rig__owner by__contributor",
    search="calibration__revision__rig__name calibration__revision__rig__owner__handle reason",
)
read_only(
    RevisionChange,
    "revision version voided by at reason",
    filters="voided at",
    related="revision__rig__owner by__contributor",
    search="revision__rig__name revision__rig__owner__handle reason",
)
