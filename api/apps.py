"""The REST face of Samespool."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "api"

    def ready(self) -> None:
        import api.schema  # noqa: F401, PLC0415  (registers how quantities are described)
