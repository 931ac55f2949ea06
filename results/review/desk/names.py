"""The desk's list of names: those that everyone reads, and those that wait to be accepted."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.contrib import admin
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import URLPattern, path
from django.utils.translation import gettext
from django.views.decorators.http import require_POST

from results.catalogue.accepted_names import Kind, accept_names, waiting_names
from results.models import AcceptedName
from rigs.admin import ReadOnly
from rigs.permissions import is_moderator
from rigs.refusals import Forbidden


class AcceptedNameAdmin(ReadOnly, admin.ModelAdmin[AcceptedName]):
    """Accepted names, with who accepted them and when; below, names waiting for a moderator."""

    list_display = ["text", "kind", "accepted_by", "accepted_at"]
    list_filter = ["kind", "accepted_at"]
    list_select_related = ["accepted_by"]
    search_fields = ["text", "accepted_by__username"]

    def has_module_permission(self, request: HttpRequest) -> bool:
        return self.has_view_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: AcceptedName | None = None) -> bool:
        return is_moderator(request.user) or super().has_view_permission(request, obj)

    def get_urls(self) -> list[URLPattern]:
        accept = self.admin_site.admin_view(require_POST(self.accept))
        return [path("accept/", accept, name="results_acceptedname_accept"), *super().get_urls()]

    def changelist_view(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        context = {
            "waiting": waiting_names(),
            "moderating": is_moderator(request.user),
            "title": gettext("Names that everyone can read"),
        }
        return super().changelist_view(request, {**context, **(extra_context or {})})

    def accept(self, request: HttpRequest) -> HttpResponse:
        """Accept the names that were ticked, each sent as its kind, a space and its text."""
        assert isinstance(request.user, User)
        by_kind: dict[Kind, list[str]] = defaultdict(list)
        for name in request.POST.getlist("name"):
            kind, _, text = name.partition(" ")
            if kind in Kind.values:
                by_kind[Kind(kind)].append(text)
        try:
            number = sum(accept_names(request.user, *each) for each in by_kind.items())
        except Forbidden:
            raise PermissionDenied from None
        self.message_user(request, gettext("Names made public: %(number)s.") % {"number": number})
        return redirect("admin:results_acceptedname_changelist")
