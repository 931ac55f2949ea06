"""The REST face of Samespool."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "api"
