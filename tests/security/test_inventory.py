"""API9 of 2023, improper inventory management: what is served is documented, and nothing is left.

Pages are listed in `test_pages.py`; the document is held to the last release in
`tests/deploy/test_openapi.py`.
"""

import re

import pytest
from django.test import Client
from django.urls import get_resolver
from drf_spectacular.generators import SchemaGenerator

from tests.api.test_routes import METHODS

ANSWER_FOR_ITSELF = {"/api/v1/schema", "/api/v1/docs"}
"""The document and the page that shows it are no part of it."""
TOP = [
    "api/v1/",
    "problems/<slug:kind>",
    "admin/standing/",
    "",  # the form of accounts, under the same address as the administration
    "admin/",
    "healthz",
    "readyz",
    "metrics",
    "",
    "",
]
NEVER_SERVED = (
    "/api/", "/api/v0/pools", "/api/v2/pools", "/api/v1/users", "/api/v1/debug", "/api/pools",
    "/.git/config", "/.env", "/static/../deploy/settings.py", "/static/%2e%2e/deploy/settings.py",
    "/docs", "/schema", "/silk/", "/__debug__/", "/media/", "/test", "/beta/",
    "/accounts/login/", "/var/samespool.sqlite3",
)  # fmt: skip


def served() -> dict[str, set[str]]:
    """The methods of every address of the API, with its parameters unnamed."""
    api = next(entry for entry in get_resolver().url_patterns if str(entry.pattern) == "api/v1/")
    found: dict[str, set[str]] = {}
    for pattern in api.url_patterns:
        if pattern.name == "nothing":
            continue
        view = getattr(pattern.callback, "cls", None) or pattern.callback.view_class
        methods = {method.lower() for method in METHODS if hasattr(view, method.lower())}
        found["/api/v1/" + re.sub("<[^>]+>", "{}", str(pattern.pattern))] = methods
    return found


def documented() -> dict[str, set[str]]:
    """The same, by the OpenAPI document."""
    paths = SchemaGenerator().get_schema(public=True)["paths"]
    return {re.sub("{[^}]+}", "{}", path): set(methods) for path, methods in paths.items()}


def test_api9_every_address_and_method_is_in_the_document_and_the_reverse():
    apart = {path: methods for path, methods in served().items() if path not in ANSWER_FOR_ITSELF}
    assert len(apart) > 40
    assert apart == {path: m for path, m in documented().items() if path not in ANSWER_FOR_ITSELF}


def test_api9_one_version_is_served_and_nothing_beside_what_is_named_here():
    assert [str(entry.pattern) for entry in get_resolver().url_patterns] == TOP


@pytest.mark.parametrize("address", NEVER_SERVED)
def test_api9_nothing_left_over_answers(address, db):
    assert Client().get(address).status_code == 404


def test_api9_the_version_of_the_document_is_that_of_its_addresses():
    document = SchemaGenerator().get_schema(public=True)
    version = document["info"]["version"].partition(".")[0]
    assert {path.split("/")[2] for path in document["paths"]} == {f"v{version}"}
