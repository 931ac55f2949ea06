"""Nothing that anyone can send takes more than its share: twice the bytes, about twice the time.

Each case is a way to make an input of size n, one line to add. It is doubled until it takes long
enough to measure or is as large as anybody may send it, and then once more. CPU time is compared,
the least of five. On a busy machine caches are shared and CPU time grows too, so what looks too
slow is measured again: a quadratic step shows as 4 every time, a neighbour doesn't.
"""

import io
import json
import math
import time
import zipfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

import pytest
from django.contrib.auth.models import User
from django.test import Client

from results import intake
from results.intake.limits import MOST_BYTES, MOST_PULLS, MOST_PULLS_OF_A_SET
from results.intake.marking import marked
from rigs.metrology import units
from rigs.metrology.errors import MetrologyError
from rigs.refusals import Finding, Refused
from tests.intake.conftest import HEADER, RIGHT, ROWS, bench

__all__ = ["bench"]
MOST_GROWTH = 2.5
MEASURABLE_S = 0.02
TRIES = 5
MEASURED_AGAIN = 3
LONGEST_QUERY = 32 * 1024
LONGEST_DOCUMENT = 1024 * 1024

CSV, XLSX, JSON = intake.CSV, intake.XLSX, intake.JSON
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
PARTS = {
    "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/'
    'content-types"/>',
    "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/'
    'relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/'
    '2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="http://schemas.openxmlformats.org/'
    'officeDocument/2006/relationships"><sheets><sheet name="one" sheetId="1" r:id="rId1"/>'
    "</sheets></workbook>",
    "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/'
    '2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/'
    'officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
}


def workbook(rows: str, shared: str = "") -> bytes:
    """A workbook of one sheet with these rows, as XML; ``shared`` are its texts, as XML."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
        for name, text in PARTS.items():
            book.writestr(name, text)
        sheet = f'<worksheet xmlns="{MAIN}"><sheetData>{rows}</sheetData></worksheet>'
        book.writestr("xl/worksheets/sheet1.xml", sheet)
        book.writestr("xl/sharedStrings.xml", f'<sst xmlns="{MAIN}">{shared}</sst>')
    return out.getvalue()


def rows(number: int, cells: str) -> str:
    return f"<row>{cells}</row>" * number


def sheet(*lines: str) -> bytes:
    return "\n".join(lines).encode()


def pulled(readings: int, cell: str = "15.2", mode: str = "join") -> bytes:
    """A sheet with a set of so many readings."""
    more = [f",,,,,,joined,set 1,,,,,,,,,,,,{cell},{mode}," for _ in range(readings)]
    return sheet(HEADER, *ROWS, *more)


def document(**changed: object) -> bytes:
    return json.dumps({**RIGHT, **changed}).encode()


def of_sets(number: int, pulls: int = 3, **changed: object) -> bytes:
    """A document of so many sets of so many pulls, every second of them at the grip."""
    ended = [{"reading": 15 + at % 7, "failure_mode": ("join", "grip")[at % 2]} for at in range(60)]
    one = {**RIGHT["pull_sets"][0], "pulls": [ended[at % 60] for at in range(pulls)], **changed}
    return document(pull_sets=[{**one, "label": f"set {at}"} for at in range(number)])


UPLOADS: dict[str, tuple[str, Callable[[int], bytes]]] = {
    "a heading of blanks in brackets never closed": (CSV, lambda n: sheet(f"a{' ' * n}b(", *ROWS)),
    "a heading of brackets": (CSV, lambda n: sheet("(" * n + "[" * n, *ROWS)),
    "many headings": (CSV, lambda n: sheet(HEADER + ",failure moed" * n, *ROWS)),
    "a cell of signs of a formula": (CSV, lambda n: pulled(1, "+" * n)),
    "a cell of digits": (CSV, lambda n: pulled(1, "9" * n)),
    "a cell of blanks between digits": (CSV, lambda n: pulled(1, f'"1{" " * n}1"')),
    "a cell of apostrophes": (CSV, lambda n: pulled(1, "'" * n)),
    "a quote never closed": (CSV, lambda n: sheet(HEADER, *ROWS, '"' + "\n" * n)),
    "a cell of parameters": (CSV, lambda n: sheet(HEADER, *ROWS).replace(b"main=6", b"a=1;" * n)),
    "parameters one cell each": (
        CSV,
        lambda n: sheet(
            HEADER, *ROWS, *(f",,,,,,joined,s{at},J,,,,,,,a=1;{at}=2,,,,1,join," for at in range(n))
        ),
    ),
    "rows of nothing known": (CSV, lambda n: sheet(HEADER, *["x," * 20] * n)),
    "lines of separators": (CSV, lambda n: sheet(HEADER, *ROWS, *[",;\t" * 30] * n)),
    "blank lines": (CSV, lambda n: sheet(HEADER, *[""] * n, *ROWS)),
    "letters that unfold": (CSV, lambda n: sheet(HEADER, *ROWS, ",,,,,," + "\ufdfa" * n)),
    "sixteen bits a letter": (CSV, lambda n: sheet(HEADER, *ROWS * n).decode().encode("utf-16")),
    "pulls of a sheet": (CSV, pulled),
    "pulls of a sheet, all wrong": (CSV, lambda n: pulled(n, "x", "y")),
    "a comment of cells": (XLSX, lambda n: workbook(f"<!--{'<c ' * n}-->")),
    "attributes of a cell": (
        XLSX,
        lambda n: workbook("<row><c " + "".join(f'a{at}="" ' for at in range(n)) + "/></row>"),
    ),
    "a long cell": (XLSX, lambda n: workbook(rows(1, f'<c t="str"><v>{"x" * n}</v></c>'))),
    "a cell of entities": (XLSX, lambda n: workbook(rows(1, f"<c><v>{'&amp;' * n}</v></c>"))),
    "many cells": (XLSX, lambda n: workbook(rows(n, "<c><v>1</v></c>" * 40))),
    "rows of one cell": (XLSX, lambda n: workbook(rows(n, "<c><v>1</v></c>"))),
    "one text for many cells": (
        XLSX,
        lambda n: workbook(
            rows(n, '<c t="s"><v>0</v></c>' * 40), f"<si><t>{'x' * min(n, 3999)}</t></si>"
        ),
    ),
    "shared texts": (XLSX, lambda n: workbook(rows(1, "<c/>"), "<si><t>x</t></si>" * n)),
    "formulas": (XLSX, lambda n: workbook(rows(n, "<c><f>1</f></c>"))),
    "tags in tags": (XLSX, lambda n: workbook("<a>" * n + "</a>" * n)),
    "blanks between tags": (XLSX, lambda n: workbook(" " * n)),
    "arrays in arrays": (JSON, lambda n: b"[" * n + b"]" * n),
    "objects in objects": (JSON, lambda n: b'{"rig":' * n + b"1" + b"}" * n),
    "a number of digits": (JSON, lambda n: b'{"revision": ' + b"9" * n + b"}"),
    "a fraction of digits": (JSON, lambda n: b'{"temperature_C": 0.' + b"9" * n + b"}"),
    "a long name": (JSON, lambda n: document(rig="x" * n)),
    "a long unit": (JSON, lambda n: document(unit="l" * n)),
    "unknown members": (JSON, lambda n: document(**{f"puled_{at}": at for at in range(n)})),
    "one member many times": (JSON, lambda n: b'{"rig": "a", ' + b'"rig": "a", ' * n + b'"b": 1}'),
    "unknown parameters": (
        JSON,
        lambda n: of_sets(1, parameters={f"turns_{at}": at for at in range(n)}),
    ),
    "a set that ended at the grip": (JSON, lambda n: of_sets(1, min(n, 2 * MOST_PULLS_OF_A_SET))),
    "many sets": (JSON, of_sets),
    "many sets of nothing": (JSON, lambda n: of_sets(n, 0)),
    "baselines of lines unknown": (
        JSON,
        lambda n: document(baselines=[{"line": f"thim{at}", "pulls": []} for at in range(n)]),
    ),
    "joins unknown": (JSON, lambda n: of_sets(n, connection="Duoble uni")),
}

TEXTS: dict[str, tuple[Callable[[str], object], Callable[[int], str]]] = {
    "a force with blanks before its unit": (units.parse_force, lambda n: f"1{' ' * n}!"),
    "a force of digits": (units.parse_force, lambda n: "1" * n + "!"),
    "a mass with blanks on either side": (units.parse_mass, lambda n: " " * n + "5" + " " * n),
    "a volume of points": (units.parse_volume, lambda n: "1" + "." * n),
    "a unit of points": (units.force_unit, lambda n: "." * n + "x"),
}

REQUESTS: dict[str, tuple[str, Callable[[int], str]]] = {
    "words to search": ("GET", lambda n: f"/search/?q={'a+' * n}"),
    "words to search as an administrator": (
        "GET",
        lambda n: f"/admin/results/connection/?q={'a+' * n}",
    ),
    "a page of digits": ("GET", lambda n: f"/api/v1/lines?offset={'9' * n}"),
    "an id of digits": ("GET", lambda n: f"/api/v1/rigs/{'9' * n}"),
    "a day of digits": ("GET", lambda n: f"/api/v1/sessions?since={'1' * n}"),
    "a long handle": ("GET", lambda n: f"/contributors/{'a-/' * n}/"),
    "many filters": ("GET", lambda n: f"/api/v1/pools?{'a=1&' * n}"),
    "a filter many times": ("GET", lambda n: f"/api/v1/pools?{'connection=1&' * n}"),
    "escapes in an address": ("GET", lambda n: f"/api/v1/lines?x={'%25' * n}"),
    "a long key": ("POST", lambda n: "/api/v1/sessions?dry_run=" + "t" * n),
}

DOCUMENTS: dict[str, tuple[str, Callable[[int], object]]] = {
    "a check weight of blanks": (
        "revisions/{revision}/calibrations",
        lambda n: {"points": [{"mass": "5" + " " * n + "!"}]},
    ),
    "a rig's resolution of digits": (
        "rigs",
        lambda n: {"name": "x", "revision": {"resolution": "1" * n + "!"}},
    ),
    "many check weights": (
        "revisions/{revision}/calibrations",
        lambda n: {"made_on": "2026-01-10", "points": [{"mass": "5 kg", "reading": "5 kg"}] * n},
    ),
    "many unknown members": ("rigs", lambda n: {f"member {at}": at for at in range(n)}),
    "a long name of a line": ("lines", lambda n: {"name": "x " * n, "material": "other"}),
}


@dataclass
class Case:
    """What is done with an input of size n, and the most bytes that it may have."""

    make: Callable[[int], object]
    do: Callable[[object], object]
    most: int


def seconds(case: Case, made: object) -> float:
    """CPU seconds of one try."""
    begun = time.process_time()
    with suppress(Refused, MetrologyError):
        case.do(made)
    return time.process_time() - begun


def least(case: Case, made: object) -> float:
    """CPU seconds of the quickest of some tries."""
    return min(seconds(case, made) for _ in range(TRIES))


def growth(case: Case) -> float:
    """How many times the CPU time grows when the input doubles, from the first measurable size.

    The less of two doublings: larger pages of memory may cost more once, a quadratic step always.
    """
    n, made = 64, case.make(64)
    while seconds(case, made) < MEASURABLE_S or least(case, made) < MEASURABLE_S:
        n *= 2
        made = case.make(n)
        if size_of(made) > case.most:
            return 1.0
    doubled, grown = case.make(2 * n), math.inf
    for _ in range(MEASURED_AGAIN):
        taken, twice = least(case, made), least(case, doubled)
        grown = min(grown, twice / taken)
        if grown >= MOST_GROWTH:
            grown = min(grown, least(case, case.make(4 * n)) / twice)
        if grown < MOST_GROWTH:
            break
    return grown


def size_of(made: object) -> int:
    """Bytes as sent; of a workbook as unpacked, since that is what doubles."""
    if isinstance(made, bytes) and made.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(made)) as book:
            return sum(part.file_size for part in book.infolist())
    return len(made) if isinstance(made, bytes | str) else len(json.dumps(made))


def holds(case: Case) -> None:
    grown = growth(case)
    assert grown < MOST_GROWTH, f"{grown:.1f} times the time for twice the input"


@pytest.mark.parametrize("name", UPLOADS)
def test_twice_the_upload_takes_about_twice_the_time(name, owner, bench):
    form, make = UPLOADS[name]

    def check(body: object) -> None:
        try:
            intake.dry_run(owner, body, form)
        except Refused as refusal:
            marked(body, form, refusal.findings or [Finding("2", "reading", "", "")])

    holds(Case(make, check, MOST_BYTES))


@pytest.mark.parametrize("name", TEXTS)
def test_twice_the_quantity_takes_about_twice_the_time(name):
    read, make = TEXTS[name]
    holds(Case(make, read, LONGEST_DOCUMENT))


@pytest.mark.parametrize("name", REQUESTS)
def test_twice_the_address_takes_about_twice_the_time(name, settings, db):
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 10**9
    method, make = REQUESTS[name]
    client = Client()
    client.force_login(User.objects.create_superuser("root"))
    holds(Case(make, lambda address: client.generic(method, address), LONGEST_QUERY))


@pytest.mark.parametrize("name", DOCUMENTS)
def test_twice_the_document_takes_about_twice_the_time(name, settings, as_owner, bench):
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 10**9
    address, make = DOCUMENTS[name]
    address = f"/api/v1/{address.format(revision=bench.pk)}"

    def post(answer: object) -> None:
        assert as_owner.post(address, answer, format="json").status_code < 500

    holds(Case(make, post, LONGEST_DOCUMENT))


def test_what_may_be_sent_is_bounded_so_that_each_set_and_each_session_is():
    assert MOST_PULLS_OF_A_SET < MOST_PULLS
