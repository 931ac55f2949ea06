"""Every address of the service, asked as some person, and all that is stored."""

from __future__ import annotations

from collections.abc import Iterator

from django.apps import apps
from django.db import transaction
from django.urls import URLPattern, get_resolver

ANOTHERS_TEST = ("api/v1/", "admin/", "admin/standing/")
COMES_AND_GOES = ("sessions.Session", "knox.AuthToken")


def page_addresses() -> Iterator[str]:
    """Every address outside the API and the admin, as its pattern is written."""
    for entry in get_resolver().url_patterns:
        if str(entry.pattern) in ANOTHERS_TEST:
            continue
        if isinstance(entry, URLPattern):
            yield str(entry.pattern)
            continue
        for pattern in entry.url_patterns:
            assert isinstance(pattern, URLPattern)
            yield str(pattern.pattern)


def stored() -> dict[str, list[str]]:
    """Every row of every table but sessions and tokens."""
    return {
        model._meta.label: sorted(map(repr, model._base_manager.values_list()))
        for model in apps.get_models(include_auto_created=True)
        if model._meta.label not in COMES_AND_GOES
    }


def answered(client, method: str, address: str, *sent: str):
    """The answer to one request, of which nothing stays."""
    with transaction.atomic():
        answer = client.generic(method, address, *sent)
        transaction.set_rollback(True)
    return answer
