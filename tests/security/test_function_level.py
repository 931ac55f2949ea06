"""API5 of 2023, broken function level authorization: what moderators and administrators do."""

import json

import pytest
from django.test import Client

from tests.api.test_routes import ROUTES, world
from tests.pages.test_rig_pages import browser
from tests.security.enumerating import stored
from tests.security.test_answers import DESK, admin_addresses
from tests.security.test_object_level import addressed

__all__ = ["world"]
# By the table of all routes: a moderator may, and neither the owner nor another tester.
OF_MODERATORS = {
    (route, method)
    for route, methods in ROUTES.items()
    for method, (_, _, owner, other, moderator) in methods.items()
    if moderator < 300 and owner == 403 and other >= 400
}
MODERATING = {
    ("lines/<int:pk>", "PATCH"),
    ("connections/<int:pk>", "PATCH"),
    ("pull-sets/<int:pk>/decisions", "POST"),
    ("reports", "GET"),
    ("reviews", "GET"),
    ("reviews/checks", "GET"),
}


def test_api5_what_is_the_moderators_alone_is_this_and_no_more():
    assert OF_MODERATORS == MODERATING


@pytest.mark.parametrize(("route", "method"), sorted(MODERATING))
def test_api5_no_other_spelling_of_address_or_method_opens_it(route, method, world, as_owner):
    address = addressed(route, world) if "<" in route else f"/api/v1/{route}"
    body = json.dumps(ROUTES[route][method][0] or {})
    overriding = {"HTTP_X_HTTP_METHOD_OVERRIDE": method, "HTTP_X_ORIGINAL_URL": address}
    before = stored()
    more = ("", "/", "%2f", ";a", ".json")
    for spelt in (address.upper(), "/" + address, *(address + ending for ending in more)):
        for way in (method, "GET", "POST", "PUT", "PATCH"):
            answer = as_owner.generic(way, spelt, body, "application/json", **overriding)
            own = way == "GET" and spelt == address and "<" in route
            assert answer.status_code >= 400 or own, (way, spelt)
    assert stored() == before


@pytest.mark.parametrize("who", ["stranger", "owner", "other", "moderator"])
def test_api5_only_an_administrator_changes_anything_in_the_admin(who, request, world, db):
    client = Client() if who == "stranger" else browser(request.getfixturevalue(who))
    before = stored()
    for address in admin_addresses():
        if "logout" in address:
            continue
        answer = client.post(address, {"post": "yes", "action": "delete_selected"})
        shown = who == "moderator" and address in DESK  # a page again, with nothing changed
        assert answer.status_code in ((200,) if shown else ()) + (302, 403, 404, 405), address
    assert stored().keys() == before.keys()
    changed = [table for table, rows in stored().items() if rows != before[table]]
    assert changed in ([], ["auth.User"])  # signing in is written down


def test_api5_an_account_does_not_make_itself_a_moderator(owner, as_owner):
    browser(owner).post(
        "/account/", {"handle": "owner", "is_staff": "on", "groups": "1", "moderator": "on"}
    )
    owner.user.refresh_from_db()
    assert not owner.user.is_staff
    assert as_owner.get("/api/v1/me").json()["moderator"] is False
