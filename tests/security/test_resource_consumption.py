"""API4 of 2023, unrestricted resource consumption: each request has bounds, at every address.

XLSX bombs are in `tests/intake/test_workbooks.py`, requests a minute in `tests/api/test_limits.py`
and, over two processes, in `test_two_processes.py`.
"""

import json

import pytest
from django.urls import get_resolver

from results.intake.limits import MOST_BYTES, MOST_PULLS
from rigs.models import Line
from tests.api.test_routes import ROUTES, SESSION, world
from tests.security.enumerating import stored
from tests.security.test_object_level import addressed
from tests.security.test_property_level import WRITING, schemas

__all__ = ["schemas", "world"]
LISTS = [route for route, methods in sorted(ROUTES.items()) if "GET" in methods]


def address(route: str, world: dict[str, object]) -> str:
    return addressed(route, world) if "<" in route else f"/api/v1/{route}"


HOSTILE_BODIES = {
    "long": b'{"name": "' + b"x" * (MOST_BYTES + 1) + b'"}',
    "deep": b"[" * 100_000 + b"]" * 100_000,
    "deep objects": b'{"a":' * 5_000 + b"1" + b"}" * 5_000,
    "many members": json.dumps({f"m{number}": number for number in range(100_000)}).encode(),
    "a huge number": b'{"name": ' + b"9" * 50_000 + b"}",
}


@pytest.mark.parametrize("body", HOSTILE_BODIES)
def test_api4_no_address_takes_a_body_without_bounds(body, world, as_owner, as_moderator):
    before = stored()
    for route, method in WRITING:
        client = as_moderator if "decisions" in route or method == "PATCH" else as_owner
        answer = client.generic(
            method, address(route, world), HOSTILE_BODIES[body], "application/json"
        )
        assert answer.status_code in (400, 409, 413, 422), (route, answer.status_code)
        assert len(answer.content) < 2_000_000, route
    assert stored() == before


def test_api4_an_upload_of_too_many_pulls_is_refused_whole(world, as_owner):
    pulls = [{"reading": 80, "failure_mode": "join"}] * (MOST_PULLS + 1)
    sent = {**SESSION, "pull_sets": [{**SESSION["pull_sets"][0], "pulls": pulls}]}
    before = stored()
    answer = as_owner.post("/api/v1/sessions", sent, format="json")
    assert answer.status_code == 413
    assert f"at most {MOST_PULLS}" in answer.json()["detail"]
    assert stored() == before


def test_api4_no_list_gives_more_rows_than_its_longest_page(world, as_moderator):
    Line.objects.bulk_create(
        Line(name=f"line {number}", material="other", accepted=True) for number in range(300)
    )
    lists = 0
    for route in LISTS:
        answer = as_moderator.get(address(route, world))
        found = answer.json() if answer["Content-Type"] == "application/json" else None
        if not isinstance(found, dict) or "results" not in found or "count" not in found:
            continue
        lists += 1
        assert len(found["results"]) <= 50, route
        sign = "&" if "?" in address(route, world) else "?"
        for limit in (0, -1, 201, 10**9, "all"):
            asked = as_moderator.get(f"{address(route, world)}{sign}limit={limit}")
            assert asked.status_code == 422, (route, limit)
    assert lists >= 13
    assert len(as_moderator.get("/api/v1/lines?limit=200").json()["results"]) == 200


def test_api4_every_address_of_the_api_counts_its_requests(settings):
    """No view goes round the limit on requests a minute."""
    api = next(entry for entry in get_resolver().url_patterns if str(entry.pattern) == "api/v1/")
    for pattern in api.url_patterns:
        view = getattr(pattern.callback, "cls", None) or pattern.callback.view_class
        assert [throttle.__name__ for throttle in view.throttle_classes] == ["PerAccount"], pattern
