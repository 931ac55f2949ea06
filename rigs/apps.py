"""Who measures with what: contributors, rigs, calibrations and lines."""

from django.apps import AppConfig


class RigsConfig(AppConfig):
    name = "rigs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Write accounts by their handle wherever one is written as a text.

        Django writes the sign-in name, which only its holder is to read: on the pages of
        the administration alone it would stand in a dozen tables.
        """
        from django.contrib.auth.models import User  # noqa: PLC0415  (models are loaded by now)

        from rigs.models.contributors import written  # noqa: PLC0415

        User.add_to_class("__str__", written)
