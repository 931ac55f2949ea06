"""The admin's view of results: all of it findable, and history as it happened.

Only the catalogue of connections is edited here. Sessions, pulls, what was made of them and who
decided what change by the verbs alone.
"""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.translation import gettext

from results.catalogue.connections import follow_acceptance
from results.models import (
    AcceptedName,
    ArchivedTrace,
    AuditLink,
    Baseline,
    CheckResult,
    Connection,
    ConnectionAlias,
    DirectComparison,
    Edition,
    Erasure,
    Follow,
    Job,
    Mailing,
    Message,
    NormalisedSet,
    Notice,
    PairReference,
    Pool,
    PoolMembership,
    PoolVersion,
    Proposal,
    Pull,
    PullSet,
    Release,
    ReleasePart,
    Report,
    ReviewCase,
    RigScatter,
    Screening,
    SeriesShape,
    Session,
    StalePool,
    StateChange,
    TieParameter,
    Trace,
    TraceMonth,
    TraceMonthPart,
    UnsentMail,
    Upload,
    Vote,
    WaitingSession,
    WaitingUpload,
)
from results.pools.recompute import recompute_failed
from results.review.desk.admin import CaseAdmin
from results.review.desk.audits import ErasureAdmin, ReportAdmin, SuspensionAdmin
from results.review.desk.names import AcceptedNameAdmin
from results.review.desk.proposals import ProposalAdmin
from rigs.admin import FixedOnceUsed, ReadOnly, read_only, rows_of
from rigs.models import Suspension
from rigs.permissions import is_moderator


class AliasInline(admin.StackedInline[ConnectionAlias, Connection]):
    """Other names of a connection."""

    model = ConnectionAlias
    extra = 0


class TieParameterInline(admin.StackedInline[TieParameter, Connection]):
    """How a connection is tied: add what is missing; each existing row is edited separately."""

    model = TieParameter
    extra = 0
    show_change_link = True

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:  # noqa: ARG002
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """``obj`` is the connection."""
        used = obj is not None and obj.pull_sets.exists()
        return super().has_delete_permission(request, obj) and not used


@admin.register(Connection)
class ConnectionAdmin(FixedOnceUsed[Connection]):
    """The catalogue of connections. A pool is keyed by its connection, of one kind."""

    fixed = ("kind", "proposed_by")
    rests_on = ("pull_sets", "pools")
    list_display = ["name", "kind", "accepted", "proposed_by"]
    list_filter = ["accepted", "kind"]
    list_select_related = ["proposed_by"]
    search_fields = ["name", "aliases__name", "proposed_by__handle"]
    raw_id_fields = ["proposed_by"]
    inlines = [AliasInline, TieParameterInline]

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        super().save_model(request, obj, form, change)
        if change and "accepted" in form.changed_data:
            follow_acceptance(obj)


@admin.register(ConnectionAlias)
class ConnectionAliasAdmin(admin.ModelAdmin[ConnectionAlias]):
    """Other names of connections."""

    list_display = ["name", "connection"]
    list_select_related = ["connection"]
    search_fields = ["name", "connection__name"]
    raw_id_fields = ["connection"]


@admin.register(TieParameter)
class TieParameterAdmin(FixedOnceUsed[TieParameter]):
    """Tie parameters with their types and ranges. Stored sets know them by name: that stays, and
    what their values mean stays once there are any."""

    fixed = ("type", "unit")
    list_display = ["connection", "name", "type", "unit", "lowest", "highest"]
    list_filter = ["type"]
    list_select_related = ["connection"]
    search_fields = ["name", "connection__name"]
    raw_id_fields = ["connection"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        return (
            *super().get_readonly_fields(request, obj),
            *(("connection", "name") if obj else ()),
        )

    def is_used(self, obj: TieParameter) -> bool:
        return obj.connection.pull_sets.exists()

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        used = obj is not None and self.is_used(obj)
        return super().has_delete_permission(request, obj) and not used


PULLS = rows_of(Pull, "number reading_written unit reading_N failure_mode place", links=False)

read_only(
    Session,
    "id contributor pulled_on revision state version standing received_at",
    filters="standing state loading pulled_on",
    related="contributor revision__rig__owner",
    search="=id contributor__handle revision__rig__name fingerprint",
    inlines=[
        rows_of(Baseline),
        rows_of(PullSet, "label connection main_line leader_line terminal state"),
    ],
)
read_only(
    Upload,
    "session contributor content_type idempotency_key received_at",
    filters="content_type received_at",
    related="session__contributor contributor",
    search="contributor__handle idempotency_key sha256",
    exclude=["body"],  # served by the API
)
read_only(
    WaitingUpload,
    "file_name contributor content_type checked_at",
    related="contributor",
    search="contributor__handle file_name",
    exclude=["body"],
)
read_only(
    Baseline,
    "id session line spool position",
    filters="position line__material",
    related="session__contributor line",
    search="line__name spool session__contributor__handle",
    inlines=[PULLS],
)
read_only(
    PullSet,
    "id session label connection main_line leader_line state",
    filters="state connection doubled",
    related="session__contributor connection main_line leader_line",
    search="=id label connection__name session__contributor__handle",
    inlines=[PULLS],
)
read_only(
    Pull,
    "id baseline pull_set reading_written unit failure_mode",
    filters="failure_mode unit slipped_first",
    related="baseline__line pull_set__connection",
    search="=id baseline__session__contributor__handle pull_set__session__contributor__handle",
    show_full_result_count=False,
)
read_only(
    Trace,
    "pull count unit peak_N loading_rate_N_per_s time_to_break_s",
    filters="unit",
    related="pull__baseline__line pull__pull_set__connection",
    search="=pull__id",
    exclude=["samples"],  # served by the API
    show_full_result_count=False,
)
read_only(
    Job,
    "id session state step attempts created_at finished_at",
    filters="state step created_at",
    related="session__contributor",
    search="=id =session__id session__contributor__handle",
)
read_only(
    NormalisedSet,
    "pull_set pool efficiency interval_low interval_high counted",
    filters="pool__connection computed_at",
    related="pull_set__connection pool__connection",
    search="pull_set__connection__name pull_set__session__contributor__handle",
)
read_only(
    PairReference,
    "main_line leader_line reference_line",
    related="main_line leader_line reference_line",
    search="main_line__name leader_line__name",
)


read_only(
    SeriesShape,
    "session pull_set baseline pulls lowest highest middle",
    filters="pulls",
    related="session__contributor pull_set baseline__line",
    search="=session__id",
)

read_only(
    Follow,
    "contributor subject number since",
    filters="subject since",
    related="contributor",
    search="contributor__handle",
)

read_only(
    Vote,
    "contributor connection main_material leader_material cast_at",
    filters="main_material leader_material",
    related="contributor connection",
    search="contributor__handle connection__name",
)

read_only(
    UnsentMail,
    "contributor subject refused again_at",
    filters="again_at",
    related="contributor",
    search="contributor__handle subject",
)

read_only(
    Mailing,
    "contributor every through mailed_at refused again_at",
    filters="every mailed_at",
    related="contributor",
    search="contributor__handle",
)

read_only(
    RigScatter,
    "rig kind factor degrees_of_freedom renewed_at",
    filters="kind renewed_at",
    related="rig__owner",
    search="=rig__id",
)


@admin.register(Pool)
class PoolAdmin(ReadOnly, admin.ModelAdmin[Pool]):
    """Pools."""

    list_display = ["tie", "line_pair", "conditions", "failures", "failed_at"]
    actions = ["compute_again"]
    list_filter = ["connection", "main_material", "leader_material", "wet", "shock"]
    list_select_related = ["connection"]
    search_fields = ["connection__name", "connection__aliases__name", "terminal"]

    def has_recompute_permission(self, request: HttpRequest) -> bool:
        return is_moderator(request.user) or bool(getattr(request.user, "is_superuser", False))

    @admin.action(description="Compute again those that failed", permissions=["recompute"])
    def compute_again(self, request: HttpRequest, pools: QuerySet[Pool]) -> None:
        count = recompute_failed(pools.values_list("pk", flat=True))
        message = gettext("Sent to be computed again: %(number)s.") % {"number": count}
        self.message_user(request, message)


read_only(
    PoolVersion,
    "pool number testers pulls efficiency i2 computed_at",
    filters="computed_at pool__connection",
    related="pool__connection",
    search="pool__connection__name",
    exclude=["forest_light", "forest_dark"],
)
read_only(
    DirectComparison,
    "main_material leader_material terminal wet shock computed_at",
    filters="wet shock main_material",
    search="main_material leader_material terminal",
)
read_only(
    PoolMembership,
    "pull_set pool since until",
    filters="pool__connection",
    related="pull_set__connection pool__connection since__pool__connection until__pool__connection",
    search="pool__connection__name pull_set__session__contributor__handle",
)
read_only(
    StalePool,
    "pool why marked_at",
    filters="marked_at",
    related="pool__connection",
    search="pool__connection__name why",
)
read_only(
    StateChange,
    "pull_set from_state to_state by reason at",
    filters="to_state at",
    related="pull_set__connection by__contributor",
    search="=pull_set__id by__username reason",
)
read_only(
    Screening,
    "session screened_at",
    filters="screened_at",
    related="session__contributor",
    search="=session__id session__contributor__handle",
    inlines=[rows_of(CheckResult, "name applies_to figure threshold adjusted_p level")],
)
read_only(
    CheckResult,
    "name applies_to level figure threshold adjusted_p",
    filters="level name",
    search="name sentence screening__session__contributor__handle",
)


admin.site.register(ReviewCase, CaseAdmin)
admin.site.register(Proposal, ProposalAdmin)
read_only(
    WaitingSession,
    "key contributor state file_name created_at",
    filters="state created_at",
    related="contributor",
    search="contributor__handle",
    exclude=["body"],
)
admin.site.register(AcceptedName, AcceptedNameAdmin)
admin.site.register(Report, ReportAdmin)
admin.site.register(Suspension, SuspensionAdmin)
admin.site.register(Erasure, ErasureAdmin)
read_only(Edition, "subject mark", search="subject")
read_only(
    AuditLink,
    "id subject row hash sealed_at",
    filters="subject",
    search="=row =hash",
    exclude=["salt"],
)
read_only(
    Release,
    "number state attempts asked_at made_at bytes problem",
    filters="state asked_at",
    search="=number snapshot sha256",
    exclude=["pool_versions"],
)
read_only(
    ReleasePart,
    "release number",
    related="release",
    search="=release__number",
    exclude=["body"],  # served by the API
)
read_only(
    TraceMonth,
    "month edition written_at traces samples bytes",
    filters="written_at",
    search="=sha256",
    exclude=["taken_out"],
)
read_only(
    TraceMonthPart,
    "month edition number",
    related="month",
    search="=month__sha256",
    exclude=["body"],
)
read_only(ArchivedTrace, "trace month", related="trace month", search="=trace__pull__id")
read_only(
    Message,
    "pull_set kind by text at",
    filters="kind at",
    related="pull_set__connection by__contributor",
    search="=pull_set__id by__username text",
)
read_only(
    Notice,
    "to pull_set text at read_at",
    filters="at",
    related="to pull_set__connection",
    search="to__handle text",
)
