"""API7 and API10 of 2023: the service asks no address that anybody sends, and no other service.

API7 is server side request forgery, API10 unsafe consumption of APIs. What comes in other formats
than its own, CSV and XLSX, is taken as hostile.
"""

import ast
import copy
import io
import json
import socket
import urllib.request
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from redis import connection as redis_connection

from results.models import Upload
from results.worker import embedded
from tests.api.documents import REVISION
from tests.api.test_routes import ROUTES, SESSION, world
from tests.intake.test_workbooks import XLSX, workbook
from tests.pages.test_rig_pages import browser
from tests.security.enumerating import answered
from tests.security.test_object_level import addressed
from tests.security.test_pages import FORM, address_of, listed
from tests.security.test_property_level import WRITING, objects_in

__all__ = ["address_of", "world"]
ROOT = Path(settings.BASE_DIR)
ASKING = {"requests", "urllib.request", "http.client", "httpx", "aiohttp", "urllib3", "ftplib"}


@pytest.fixture
def tried(monkeypatch) -> list[object]:
    """Every address that the process tries to reach meanwhile; none is reached but Redis."""
    found: list[object] = []
    really = socket.socket.connect

    def connect(self, address):
        if settings.REDIS_URL and address[1] == redis_port():
            return really(self, address)
        found.append(address)
        raise OSError("no way out")

    def resolve(host, *_args, **_more):
        if settings.REDIS_URL and host in ("127.0.0.1", "localhost"):
            return real_names(host, *_args, **_more)
        found.append(host)
        raise socket.gaierror("no names")

    real_names = socket.getaddrinfo
    monkeypatch.setattr(socket.socket, "connect", connect)
    monkeypatch.setattr(socket, "getaddrinfo", resolve)
    return found


def redis_port() -> int:
    return redis_connection.parse_url(settings.REDIS_URL).get("port", 6379)


LURES = [
    "http://169.254.169.254/latest/meta-data/",
    "file:///etc/passwd",
    "//inside.example/x",
    "redis://127.0.0.1:6379/0",
]


def spoilt(document: dict, lure: str) -> Iterator[dict]:
    """The document with each of its texts an address instead, one after the other, and all."""
    whole = copy.deepcopy(document)
    for number, part in enumerate(objects_in(document)):
        for name, value in part.items():
            if isinstance(value, str):
                one = copy.deepcopy(document)
                list(objects_in(one))[number][name] = lure
                list(objects_in(whole))[number][name] = lure
                yield one
    yield whole


def test_api7_the_trap_sees_what_tries_to_get_out(tried):
    with pytest.raises(OSError, match="no names"):
        urllib.request.urlopen("http://inside.example/")
    with pytest.raises(OSError, match="no way out"), socket.socket() as out:
        out.connect(("192.0.2.1", 80))
    assert tried == ["inside.example", ("192.0.2.1", 80)]


@pytest.mark.parametrize("lure", LURES)
def test_api7_no_text_of_any_document_is_taken_for_an_address_to_ask(
    lure, world, tried, as_owner, as_moderator
):
    for route, method in WRITING:
        client = as_moderator if "decisions" in route or method == "PATCH" else as_owner
        address = addressed(route, world) if "<" in route else f"/api/v1/{route}"
        for document in spoilt(ROUTES[route][method][0], lure):
            answered(client, method, address, json.dumps(document), "application/json")
        if "reason=" in address:
            answered(client, method, f"{address}{lure}", json.dumps(SESSION), "application/json")
    embedded.drain()
    assert tried == []


def test_api7_no_query_form_or_header_is_either(world, tried, address_of, owner):
    lure = LURES[0]
    at_home = browser(owner)
    names = ("q", "next", "url", "main", "leader", "unit", "name", "handle", "reason", "file")
    answer = "&".join(f"{name}={lure}" for name in names)
    for route in listed():
        for method, sent in (("GET", ""), ("POST", answer)):
            answered(at_home, method, f"{address_of(route)}?{answer}", sent, FORM)
    for header in ("HTTP_REFERER", "HTTP_ORIGIN", "HTTP_X_FORWARDED_HOST", "HTTP_FORWARDED"):
        at_home.get("/", **{header: lure})
    assert tried == []


def imported_by(path: Path) -> set[str]:
    """Every module that a file imports, and every module that it may import a name from."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{name.name}" for name in node.names)}
    return found


def test_api10_nothing_of_the_service_can_ask_another_one():
    files = [path for part in ("api", "results", "rigs") for path in (ROOT / part).rglob("*.py")]
    assert len(files) > 150
    assert [path for path in files if imported_by(path) & ASKING] == []
    assert imported_by(Path(__file__)) & ASKING  # this file does, so that it would be seen


ENTITY = b"""<?xml version="1.0"?><!DOCTYPE x [<!ENTITY taken SYSTEM "file:///etc/passwd">]>"""


def with_part(body: bytes, name: str, change) -> bytes:
    """A workbook with one part of its zip changed, or added."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(body)) as old, zipfile.ZipFile(out, "w", 8) as new:
        for each in old.namelist():
            new.writestr(each, change(old.read(each)) if each == name else old.read(each))
        if name not in old.namelist():
            new.writestr(name, change(b""))
    return out.getvalue()


WORKBOOKS = {
    "an entity of a file": with_part(
        workbook(),
        "xl/sharedStrings.xml",
        lambda part: ENTITY + part.partition(b"?>")[2].replace(b">set 1<", b">&taken;<"),
    ),
    "entities of entities": with_part(
        workbook(),
        "xl/sharedStrings.xml",
        lambda part: (
            b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
            + b"".join(b'<!ENTITY %c "%s">' % (98 + n, (b"&%c;" % (97 + n)) * 10) for n in range(9))
            + b"]>"
            + part.replace(b">set 1<", b">&j;<")
        ),
    ),
    "a link outside": with_part(
        workbook(),
        "xl/externalLinks/_rels/externalLink1.xml.rels",
        lambda _: (
            b'<Relationships><Relationship Id="rId1" TargetMode="External" '
            b'Target="http://inside.example/book.xlsx"/></Relationships>'
        ),
    ),
    "a way out of the folder": with_part(workbook(), "../../../tmp/taken", lambda _: b"taken"),
}


@pytest.mark.parametrize("kind", WORKBOOKS)
def test_api10_a_hostile_workbook_takes_nothing_and_asks_no_other_machine(
    kind, world, tried, as_owner
):
    for address in ("/api/v1/sessions", "/api/v1/sessions?dry_run=true"):
        answer = as_owner.generic("POST", address, WORKBOOKS[kind], XLSX)
        assert answer.status_code in (200, 202, 400, 422), answer.content
        assert b"root:" not in answer.content
        assert len(answer.content) < 100_000
    assert tried == []
    assert not Path("/tmp/taken").exists()
    assert Upload.objects.exclude(content_type=XLSX).count() == 1


def test_api10_markup_that_is_sent_is_shown_as_text(world, as_owner, owner):
    mark = "<script>alert(1)</script>"
    answer = {"name": mark, "revision": REVISION}
    rig = as_owner.post("/api/v1/rigs", answer, format="json").json()
    page = browser(owner).get(f"/rigs/{rig['id']}/").content.decode()
    assert mark not in page
    assert "&lt;script&gt;alert(1)" in page
