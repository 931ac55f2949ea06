"""Who measures with what: contributors, rigs, calibrations and lines."""

from django.apps import AppConfig
from django.core.cache import caches
from django.utils.connection import ConnectionProxy


class RigsConfig(AppConfig):
    name = "rigs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Count attempts to sign in for all processes together.

        allauth counts in the default cache, which is each process's own for the sake of speed.
        """
        from allauth.core.internal import ratelimit  # noqa: PLC0415 - needs the applications

        ratelimit.cache = ConnectionProxy(caches, "limits")
