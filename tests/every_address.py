"""Every address that can be read, with numbers of what is stored, asked as each kind of person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from django.contrib import admin
from django.contrib.auth.models import User
from django.db.models import Model, QuerySet
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse

from results import models
from rigs import models as rigs
from rigs.admin import ReadOnly
from tests.api import test_routes
from tests.security.enumerating import page_addresses

NUMBERED: dict[str, type[Model]] = {
    "calibrations": rigs.Calibration,
    "clubs": rigs.Club,
    "connections": models.Connection,
    "contributors": rigs.Contributor,
    "jobs": models.Job,
    "lines": rigs.Line,
    "pools": models.Pool,
    "feeds/pools": models.Pool,
    "feeds/connections": models.Connection,
    "feeds/contributors": rigs.Contributor,
    "feeds/rounds": models.Round,
    "pull-sets": models.PullSet,
    "revisions": rigs.RigRevision,
    "rigs": rigs.Rig,
    "rounds": models.Round,
    "rounds/sealed": models.SealedSession,
    "sealed-sessions": models.SealedSession,
    "sessions": models.Session,
    "watch/straight": models.Baseline,
    "watch/joins": models.PullSet,
    "bench/sets": models.PullSet,
    "report/pull-set": models.PullSet,
}
BY_SECRET = ("<str:key>", "<uuid:key>", "<str:digest>")
"""What only its owner's mail or bench names: not an address to walk to."""
NAMES = {
    "<slug:kind>": "not-signed-in",
    "<str:name>": "pulls.csv",
    "<str:subject>": "pull-set",
}
"""Values for the parameters of an address."""
Numbers = dict[str, list[str]]
Address = tuple[str, str]
"""A route as its pattern is written, and an address of it."""


def numbers(at_most: int) -> Numbers:
    """Of each kind that addresses name, some that are stored: first, last and between."""
    return {kind: _spread(model._base_manager.all(), at_most) for kind, model in NUMBERED.items()}


def _spread(rows: QuerySet[Model], at_most: int) -> list[str]:
    found = [str(pk) for pk in rows.order_by("pk").values_list("pk", flat=True)]
    if len(found) <= at_most:
        return found
    return [found[at * (len(found) - 1) // max(at_most - 1, 1)] for at in range(at_most)]


def readable(of: Numbers) -> Iterator[Address]:
    """Every address of the API and of the pages, for each of these numbers."""
    for route in test_routes.addresses():
        for address in _filled(route, of):
            yield f"api/v1/{route}", f"/api/v1/{address}{test_routes.QUERIES.get(route, '')}"
    for route in page_addresses():
        for address in _filled(route, of):
            query = _LINE_PAIR if route.startswith(("compare/", "feeds/line-pair")) else ""
            yield route, f"/{address}{query}"


_LINE_PAIR = "?main=nylon+monofilament&leader=nylon+monofilament"


def _filled(route: str, of: Numbers) -> Iterator[str]:
    if any(part in route for part in BY_SECRET):
        return
    if route.startswith("follow/"):
        yield "follow/everything/0/"
        return
    route = route.replace("open-data/traces/<str:name>", "open-data/traces/SHA256SUMS.txt")
    for name, value in NAMES.items():
        route = route.replace(name, value)
    if "<path:handle>" in route:
        for handle in _spread_handles(of):
            yield route.replace("<path:handle>", handle)
        return
    kinds = [kind for kind in of if route.startswith(f"{kind}/")]
    if "<int:pk>" not in route and "<uuid:pk>" not in route:
        yield route.replace("<int:number>", "1")
        return
    assert kinds, f"{route}: no kind of what is stored is known for it; add it to NUMBERED"
    for number in of[max(kinds, key=len)]:
        filled = route.replace("<int:pk>", number).replace("<uuid:pk>", number)
        yield filled.replace("<int:number>", "1")


def _spread_handles(of: Numbers) -> list[str]:
    people = rigs.Contributor.objects.filter(pk__in=of["contributors"])
    return list(people.values_list("handle", flat=True))


def administrations() -> Iterator[Address]:
    """The list of every table of the administration, one row of each, and the form for another."""
    for model, shown_by in admin.site._registry.items():
        place = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        yield place, reverse(f"{place}_changelist")
        newest = model._base_manager.order_by("-pk").first()
        if newest is not None:
            yield f"{place}:one", reverse(f"{place}_change", args=[newest.pk])
        if not isinstance(shown_by, ReadOnly):
            yield f"{place}:add", reverse(f"{place}_add")
    yield "admin:index", "/admin/"
    yield "admin:standing", "/admin/standing/"


def client_of(user: User | None) -> Client:
    """A browser that is signed in as this person, or a stranger's; it raises nothing."""
    client = Client(raise_request_exception=False)
    if user is not None:
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def body_of(answer: HttpResponseBase) -> bytes:
    if answer.streaming:
        return b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    return bytes(answer.content)  # type: ignore[attr-defined]


def broken(clients: Iterable[Client], addresses: Sequence[Address]) -> list[str]:
    """The addresses that answer with a failure of the service, and its status."""
    found = []
    for client in clients:
        for _route, address in addresses:
            status = client.get(address).status_code
            if status >= 500 and address not in MAY_BE_UNREADY:
                found.append(f"{address}: {status}")
    return sorted(set(found))


MAY_BE_UNREADY = ("/readyz",)
"""Says 503 where something lags, which in a test may be so."""
