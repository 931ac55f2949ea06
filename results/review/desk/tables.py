"""The admin's view of results: all of it findable, and history as it happened.

Only the catalogue of connections is edited here. Sessions, pulls, what was made of them and who
decided what change by the verbs alone.
"""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from results.catalogue.connections import follow_acceptance
from results.models import (
    AcceptedName,
    Baseline,
    CheckResult,
    Connection,
    ConnectionAlias,
    DirectComparison,
    Edition,
    Erasure,
    Job,
    Message,
    NormalisedSet,
    Notice,
    PairReference,
    Pool,
    PoolMembership,
    PoolVersion,
    Pull,
    PullSet,
    Release,
    ReleasePart,
    Report,
    ReviewCase,
    Screening,
    Session,
    StalePool,
    StateChange,
    TieParameter,
    Upload,
    WaitingUpload,
)
from results.pools.recompute import recompute_failed
from results.review.desk.admin import CaseAdmin
from results.review.desk.audits import ErasureAdmin, ReportAdmin, SuspensionAdmin
from results.review.desk.names import AcceptedNameAdmin
from results.review.desk.open_data import EditionAdmin, ReleaseAdmin, ReleasePartAdmin
from rigs.admin import FixedOnceUsed, ReadOnly
from rigs.models import Suspension
from rigs.permissions import is_moderator


class AliasInline(admin.TabularInline):
    """Other names of a connection."""

    model = ConnectionAlias
    extra = 0


class TieParameterInline(admin.TabularInline):
    """What is to be said of how a connection is tied; what is said already is changed by itself."""

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
class ConnectionAdmin(FixedOnceUsed, admin.ModelAdmin):
    """The catalogue of connections. A pool is keyed by its connection, of one kind."""

    fixed = ("kind", "proposed_by")
    rests_on = ("pull_sets", "pools")
    list_display = ["name", "kind", "accepted", "proposed_by"]
    list_filter = ["accepted", "kind"]
    list_select_related = ["proposed_by"]
    search_fields = ["name", "aliases__name", "proposed_by__handle"]
    autocomplete_fields = ["proposed_by"]
    inlines = [AliasInline, TieParameterInline]

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        super().save_model(request, obj, form, change)
        if change and "accepted" in form.changed_data:
            follow_acceptance(obj)


@admin.register(ConnectionAlias)
class ConnectionAliasAdmin(admin.ModelAdmin):
    """Other names of connections."""

    list_display = ["name", "connection"]
    list_select_related = ["connection"]
    search_fields = ["name", "connection__name"]
    autocomplete_fields = ["connection"]


@admin.register(TieParameter)
class TieParameterAdmin(FixedOnceUsed, admin.ModelAdmin):
    """Tie parameters with their types and ranges. Stored sets know them by name: that stays, and
    what their values mean stays once there are any."""

    fixed = ("type", "unit")
    list_display = ["connection", "name", "type", "unit", "lowest", "highest"]
    list_filter = ["type"]
    list_select_related = ["connection"]
    search_fields = ["name", "connection__name"]
    autocomplete_fields = ["connection"]

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


class BaselineInline(ReadOnly, admin.TabularInline):
    """The baselines of a session."""

    model = Baseline
    show_change_link = True
    extra = 0


class PullSetInline(ReadOnly, admin.TabularInline):
    """The pull sets of a session."""

    model = PullSet
    fields = ["label", "connection", "main_line", "leader_line", "terminal", "state"]
    show_change_link = True
    extra = 0


@admin.register(Session)
class SessionAdmin(ReadOnly, admin.ModelAdmin):
    """Sessions, every version of them."""

    list_display = [
        "id",
        "contributor",
        "pulled_on",
        "revision",
        "state",
        "version",
        "standing",
        "received_at",
    ]
    list_filter = ["standing", "state", "loading", "pulled_on"]
    list_select_related = ["contributor", "revision__rig__owner"]
    search_fields = ["=id", "contributor__handle", "revision__rig__name", "fingerprint"]
    inlines = [BaselineInline, PullSetInline]


@admin.register(Upload)
class UploadAdmin(ReadOnly, admin.ModelAdmin):
    """Uploads; their bytes are served by the API."""

    list_display = ["session", "contributor", "content_type", "idempotency_key", "received_at"]
    list_filter = ["content_type", "received_at"]
    list_select_related = ["session__contributor", "contributor"]
    search_fields = ["contributor__handle", "idempotency_key", "sha256"]
    exclude = ["body"]


@admin.register(WaitingUpload)
class WaitingUploadAdmin(ReadOnly, admin.ModelAdmin):
    """Files that were checked and not yet stored."""

    list_display = ["file_name", "contributor", "content_type", "checked_at"]
    list_select_related = ["contributor"]
    search_fields = ["contributor__handle", "file_name"]
    exclude = ["body"]


class PullInline(ReadOnly, admin.TabularInline):
    """Pulls, in the order they were pulled."""

    model = Pull
    fields = ["number", "reading_written", "unit", "reading_N", "failure_mode", "place"]
    extra = 0


@admin.register(Baseline)
class BaselineAdmin(ReadOnly, admin.ModelAdmin):
    """Baselines of straight line."""

    list_display = ["id", "session", "line", "spool", "position"]
    list_filter = ["position", "line__material"]
    list_select_related = ["session__contributor", "line"]
    search_fields = ["line__name", "spool", "session__contributor__handle"]
    inlines = [PullInline]


@admin.register(PullSet)
class PullSetAdmin(ReadOnly, admin.ModelAdmin):
    """Pull sets."""

    list_display = ["id", "session", "label", "connection", "main_line", "leader_line", "state"]
    list_filter = ["state", "connection", "doubled"]
    list_select_related = ["session__contributor", "connection", "main_line", "leader_line"]
    search_fields = ["=id", "label", "connection__name", "session__contributor__handle"]
    inlines = [PullInline]


@admin.register(Pull)
class PullAdmin(ReadOnly, admin.ModelAdmin):
    """Single pulls."""

    list_display = ["id", "baseline", "pull_set", "reading_written", "unit", "failure_mode"]
    list_filter = ["failure_mode", "unit", "slipped_first"]
    list_select_related = ["baseline__line", "pull_set__connection"]
    search_fields = [
        "=id",
        "baseline__session__contributor__handle",
        "pull_set__session__contributor__handle",
    ]
    show_full_result_count = False


@admin.register(Job)
class JobAdmin(ReadOnly, admin.ModelAdmin):
    """Jobs."""

    list_display = ["id", "session", "state", "step", "attempts", "created_at", "finished_at"]
    list_filter = ["state", "step", "created_at"]
    list_select_related = ["session__contributor"]
    search_fields = ["=id", "=session__id", "session__contributor__handle"]


@admin.register(NormalisedSet)
class NormalisedSetAdmin(ReadOnly, admin.ModelAdmin):
    """Efficiencies of single sets."""

    list_display = ["pull_set", "pool", "efficiency", "interval_low", "interval_high", "counted"]
    list_filter = ["pool__connection", "computed_at"]
    list_select_related = ["pull_set__connection", "pool__connection"]
    search_fields = ["pull_set__connection__name", "pull_set__session__contributor__handle"]


@admin.register(PairReference)
class PairReferenceAdmin(ReadOnly, admin.ModelAdmin):
    """Reference lines of pairs that part close to one another."""

    list_display = ["main_line", "leader_line", "reference_line"]
    list_select_related = ["main_line", "leader_line", "reference_line"]
    search_fields = ["main_line__name", "leader_line__name"]


@admin.register(Pool)
class PoolAdmin(ReadOnly, admin.ModelAdmin):
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
        self.message_user(request, f"Sent to be computed again: {count}.")


@admin.register(PoolVersion)
class PoolVersionAdmin(ReadOnly, admin.ModelAdmin):
    """Every state a pool has had."""

    list_display = ["pool", "number", "testers", "pulls", "efficiency", "i2", "computed_at"]
    list_filter = ["computed_at", "pool__connection"]
    list_select_related = ["pool__connection"]
    search_fields = ["pool__connection__name"]
    exclude = ["forest_light", "forest_dark"]


@admin.register(DirectComparison)
class DirectComparisonAdmin(ReadOnly, admin.ModelAdmin):
    """Joins of one line pair, compared on the same rig and day."""

    list_display = ["main_material", "leader_material", "terminal", "wet", "shock", "computed_at"]
    list_filter = ["wet", "shock", "main_material"]
    search_fields = ["main_material", "leader_material", "terminal"]


@admin.register(PoolMembership)
class PoolMembershipAdmin(ReadOnly, admin.ModelAdmin):
    """Which set counted in a pool, from which version until which."""

    list_display = ["pull_set", "pool", "since", "until"]
    list_filter = ["pool__connection"]
    list_select_related = [
        "pull_set__connection",
        "pool__connection",
        "since__pool__connection",
        "until__pool__connection",
    ]
    search_fields = ["pool__connection__name", "pull_set__session__contributor__handle"]


@admin.register(StalePool)
class StalePoolAdmin(ReadOnly, admin.ModelAdmin):
    """Pools that wait to be computed again."""

    list_display = ["pool", "why", "marked_at"]
    list_filter = ["marked_at"]
    list_select_related = ["pool__connection"]
    search_fields = ["pool__connection__name", "why"]


@admin.register(StateChange)
class StateChangeAdmin(ReadOnly, admin.ModelAdmin):
    """Every change of a pull set's state."""

    list_display = ["pull_set", "from_state", "to_state", "by", "reason", "at"]
    list_filter = ["to_state", "at"]
    list_select_related = ["pull_set__connection", "by"]
    search_fields = ["=pull_set__id", "by__username", "reason"]


class CheckResultInline(ReadOnly, admin.TabularInline):
    """What the checks of one screening found."""

    model = CheckResult
    fields = ["name", "applies_to", "figure", "threshold", "adjusted_p", "level"]
    show_change_link = True
    extra = 0


@admin.register(Screening)
class ScreeningAdmin(ReadOnly, admin.ModelAdmin):
    """Every look at a session by all checks."""

    list_display = ["session", "screened_at"]
    list_filter = ["screened_at"]
    list_select_related = ["session__contributor"]
    search_fields = ["=session__id", "session__contributor__handle"]
    inlines = [CheckResultInline]


@admin.register(CheckResult)
class CheckResultAdmin(ReadOnly, admin.ModelAdmin):
    """What single checks found."""

    list_display = ["name", "applies_to", "level", "figure", "threshold", "adjusted_p"]
    list_filter = ["level", "name"]
    search_fields = ["name", "sentence", "screening__session__contributor__handle"]


admin.site.register(ReviewCase, CaseAdmin)
admin.site.register(AcceptedName, AcceptedNameAdmin)
admin.site.register(Report, ReportAdmin)
admin.site.register(Suspension, SuspensionAdmin)
admin.site.register(Erasure, ErasureAdmin)
admin.site.register(Edition, EditionAdmin)
admin.site.register(Release, ReleaseAdmin)
admin.site.register(ReleasePart, ReleasePartAdmin)


@admin.register(Message)
class MessageAdmin(ReadOnly, admin.ModelAdmin):
    """What was asked, answered, appealed and decided."""

    list_display = ["pull_set", "kind", "by", "text", "at"]
    list_filter = ["kind", "at"]
    list_select_related = ["pull_set__connection", "by"]
    search_fields = ["=pull_set__id", "by__username", "text"]


@admin.register(Notice)
class NoticeAdmin(ReadOnly, admin.ModelAdmin):
    """What contributors were told of their sets."""

    list_display = ["to", "pull_set", "text", "at", "read_at"]
    list_filter = ["at"]
    list_select_related = ["to", "pull_set__connection"]
    search_fields = ["to__handle", "text"]
