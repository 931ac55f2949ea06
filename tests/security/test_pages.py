"""API1 and API5 of 2023 for pages: every address, four sorts of person, reading and sending.

An address that is not listed here fails, so that no door opens unseen. What the small world has
nothing to show of (a pool's drawings, open data) is missing for everybody alike.
"""

import json

import pytest
from django.test import Client
from knox.models import AuthToken

from results.models import WaitingSession, WaitingUpload
from tests.api.test_routes import world
from tests.intake.conftest import RIGHT
from tests.pages.test_rig_pages import browser
from tests.security.enumerating import answered, page_addresses

__all__ = ["world"]
SESSION = {
    **RIGHT,
    "pull_sets": [{**RIGHT["pull_sets"][0], "connection": "Blood", "parameters": {}}],
}
FORM = "application/x-www-form-urlencoded"
SHOWN, MISSING, NOT_SO = (200, 200, 200, 200), (404, 404, 404, 404), (405, 405, 405, 405)
LED_ON = (302, 302, 302, 302)
SIGNED_IN = (302, 200, 200, 200)
DRAWN = (".svg", "-dark.svg", ".png")

# Statuses for a stranger, the owner, another tester, a moderator: of GET, and of an empty form.
PAGES = {
    (SHOWN, NOT_SO): """
        problems/<slug:kind> account/inactive/ account/mail/sent/ account/password/forgotten/
        account/password/forgotten/sent/ account/password/forgotten/done/ pull-sets/<int:pk>/ about/
        privacy/ cautions/ search/ pools/<int:pk>/ pools/<int:pk>/versions/<int:number>/
        pools/<int:pk>/card.png card.png pools/<int:pk>/embedded/
        pools/<int:pk>/versions/<int:number>/embedded/
        pools/<int:pk>/versions/<int:number>/card.png open-data/ rigs/ wanted/
        open-data/traces/ rounds/
        rounds/<int:pk>/ clubs/<int:pk>/ feeds/rounds/<int:pk>.atom
        rigs/<int:pk>/ bench-sheet/ at-the-rig/worker.js
        jobs/<uuid:pk>/ contributors/<path:handle>/ pools/<int:pk>/history*
        calibrations/<int:pk>/residuals* feeds/pools.atom feeds/pools/<int:pk>.atom
        feeds/contributors/<int:pk>.atom
        """,
    (MISSING, NOT_SO): """
        compare/ open-data/latest/ open-data/latest/<str:name>
        open-data/<int:number>/ open-data/<int:number>/<str:name> open-data/traces/<str:name>
        pools/<int:pk>/forest*
        pools/<int:pk>/pulls* pools/<int:pk>/left-out* compare/joins* watch/straight/<int:pk>*
        watch/joins/<int:pk>* feeds/line-pair.atom rounds/<int:pk>/report/
        """,
    (SHOWN, SHOWN): "healthz readyz metrics account/password/forgotten/<base36:uidb36>-<str:key>/",
    (MISSING, MISSING): "following/end/<uuid:key>/",
    (SHOWN, MISSING): "account/mail/confirm/<str:key>/",
    (LED_ON, NOT_SO): "measures/ favicon.ico",
    # For whoever is not signed in, or only half.
    ((200, 302, 302, 302), (200, 302, 302, 302)): "sign-in/ sign-up/",
    (LED_ON, LED_ON): """
        clubs/invitation/<str:key>/
        sign-in/second-factor/ account/password/ account/join/ recordings/<uuid:key>/
        """,
    # For whoever is signed in: what they see is their own.
    (SIGNED_IN, NOT_SO): "bench/ bench/tying/ at-the-rig/",
    (SIGNED_IN, LED_ON): "sign-out/ account/mail/",
    (SIGNED_IN, SIGNED_IN): "account/ account/password/set/",
    (SIGNED_IN, (302, 405, 405, 405)): "account/second-factor/",
    (SIGNED_IN, (302, 422, 422, 422)): """
        rigs/register/ upload/ recordings/ account/close/ following/
        rounds/set-up/
        """,
    (NOT_SO, SIGNED_IN): "account/tokens/ account/data/",
    (SHOWN, (302, 302, 302, 302)): "follow/<str:subject>/<int:number>/",
    (SHOWN, (422, 422, 422, 422)): "report/<str:subject>/<int:pk>/",
    (NOT_SO, LED_ON): "bench/notices/read/ account/licence/ clubs/leave/",
    (NOT_SO, (302, 422, 422, 422)): "rounds/enter/",
    (LED_ON, (302, 422, 422, 422)): "wanted/vote/",
    # The owner's round is being set up: `tests/pages/test_rounds.py` goes on from there.
    ((302, 404, 404, 404), NOT_SO): """
        rounds/codes/<str:code>/ rounds/<int:pk>/sheet/ rounds/<int:pk>/report/mine/
        """,
    ((302, 200, 404, 404), (302, 422, 404, 404)): """
        rounds/<int:pk>/change/ rounds/<int:pk>/lots/<int:number>/
        """,
    ((302, 200, 404, 404), (302, 409, 404, 404)): "rounds/<int:pk>/close/",
    (NOT_SO, (302, 302, 404, 404)): """
        sessions/<int:pk>/withdraw/ sessions/<int:pk>/resolution/ sessions/<int:pk>/unit/
        account/tokens/<str:digest>/end/ upload/waiting/<uuid:key>/delete/
        rounds/<int:pk>/leave/ rounds/<int:pk>/open/
        """,
    (NOT_SO, (302, 404, 404, 404)): "rounds/sealed/<int:pk>/take-back/",
    (LED_ON, (302, 409, 403, 403)): "rounds/<int:pk>/labels/",
    # For administrators, and for those who give their password once more: these have none.
    ((302, 403, 403, 403), (302, 403, 403, 403)): """
        admin/people/ account/again/ account/again/second-factor/ account/second-factor/set-up/
        account/second-factor/codes/new/
        """,
    ((302, 404, 404, 404), (302, 404, 404, 404)): """
        account/second-factor/end/ account/second-factor/codes/download/
        """,
    ((302, 404, 404, 404), (302, 405, 405, 405)): "account/second-factor/codes/",
    # For the owner of what the address names, and for moderators where they have to see it.
    ((404, 200, 404, 200), NOT_SO): """
        connections/<int:pk>/ lines/<int:pk>/ feeds/connections/<int:pk>.atom
        """,
    ((302, 200, 403, 403), (302, 422, 403, 403)): """
        rigs/<int:pk>/change/ revisions/<int:pk>/calibrate/ revisions/<int:pk>/correct/
        revisions/<int:pk>/void/ calibrations/<int:pk>/correct/ calibrations/<int:pk>/void/
        """,
    (NOT_SO, (302, 302, 404, 302)): "bench/sets/<int:pk>/say/",
    (NOT_SO, (302, 302, 409, 409)): "upload/<uuid:key>/store/",
    # The file that was checked lacks nothing of the catalogue.
    (NOT_SO, (302, 409, 409, 409)): "upload/<uuid:key>/propose/",
    ((302, 200, 404, 200), NOT_SO): "sessions/<int:pk>/ upload/waiting/<uuid:key>/",
}


def listed() -> dict[str, tuple]:
    """The statuses of each address; a star stands for the three forms of a drawing."""
    found: dict[str, tuple] = {"": (SHOWN, NOT_SO)}
    for statuses, routes in PAGES.items():
        for route in routes.split():
            for form in DRAWN if route.endswith("*") else ("",):
                found[route.rstrip("*") + form] = statuses
    return found


def test_every_page_is_listed_here():
    assert sorted(page_addresses()) == sorted(listed())


@pytest.fixture
def address_of(world, owner):
    """Fills an address: whatever it names is the owner's."""
    waiting = WaitingUpload.objects.create(
        contributor=owner, content_type="application/json", body=json.dumps(SESSION).encode()
    )
    WaitingSession.objects.create(key=waiting.key, contributor=owner, body=waiting.body)
    named = {
        "<str:digest>": AuthToken.objects.create(owner.user)[0].digest,
        "<uuid:key>": str(waiting.key),
        "<path:handle>": "owner",
        "<slug:kind>": "not-signed-in",
        "<str:subject>": "pool",
        "<int:number>": "1",
        "<str:name>": "pulls.csv",
        "<base36:uidb36>": "1",
        "<str:key>": "none",
    }

    def fill(route: str) -> str:
        parts = route.removeprefix("feeds/").split("/", maxsplit=1)
        kind = "pull-sets" if route.startswith("bench/sets") else parts[0]
        number = str(world.get(kind, 1))
        if kind == "follow":
            route = route.replace("<int:number>", str(world["pools"]))
        for part, value in named.items():
            route = route.replace(part, value)
        return "/" + route.replace("<int:pk>", number).replace("<uuid:pk>", number)

    return fill


def test_each_person_opens_what_is_theirs_and_no_more(address_of, owner, other, moderator):
    cookies = [browser(person).cookies["sessionid"].value for person in (owner, other, moderator)]

    def statuses(route: str, method: str) -> tuple[int, ...]:
        found = []
        for cookie in ("", *cookies):
            client = Client()
            client.cookies["sessionid"] = cookie
            answer = answered(client, method, address_of(route), "", FORM)
            found.append(answer.status_code)
        return tuple(found)

    wrong = {
        (method, route): (found, expected)
        for route, both in listed().items()
        for method, expected in zip(("GET", "POST"), both, strict=True)
        if (found := statuses(route, method)) != expected
    }
    assert wrong == {}
