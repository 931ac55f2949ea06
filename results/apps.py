"""Measurements and what is computed from them."""

from django.apps import AppConfig
from django.core.checks import register


class ResultsConfig(AppConfig):
    name = "results"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from results.http_cache.cache_marks import mark_name_changes  # noqa: PLC0415, models are ready now
        from results.screening.thresholds import check_thresholds  # noqa: PLC0415, models are ready now

        register(check_thresholds)
        mark_name_changes()
