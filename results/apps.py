"""What was measured, and what it means."""

from django.apps import AppConfig


class ResultsConfig(AppConfig):
    name = "results"
    default_auto_field = "django.db.models.BigAutoField"
