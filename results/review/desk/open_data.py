"""The admin's view of the open data, and of what readers keep."""

from __future__ import annotations

from django.contrib import admin

from rigs.admin import ReadOnly


class EditionAdmin(ReadOnly, admin.ModelAdmin):
    """Marks that tell when kept answers are out of date."""

    list_display = ["subject", "mark"]
    search_fields = ["subject"]


class ReleaseAdmin(ReadOnly, admin.ModelAdmin):
    """Downloads of the open data."""

    list_display = ["number", "state", "attempts", "asked_at", "made_at", "bytes", "problem"]
    list_filter = ["state", "asked_at"]
    search_fields = ["=number", "snapshot", "sha256"]
    exclude = ["pool_versions"]


class ReleasePartAdmin(ReadOnly, admin.ModelAdmin):
    """Pieces of the downloads; their bytes are served by the API."""

    list_display = ["release", "number"]
    list_select_related = ["release"]
    search_fields = ["=release__number"]
    exclude = ["body"]
