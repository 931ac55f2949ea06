"""API3 of 2023, broken object property level authorization.

What the service alone decides can't be sent along, and what is private is in no answer to others.
"""

import copy
import io
import json
import zipfile
from collections.abc import Iterator

import pytest
from django.test import Client
from drf_spectacular.generators import SchemaGenerator

from results.models import Message, PullSet, Upload
from rigs.models import RigRevision
from tests.api.test_routes import ROUTES, world
from tests.pages.test_rig_pages import browser
from tests.security.enumerating import answered, stored
from tests.security.test_object_level import addressed
from tests.security.test_pages import address_of, listed

pytestmark = pytest.mark.usefixtures("planted_past")

__all__ = ["address_of", "world"]
FILES_OF_OTHERS = {"recordings"}
"""What a logger wrote holds whatever its maker likes, and nothing of it is stored."""
WRITING = [
    (route, method)
    for route, methods in sorted(ROUTES.items())
    for method, (document, *_) in methods.items()
    if document and route not in FILES_OF_OTHERS
]
NEVER_SENT = {
    "pk", "owner_id", "user", "user_id", "contributor", "contributor_id", "by", "is_staff",
    "is_superuser", "groups", "password", "moderator", "proposed_by", "accepted_by", "reading_N",
    "efficiency", "fingerprint", "standing_reason", "decided_by", "screening", "level",
}  # fmt: skip


def objects_in(document: object) -> Iterator[dict]:
    """Every object of a document, the outermost first."""
    if isinstance(document, dict):
        yield document
    for part in document.values() if isinstance(document, dict) else document:
        if isinstance(part, dict | list):
            yield from objects_in(part)


@pytest.fixture(scope="module")
def schemas() -> dict:
    return SchemaGenerator().get_schema(public=True)["components"]["schemas"]


def decided_here(schemas: dict) -> set[str]:
    """Every member that some answer shows as the service's own, and columns that none shows."""
    shown = {
        name
        for schema in schemas.values()
        for name, answer in schema.get("properties", {}).items()
        if answer.get("readOnly")
    }
    assert {"id", "url", "owner", "created_at"} <= shown
    return shown | NEVER_SENT


def members_anywhere(schemas: dict) -> set[str]:
    """What some document that is sent may hold, which can't be told from a nested one's name."""
    sent = [schema for name, schema in schemas.items() if name.endswith("Request")]
    return {name for schema in sent for name in schema.get("properties", {})}


@pytest.mark.parametrize(("route", "method"), WRITING)
def test_api3_what_the_service_decides_is_refused_in_every_part_of_every_document(
    route, method, world, schemas, as_owner, as_moderator
):
    client = as_moderator if ROUTES[route][method][2] == 403 else as_owner
    client = as_owner if "appeals" in route else client
    whole = ROUTES[route][method][0]
    before = stored()
    for place, part in enumerate(objects_in(whole)):
        names = decided_here(schemas) - set(part) - members_anywhere(schemas)
        names -= {"tyer", "place", "label", "position"} if "session" in route else set()
        assert len(names) > 10
        spoilt = copy.deepcopy(whole)
        where = next(found for number, found in enumerate(objects_in(spoilt)) if number == place)
        where |= dict.fromkeys(names, 1)
        address = addressed(route, world) if "<" in route else f"/api/v1/{route}"
        answer = client.generic(method, address, json.dumps(spoilt), "application/json")
        assert answer.status_code == 422, answer.content
        shown = answer.content.decode()
        assert [name for name in names if f'"{name}"' not in shown and name not in shown] == []
    assert stored() == before


PLACE = "behind the old net loft"
QUESTION = "did the second scale stick?"
MAIL = "owner-of-the-winch@example.org"
NAME = "sign-in-name-of-the-owner"
SECRET_UPLOAD = "as it was sent, with a private note"


@pytest.fixture
def private(world, owner) -> list[str]:
    """What only the owner and moderators may read, planted where it is kept."""
    owner.user.email, owner.user.username = MAIL, NAME
    owner.user.save()
    RigRevision.objects.update(place=PLACE, latitude_deg=55.123456)
    pull_set = PullSet.objects.get()
    Message.objects.create(pull_set=pull_set, by=owner.user, kind="question", text=QUESTION)
    Upload.objects.update(body=SECRET_UPLOAD.encode())
    return [PLACE, "55.123456", QUESTION, MAIL, NAME, SECRET_UPLOAD]


def read_by(client, world, address_of) -> str:
    """Everything that the API and the pages show to this client."""
    addresses = [
        addressed(route, world) if "<" in route else f"/api/v1/{route}" for route in ROUTES
    ]
    addresses += [address_of(route) for route in listed() if route != "sign-out/"]
    return "\n".join(words_of(answered(client, "GET", address)) for address in addresses)


def words_of(answer) -> str:
    """What an answer says; of an archive what all its files say."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if answer.headers.get("Content-Type") == "application/zip":
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            body = b"".join(map(archive.read, archive.namelist()))
    return body.decode(errors="replace")


def test_api3_what_is_private_is_in_no_answer_to_others(
    world, private, address_of, as_stranger, as_owner, as_other, owner, other
):
    for client in (as_stranger, as_other, Client(), browser(other)):
        shown = read_by(client, world, address_of)
        assert len(shown) > 10_000
        assert [value for value in private if value in shown] == []
    own = read_by(as_owner, world, address_of) + read_by(browser(owner), world, address_of)
    assert [value for value in private if value not in own] in ([], [NAME], [MAIL, NAME])
