"""The desk's other tables: reports, suspensions, and the audit of erasures."""

from __future__ import annotations

from typing import Any, TypeVar

from django import forms
from django.contrib import admin
from django.contrib.auth.models import User
from django.db.models import Model, QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext, gettext_lazy

from results.models import Erasure, Report
from results.review.reports import LONGEST_TEXT, close_report
from results.review.suspend import LONGEST_REASON, lift, suspend
from rigs.admin import ReadOnly
from rigs.models import Contributor, Suspension
from rigs.permissions import is_moderator

Reviewed = TypeVar("Reviewed", bound=Model)


class ModeratorsOwn(admin.ModelAdmin[Reviewed]):
    """An admin that moderators work in; administrators who are none only look."""

    def has_module_permission(self, request: HttpRequest) -> bool:
        return self.has_view_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return is_moderator(request.user) or super().has_view_permission(request, obj)

    def has_delete_permission(self, *_asked: object) -> bool:
        return False

    def log_addition(self, *_ignored: Any) -> Any:
        """Nothing: each verb keeps who, when and why; the admin's log would copy names."""

    def log_change(self, *_ignored: Any) -> Any:
        """Nothing, as above."""


class Open(admin.SimpleListFilter):
    """Open ones, unless all are requested."""

    title, parameter_name = "open", "open"
    column = "closed_at"

    def lookups(
        self, _request: HttpRequest, _admin: admin.ModelAdmin[Any]
    ) -> list[tuple[str, str]]:
        return [("all", "all")]

    def queryset(self, _request: HttpRequest, rows: QuerySet[Any]) -> QuerySet[Any]:
        return rows if self.value() == "all" else rows.filter(**{self.column: None})

    def choices(self, changelist: Any) -> Any:
        first, *rest = super().choices(changelist)
        yield {**first, "display": "open"}
        yield from rest


class StillSuspended(Open):
    """Suspensions in force, unless all are requested."""

    title, column = "holding", "lifted_at"


class OutcomeForm(forms.ModelForm[Report]):
    """A moderator's outcome of a report."""

    outcome = forms.CharField(max_length=LONGEST_TEXT, widget=forms.Textarea(attrs={"rows": 4}))

    class Meta:
        model = Report
        fields = ["outcome"]


class ReportAdmin(ModeratorsOwn[Report]):
    """What readers and testers have reported; saving one with an outcome closes it."""

    form = OutcomeForm
    list_display = ["id", "subject", "text", "reported_by", "at", "closed_at"]
    list_filter = [Open, "subject_kind", "at"]
    list_select_related = ["reporter"]
    search_fields = ["text", "=subject_id", "reporter__handle"]
    readonly_fields = ["subject", "text", "reported_by", "at", "closed_at", "closed_by"]
    fields = [*readonly_fields, "outcome"]

    def has_add_permission(self, *_asked: object) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Report | None = None) -> bool:
        return is_moderator(request.user) and (obj is None or obj.closed_at is None)

    @admin.display(description="what")
    def subject(self, report: Report) -> str:
        """A link to the page of what was reported."""
        if report.subject_kind == Report.Subject.CONTRIBUTOR:
            found = Contributor.objects.filter(pk=report.subject_id).first()
            address = reverse("pages:contributor", args=[found.handle]) if found else ""
        else:
            address = reverse(f"pages:{report.subject_kind}", args=[report.subject_id])
        return format_html('<a href="{}">{}</a>', address, str(report))

    @admin.display(description="by")
    def reported_by(self, report: Report) -> str:
        return report.reporter.handle if report.reporter else "a reader"

    def save_model(
        self,
        request: HttpRequest,
        obj: Report,
        form: OutcomeForm,
        change: bool,  # noqa: ARG002
    ) -> None:
        assert isinstance(request.user, User)
        close_report(obj, by=request.user, outcome=form.cleaned_data["outcome"])


class SuspendForm(forms.ModelForm[Suspension]):
    """Whose account, and why."""

    handle = forms.CharField(max_length=60, help_text=gettext_lazy("of the account to suspend"))
    reason = forms.CharField(
        max_length=LONGEST_REASON,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=gettext_lazy(
            "The contributor reads this. All their sets that count are held with it."
        ),
    )

    class Meta:
        model = Suspension
        fields = ["reason"]

    def clean_handle(self) -> str:
        handle: str = self.cleaned_data["handle"]
        found = Contributor.objects.filter(handle__iexact=handle.strip()).first()
        if found is None:
            raise forms.ValidationError(gettext("No contributor has this handle."))
        self.contributor = found
        return handle


class LiftForm(forms.ModelForm[Suspension]):
    """Why it is lifted, and whether the sets it held count again."""

    lifted_reason = forms.CharField(
        max_length=LONGEST_REASON,
        label=gettext_lazy("Reason for lifting it"),
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    release = forms.BooleanField(
        required=False,
        label=gettext_lazy("Release the sets that counted before and were held by it"),
    )

    class Meta:
        model = Suspension
        fields = ["lifted_reason"]


class SuspensionAdmin(ModeratorsOwn[Suspension]):
    """Suspended accounts: adding one suspends, saving one lifts."""

    list_display = ["id", "contributor", "reason", "by", "at", "lifted_at", "lifted_by"]
    list_filter = [StillSuspended, "at"]
    list_select_related = ["contributor", "by__contributor", "lifted_by__contributor"]
    search_fields = ["contributor__handle", "reason"]
    recorded = ["contributor", "reason", "by", "at", "lifted_by", "lifted_at"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return bool(is_moderator(request.user))

    def has_change_permission(self, request: HttpRequest, obj: Suspension | None = None) -> bool:
        return is_moderator(request.user) and (obj is None or obj.lifted_at is None)

    def get_readonly_fields(self, _request: HttpRequest, obj: Any = None) -> Any:
        return self.recorded if obj else []

    def get_fields(self, request: HttpRequest, obj: Suspension | None = None) -> Any:
        if obj is None:
            return ["handle", "reason"]
        lifting = self.has_change_permission(request, obj)
        return [*self.recorded, "lifted_reason", *(["release"] if lifting else [])]

    def get_form(
        self, request: HttpRequest, obj: Any = None, change: bool = False, **options: Any
    ) -> Any:
        if obj is not None and not self.has_change_permission(request, obj):
            return super().get_form(request, obj, change, **options)
        return super().get_form(
            request, obj, change, form=LiftForm if obj else SuspendForm, **options
        )

    def save_model(self, request: HttpRequest, obj: Suspension, form: Any, change: bool) -> None:
        assert isinstance(request.user, User)
        if change:
            lift(
                by=request.user,
                contributor=obj.contributor,
                reason=form.cleaned_data["lifted_reason"],
                release=form.cleaned_data["release"],
            )
        else:
            done = suspend(
                by=request.user,
                contributor=form.contributor,
                reason=form.cleaned_data["reason"],
            )
            obj.pk = done.pk

    def save_related(self, *_ignored: object) -> None:
        """The verbs have stored everything."""


class ErasureAdmin(ReadOnly, admin.ModelAdmin[Erasure]):
    """What was erased, who did it and why; never the text."""

    list_display = ["id", "at", "by", "account", "reason"]
    list_filter = ["at"]
    list_select_related = ["by__contributor", "account"]
    search_fields = ["reason", "=account__id", "by__username"]
