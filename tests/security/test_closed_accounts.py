"""What arrives after a close is refused at every address that writes, though it was under way.

The account was looked up before, as by a request that is being worked on while the other closes it.
"""

import json

import pytest
from django.db import transaction
from rest_framework.test import APIClient

from results.accounts.close import close_account
from tests.api.test_routes import QUERIES, ROUTES, world
from tests.security.enumerating import stored
from tests.security.test_object_level import addressed

__all__ = ["world"]
NO_WORDS_OF_THEIRS = {"tokens/current", "notices/read", "reports"}
"""Addresses that store nothing of a contributor: they end a token, mark notices as read, or take
the report of anybody."""


def writing() -> list[tuple[str, str]]:
    """Every address and method at which an owner stores something."""
    return [
        (route, method)
        for route, methods in sorted(ROUTES.items())
        for method, (_, _stranger, owner, *_) in methods.items()
        if method != "GET" and 200 <= owner < 300 and route not in NO_WORDS_OF_THEIRS
    ]


def test_the_list_is_not_hollow():
    assert len(writing()) >= 8


@pytest.mark.parametrize(("route", "method"), writing())
def test_whatever_arrives_after_a_close_is_refused_and_nothing_is_stored(
    world, owner, route, method
):
    under_way = APIClient()
    under_way.force_authenticate(owner.user)
    close_account(owner, keep=True)
    before = stored()
    plain = f"/api/v1/{route}{QUERIES.get(route, '')}"
    address = addressed(route, world) if "<" in route else plain
    body = json.dumps(ROUTES[route][method][0] or {})
    if "rig" in body and route.startswith("sessions"):
        body = body.replace("shed winch", f"rig {world['rigs']}")
    with transaction.atomic():
        answer = under_way.generic(method, address, body, "application/json")
    assert answer.status_code == 409, answer.content
    assert answer.json()["type"].endswith("/account-closed")
    assert stored() == before
