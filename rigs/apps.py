"""Who measures with what: contributors, rigs, calibrations and lines."""

from django.apps import AppConfig


class RigsConfig(AppConfig):
    name = "rigs"
    default_auto_field = "django.db.models.BigAutoField"
