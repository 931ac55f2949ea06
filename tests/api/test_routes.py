"""Who may do what: every address of the API, every method, every sort of person.

An address that is not listed here fails, so that no door opens unseen.
"""

import json
from collections.abc import Iterator

import pytest
from django.db import transaction
from django.urls import URLPattern, get_resolver

from results.jobs.queue import enqueue
from results.models import Connection, Pool, PoolVersion
from results.rounds.entering import enter
from results.rounds.set_up import set_up
from rigs.models import Line
from tests import making, playing
from tests.api.documents import REVISION
from tests.traces import trace

OPEN = (200, 200, 200, 200)
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")

CHANGE = {"made_on": "2026-01-01", "what_changed": "tape", "why": "it slid"}
POINTS = [
    {"mass": f"{mass} kg", "how_known": "certified", "reading": f"{mass} kgf"}
    for mass in (5, 10, 20)
]
NEW_LINE = {"name": "new line", "material": "copolymer"}
NEW_CONNECTION = {"name": "new connection", "kind": "splice"}
SESSION = {
    "rig": "shed winch",
    "revision": 1,
    "pulled_on": "2026-01-11",
    "state": "dry",
    "unit": "N",
    "baselines": [
        {"line": "thin", "pulls": [{"reading": n, "failure_mode": "line"} for n in (99, 98, 101)]}
    ],
    "pull_sets": [
        {
            "label": "a",
            "connection": "Blood",
            "main": {"line": "thin"},
            "leader": {"line": "thick"},
            "pulls": [{"reading": n, "failure_mode": "join"} for n in (80, 83)],
        }
    ],
}

# address: {method: (document, status for a stranger, the owner, another tester, a moderator)}
ROUTES = {
    "": {"GET": (None, *OPEN)},
    "tokens": {"POST": (None, 401, 401, 401, 401)},  # a token does not give a token
    "tokens/current": {"DELETE": (None, 401, 204, 204, 204)},
    "me": {"GET": (None, 401, 200, 200, 200)},
    "me/data": {"GET": (None, 401, 200, 200, 200)},
    "reports": {
        "GET": (None, 401, 403, 403, 200),
        "POST": (
            {"subject_kind": "rig", "subject_id": 10**12, "text": "it names somebody"},
            422,
            422,
            422,
            422,  # there is no rig of this number
        ),
    },
    "clubs": {"GET": (None, *OPEN)},
    "contributors": {"GET": (None, *OPEN)},
    "contributors/<int:pk>": {"GET": (None, *OPEN)},
    "rigs": {
        "GET": (None, *OPEN),
        "POST": ({"name": "new", "revision": REVISION}, 401, 201, 201, 201),
    },
    "rigs/<int:pk>": {"GET": (None, *OPEN)},
    "rigs/<int:pk>/revisions": {
        "GET": (None, *OPEN),
        "POST": (CHANGE, 401, 201, 403, 403),
    },
    "rigs/<int:pk>/watch": {"GET": (None, *OPEN)},
    "rigs/<int:pk>/bridges": {"GET": (None, *OPEN)},
    "revisions/<int:pk>": {"GET": (None, *OPEN)},
    "revisions/<int:pk>/calibrations": {
        "GET": (None, *OPEN),
        "POST": ({"made_on": "2026-01-01", "points": POINTS}, 401, 201, 403, 403),
    },
    "calibrations/<int:pk>": {"GET": (None, *OPEN)},
    "calibrations/<int:pk>/versions": {
        "POST": (
            {"reason": "wrong", "made_on": "2026-01-01", "points": POINTS},
            *(401, 201, 403, 403),
        )
    },
    "calibrations/<int:pk>/voiding": {"POST": ({"reason": "wrong"}, 401, 200, 403, 403)},
    "revisions/<int:pk>/versions": {
        "GET": (None, 401, 200, 403, 200),
        "POST": ({"reason": "wrong", "grip_cover": "bare"}, 401, 200, 403, 403),
    },
    "revisions/<int:pk>/voiding": {
        "POST": ({"reason": "wrong"}, 401, 409, 403, 403)  # a session stands on it
    },
    "lines": {"GET": (None, *OPEN), "POST": (NEW_LINE, 401, 201, 201, 201)},
    "lines/<int:pk>": {
        "GET": (None, 404, 200, 404, 200),  # a proposal of the owner's
        "PATCH": ({"accepted": True}, 401, 403, 404, 200),
    },
    "connections": {"GET": (None, *OPEN), "POST": (NEW_CONNECTION, 401, 201, 201, 201)},
    "connections/<int:pk>": {
        "GET": (None, 404, 200, 404, 200),
        "PATCH": ({"accepted": True}, 401, 403, 404, 200),
    },
    "jobs/<uuid:pk>": {"GET": (None, *OPEN)},
    "sessions": {"GET": (None, *OPEN), "POST": (SESSION, 401, 202, 403, 403)},
    # The session lacks nothing, and neither the other nor the moderator has such a rig.
    "sessions/waiting": {
        "GET": (None, 401, 200, 200, 200),
        "POST": (SESSION, 401, 409, 403, 403),
    },
    "sessions/template.csv": {"GET": (None, *OPEN)},
    "sessions/template.xlsx": {"GET": (None, *OPEN)},
    "sessions/<int:pk>": {"GET": (None, *OPEN)},
    "sessions/<int:pk>/original": {"GET": (None, 401, 200, 403, 200)},
    "sessions/<int:pk>/versions": {"POST": (SESSION, 401, 202, 403, 403)},
    "sessions/<int:pk>/unit-repair": {"POST": ({}, 401, 409, 403, 403)},  # nothing to repair
    "sessions/<int:pk>/withdrawal": {"POST": ({"reason": "the scale stuck"}, 401, 200, 403, 403)},
    "sessions/<int:pk>/straight-lines": {"GET": (None, *OPEN)},
    "pull-sets/<int:pk>/budget": {"GET": (None, 404, 404, 404, 404)},  # not worked out yet
    "open-data": {"GET": (None, *OPEN)},
    "pools": {"GET": (None, *OPEN)},
    "pools/<int:pk>": {"GET": (None, *OPEN)},
    "pools/<int:pk>/comparison": {"GET": (None, 401, 409, 409, 409)},  # too few to compare
    "pools/ranking": {"GET": (None, *OPEN)},
    "pools/<int:pk>/sets": {"GET": (None, *OPEN)},
    "pools/<int:pk>/tester-effects": {"GET": (None, *OPEN)},
    "pools/<int:pk>/versions": {"GET": (None, *OPEN)},
    "pools/<int:pk>/versions/<int:number>/changes": {"GET": (None, *OPEN)},
    "pull-sets/<int:pk>": {"GET": (None, *OPEN)},
    "recordings": {"POST": (trace(80.0), 401, 200, 200, 200)},
    "pull-sets/<int:pk>/traces": {"GET": (None, *OPEN)},
    "pull-sets/<int:pk>/decisions": {
        "POST": ({"decision": "hold", "reason": "a question"}, 401, 403, 403, 201)
    },
    "pull-sets/<int:pk>/checks": {"GET": (None, 401, 200, 403, 200)},
    "pull-sets/<int:pk>/thread": {
        "GET": (None, 401, 200, 403, 200),
        "POST": ({"text": "which spool?"}, 401, 201, 403, 201),
    },
    "pull-sets/<int:pk>/appeals": {
        "POST": ({"text": "look again"}, 401, 409, 403, 403)  # nothing was decided yet
    },
    "notices": {"GET": (None, 401, 200, 200, 200)},
    "notices/read": {"POST": (None, 401, 204, 204, 204)},
    "reviews": {"GET": (None, 401, 403, 403, 200)},
    "reviews/decisions": {
        "POST": (
            {"cases": [{"pull_set": 10**9}], "decision": "hold", "reason": "a question"},
            *(401, 403, 403, 422),  # there is no set of this number
        )
    },
    "reviews/checks": {"GET": (None, 401, 403, 403, 200)},
    "rounds": {"GET": (None, *OPEN), "POST": ({}, 401, 422, 422, 422)},
    "rounds/entries": {"POST": ({"entry_code": "2222-2222"}, 401, 422, 422, 422)},
    "sealed-sessions/<int:pk>": {"DELETE": (None, 401, 404, 404, 404)},
    "rounds/<int:pk>": {"GET": (None, *OPEN)},
    "rounds/<int:pk>/samples": {
        "GET": (None, 401, 200, 200, 200),  # of an open round each sees what they may know
        "PUT": ({}, 401, 422, 422, 422),
    },
    "rounds/<int:pk>/withdrawal": {"POST": (None, 401, 204, 409, 409)},
    "rounds/<int:pk>/opening": {"POST": (None, 401, 409, 403, 403)},
    "rounds/<int:pk>/packing-list": {"POST": (None, 401, 409, 403, 403)},
    "rounds/<int:pk>/participants": {"GET": (None, 401, 200, 403, 403)},
    "rounds/<int:pk>/codes": {"GET": (None, 401, 200, 403, 403)},
    "rounds/<int:pk>/lots": {"GET": (None, 401, 200, 403, 403)},
    "rounds/<int:pk>/lots/<int:number>/pulls": {
        "GET": (None, 401, 200, 403, 403),
        "PUT": (
            {"occasion": "before", "unit": "N", "pieces": [[99.0, 98.0]]},
            *(401, 200, 403, 403),
        ),
    },
    # Being set up, it has no codes yet.
    "rounds/<int:pk>/template.csv": {"GET": (None, 401, 409, 403, 403)},
    "rounds/<int:pk>/template.xlsx": {"GET": (None, 401, 409, 403, 403)},
    "rounds/<int:pk>/sealed": {"GET": (None, 401, 200, 403, 403)},
    "rounds/<int:pk>/deadline": {
        "PUT": ({"results_by": "2027-04-15"}, 401, 409, 403, 403)  # it is not open yet
    },
    "rounds/<int:pk>/closing": {"POST": (None, 401, 409, 403, 409)},
    "rounds/<int:pk>/report": {"GET": (None, 404, 404, 404, 404)},
    "rounds/<int:pk>/my-report": {"GET": (None, 401, 404, 403, 403)},
    "schema": {"GET": (None, *OPEN)},
    "docs": {"GET": (None, *OPEN)},
}

QUERIES = {
    "sessions/<int:pk>/versions": "?reason=pounds%20as%20kilograms",
    "pools/ranking": "?main=copolymer&leader=copolymer",
}


def addresses() -> Iterator[str]:
    """Every address below /api/v1/ but the one that stands for none."""
    for entry in get_resolver().url_patterns:
        if str(entry.pattern) == "api/v1/":
            for pattern in entry.url_patterns:
                assert isinstance(pattern, URLPattern)
                if pattern.name != "nothing":
                    yield str(pattern.pattern)


def test_every_address_is_listed_here():
    assert sorted(addresses()) == sorted(ROUTES)


@pytest.fixture
def world(owner) -> dict[str, object]:
    """What each numbered address points to, all of it the owner's."""
    revision = making.revision_of(owner)
    session = making.session(revision)
    making.straight(session, making.line("thin"))
    lines = making.line("thin"), making.line("thick", label_N=180)
    pull_set = making.joined(session, *lines, [80.0, 84.0])
    making.sent(session)
    pool = Pool.objects.create(
        connection=making.connection(), main_material="copolymer", leader_material="copolymer"
    )
    pool.current = PoolVersion.objects.create(
        pool=pool, number=1, testers=1, sessions=1, sets=1, pulls=2
    )
    pool.save()
    line = Line.objects.create(name="proposed", material="other", proposed_by=owner)
    connection = Connection.objects.create(name="proposed", kind="crimp", proposed_by=owner)
    of_the_club = set_up(playing.join_club(owner), playing.draft())
    enter(owner, of_the_club.entry_code)
    return {
        "rounds": of_the_club.pk,
        "clubs": of_the_club.club_id,
        "sealed-sessions": 10**9,
        "contributors": owner.pk,
        "rigs": revision.rig_id,
        "revisions": revision.pk,
        "calibrations": making.calibrate(revision, gain=1.0, offset_N=0.0).pk,
        "lines": line.pk,
        "connections": connection.pk,
        "jobs": enqueue(session).pk,
        "sessions": session.pk,
        "pools": pool.pk,
        "report": pool.pk,
        "pull-sets": pull_set.pk,
    }


def answered(client, method: str, address: str, document: object) -> int:
    """The status of one request, of which nothing stays."""
    with transaction.atomic():
        body = json.dumps(document or {})
        answer = client.generic(method, address, body, "application/json")
        transaction.set_rollback(True)
    return answer.status_code


@pytest.mark.parametrize("route", sorted(ROUTES))
def test_each_person_may_do_what_is_theirs_and_no_more(
    route, world, as_stranger, as_owner, as_other, as_moderator
):
    people = (as_stranger, as_owner, as_other, as_moderator)
    number = str(world.get(route.partition("/")[0]))
    address = "/api/v1/" + route.replace("<int:pk>", number).replace("<uuid:pk>", number)
    address = address.replace("<int:number>", "1")
    address += QUERIES.get(route, "")
    for method in METHODS:
        document, *expected = ROUTES[route].get(method, (None,))
        found = [answered(person, method, address, document) for person in people]
        if expected:
            assert (method, found) == (method, expected)
        else:
            assert set(found) <= {401, 405}
