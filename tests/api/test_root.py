"""The root of the API leads to everything that takes no id, and every answer says what works."""

from django.urls import resolve

from tests.api.test_routes import METHODS, ROUTES, answered, world

__all__ = ["world"]


def test_the_root_links_to_every_address_that_takes_no_id(as_stranger):
    links = as_stranger.get("/api/v1/").json()
    links.pop("templates")

    addresses = [link.partition("?")[0] for link in links.values()]
    named = {address.removeprefix("http://testserver/api/v1/") for address in addresses}
    assert named == {route for route in ROUTES if route and "<" not in route}


def test_each_method_that_allow_lists_is_taken_and_no_other(world, as_owner, settings):
    """OPTIONS and HEAD included: what an address names it answers."""
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 100_000
    for route in ROUTES:
        number = str(world.get(route.partition("/")[0]))
        address = "/api/v1/" + route.replace("<int:pk>", number).replace("<uuid:pk>", number)
        address = address.replace("<int:number>", "1")
        asked = as_owner.options(address)
        assert asked.status_code in (200, 401, 403), (route, asked.status_code)
        allowed = set(asked["Allow"].split(", "))
        for method in {*METHODS, "HEAD", "OPTIONS"}:
            status = answered(as_owner, method, address, None)
            taken = method in allowed
            assert status != 429, (route, method)
            # Without a name and a password the address of tokens answers nothing else.
            assert status != 405 if taken else status in (405, 401), (route, method, status)


def test_options_says_where_an_address_is_described(as_stranger):
    asked = as_stranger.options("/api/v1/rigs").json()

    assert asked["methods"] == ["GET", "POST", "HEAD", "OPTIONS"]
    for member in ("schema", "docs"):
        assert resolve(asked[member].removeprefix("http://testserver")).url_name == member
