"""API1 of 2023, broken object level authorization: nobody changes what is another's.

`tests/api/test_routes.py` holds the status of every request; here it is what is stored that counts.
"""

import json

import pytest

from tests.api.test_routes import METHODS, QUERIES, ROUTES, world
from tests.security.enumerating import stored

__all__ = ["world"]
OF_AN_OBJECT = sorted(route for route in ROUTES if "<" in route)
WRITING = [method for method in METHODS if method != "GET"]


def addressed(route: str, world: dict[str, object]) -> str:
    """The address of the owner's object at this route."""
    number = str(world[route.partition("/")[0]])
    filled = route.replace("<int:pk>", number).replace("<uuid:pk>", number)
    filled = filled.replace("<int:number>", "1")
    assert "<" not in filled, "an address with a hole in it leads nowhere"
    return f"/api/v1/{filled}{QUERIES.get(route, '')}"


@pytest.mark.parametrize("route", OF_AN_OBJECT)
def test_api1_neither_a_stranger_nor_another_tester_changes_anything_of_the_owners(
    route, world, as_stranger, as_other
):
    before = stored()
    for client in (as_stranger, as_other):
        for method in WRITING:
            document = ROUTES[route].get(method, (None,))[0]
            body = json.dumps(document or {})
            client.generic(method, addressed(route, world), body, "application/json")
    assert stored() == before


def test_api1_what_the_owner_sends_to_the_same_addresses_is_stored(world, as_owner):
    """Else the story above could not fail."""
    for route in ("rigs/<int:pk>/revisions", "sessions/<int:pk>/withdrawal"):
        before = stored()
        body = json.dumps(ROUTES[route]["POST"][0])
        as_owner.generic("POST", addressed(route, world), body, "application/json")
        assert stored() != before
