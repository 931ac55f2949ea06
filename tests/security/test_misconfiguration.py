"""API8 of 2023, security misconfiguration: what answers give away, and whom they let ask.

Headers are in `test_answers.py`, keys and production settings in `test_settings.py`, what a
browser refuses in `tests/browser/test_policy.py`.
"""

import pytest
from django.conf import settings
from django.test import Client

from tests.api.test_routes import ROUTES, world
from tests.pages.test_rig_pages import browser
from tests.security.enumerating import answered
from tests.security.test_object_level import addressed
from tests.security.test_pages import address_of, listed

__all__ = ["address_of", "world"]
TOLD = "the-password-of-the-database"


@pytest.fixture
def addresses(world, address_of) -> list[str]:
    """Every address of the API and of the pages."""
    api = [addressed(route, world) if "<" in route else f"/api/v1/{route}" for route in ROUTES]
    return api + [address_of(route) for route in listed()]


def test_api8_debugging_is_off_unless_asked_for():
    assert settings.DEBUG is False
    assert "SAMESPOOL_DEBUG" not in (settings.BASE_DIR / "deploy/compose.yaml").read_text()


@pytest.mark.parametrize(
    ("address", "form"), [("/api/v1/pools/1", "application/problem+json"), ("/", "text/html")]
)
def test_api8_what_fails_shows_no_trace_and_no_setting(address, form, world, monkeypatch):
    def broken(*_given, **_named):
        raise RuntimeError(TOLD)

    client = Client(raise_request_exception=False)
    monkeypatch.setattr("django.db.models.query.QuerySet._fetch_all", broken)
    answer = client.get(address)
    assert answer.status_code == 500
    assert answer["Content-Type"].startswith(form)
    for secret in (TOLD, "Traceback", "RuntimeError", "site-packages", ".py"):
        assert secret not in answer.content.decode()


def test_api8_no_other_site_may_read_an_answer(addresses, owner):
    at_home = browser(owner)
    for address in addresses:
        for method in ("GET", "OPTIONS"):
            answer = answered_from_elsewhere(at_home, method, address)
            shown = [name.lower() for name in answer.headers]
            assert not [name for name in shown if name.startswith("access-control")], address


def answered_from_elsewhere(client: Client, method: str, address: str):
    client.defaults["HTTP_ORIGIN"] = "https://elsewhere.example"
    return answered(client, method, address)


def test_api8_no_one_sends_a_form_for_somebody_else(addresses, owner):
    """Without the token of a page no request by cookie changes anything."""
    client = Client(enforce_csrf_checks=True)
    client.cookies["sessionid"] = browser(owner).cookies["sessionid"].value
    for address in set(addresses) - {"/healthz", "/readyz", "/metrics"}:
        answer = answered(client, "POST", address, "", "application/x-www-form-urlencoded")
        assert answer.status_code in (401, 403, 404, 405), (address, answer.status_code)


@pytest.mark.parametrize("method", ["TRACE", "TRACK", "CONNECT", "PROPFIND", "FOO"])
def test_api8_methods_that_no_one_needs_are_refused_everywhere(method, addresses):
    # Probes, and the page that tells of a wrong link, answer every method alike.
    alike = {"/healthz", "/readyz", "/metrics", "/account/password/forgotten/1-none/"}
    for address in set(addresses) - alike:
        status = answered(Client(), method, address).status_code
        assert status in (302, 401, 403, 404, 405, 409), (address, status)


@pytest.mark.parametrize("host", ["elsewhere.example", "testserver.elsewhere.example", "[::2]"])
def test_api8_another_name_of_the_service_is_refused(host, db):
    for address in ("/", "/api/v1/pools", "/sign-in/"):
        answer = Client(HTTP_HOST=host).get(address)
        assert answer.status_code == 400
        assert host not in answer.content.decode()
