"""What clumsy and hostile senders put on the wire: refused with a reason or taken, never a 500."""

import ast
import io
import json
import re
import zipfile
from pathlib import Path

import pytest
from django.contrib.auth.models import User
from django.test import Client

from results.models import Session, Upload
from tests.intake.conftest import HEADER, RIGHT, ROWS
from tests.people import client_of
from tests.security.test_growth import workbook

JSON, CSV = "application/json", "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
WHOLE = json.dumps(RIGHT)
SHEET = "\n".join([HEADER, *ROWS])


OF_A_LIBRARY = re.compile(
    r"field limit|delimiter|entit|ZipInfo|CRC|codec|\\\\[xu]|well-formed|token|Expecting|expecting"
    r"|double quotes|property|escape|NoneType|Traceback|0x|struct|dict|msgspec|calamine|panic|<\w"
    r"|end of data|unterminated|extra data|surrogate|decode|position \d",
)
"""Words that readers of JSON, CSV, zip and XML use for what is wrong, and nobody at a bench."""
QUOTED = re.compile(r"'[^']*'")
"""What somebody sent, as a refusal shows it."""


def with_reading(written: str) -> bytes:
    return WHOLE.replace("15.2", written, 1).encode()


def zipped(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in parts.items():
            archive.writestr(name.replace("__", "/"), body)
    return out.getvalue()


WRITTEN_READINGS = [
    "-0", "-0.0", "0e0", "1e-400", "1e-320", "1e308", "1e309", "-1e309", "1E+5000", "NaN", "-NaN",
    "Infinity", "9" * 4301, "0." + "0" * 5000 + "1", "1" + "0" * 400, '"1e-320 N"', '"\\ud800"',
    '"\\u0000"', '"٣٤"', '"15,2,3"', '"1.000,5"', '"15.2\\u00a0lbf"', '"0x1F"', '"1_000"', "[]",
    "{}", "true", "null", '""', '" "', '"15 lbf lbf"', '"−15"', '"½"', '"1e"',
]  # fmt: skip
DOCUMENTS = {
    "nothing": b"",
    "a blank": b" ",
    "a mark of the order of bytes": b"\xef\xbb\xbf" + WHOLE.encode(),
    "a mark alone": b"\xef\xbb\xbf",
    "two marks": b"\xef\xbb\xbf\xef\xbb\xbf" + WHOLE.encode(),
    "sixteen bits": WHOLE.encode("utf-16"),
    "thirty-two bits": WHOLE.encode("utf-32"),
    "eight bits of another table": WHOLE.replace("thin", "thïn").encode("latin-1"),
    "cut in the middle": WHOLE[: len(WHOLE) // 2].encode(),
    "cut in a letter": WHOLE.replace("thin", "thïn").encode()[: WHOLE.index("thin") + 3],
    "twice": (WHOLE + WHOLE).encode(),
    "a NUL behind": WHOLE.encode() + b"\0",
    "a NUL in a name": WHOLE.replace("shed winch", "shed\\u0000winch").encode(),
    "half a surrogate": WHOLE.replace("shed winch", "\\udfff").encode(),
    "a member twice": ('{"rig": "another", ' + WHOLE[1:]).encode(),
    "a member of nothing": ('{"": 1, ' + WHOLE[1:]).encode(),
    "a member of Python": ('{"__class__": {"__init__": 1}, ' + WHOLE[1:]).encode(),
    "deep arrays": b"[" * 200_000,
    "deep objects in a note": ('{"note": ' + '{"a":' * 5000 + "1" + "}" * 5000 + "}").encode(),
    "a list": f"[{WHOLE}]".encode(),
    "a number": b"1e999",
    "a string": b'"rig"',
    "comments": b"/* hello */" + WHOLE.encode(),
    "a comma too many": WHOLE.replace("}]", "},]").encode(),
    "markup": b"<?xml version='1.0'?><!DOCTYPE a SYSTEM 'file:///etc/passwd'><a/>",
    "a formula as a label": WHOLE.replace("set 1", "=cmd|' /C calc'!A1").encode(),
    "writing turned round": WHOLE.replace("set 1", "\\u202eset").encode(),
    "a day of February": WHOLE.replace("2026-01-10", "2026-02-30").encode(),
    "the year 0": WHOLE.replace("2026-01-10", "0000-01-01").encode(),
    "the year 10000": WHOLE.replace("2026-01-10", "10000-01-01").encode(),
    "a day with its time": WHOLE.replace("2026-01-10", "2026-01-10T10:00:00Z").encode(),
    "a revision beyond every column": WHOLE.replace(
        '"revision": 1', f'"revision": {2**70}'
    ).encode(),
    "a revision below": WHOLE.replace('"revision": 1', '"revision": -1').encode(),
    "a revision of a fraction": WHOLE.replace('"revision": 1', '"revision": 1.5').encode(),
    "ties beyond every column": WHOLE.replace(
        '"discarded_ties": 1', f'"discarded_ties": {10**30}'
    ).encode(),
    "turns beyond every column": WHOLE.replace(
        '"turns_main": 6', f'"turns_main": {10**30}'
    ).encode(),
    "turns without end": WHOLE.replace('"turns_main": 6', '"turns_main": 1e999').encode(),
    **{f"a reading of {written[:20]}": with_reading(written) for written in WRITTEN_READINGS},
}
SHEETS = {
    "nothing": b"",
    "lines alone": b"\n\r\n\r",
    "a header alone": HEADER.encode(),
    "a header twice": f"{HEADER}\n{SHEET}".encode(),
    "old line ends": SHEET.replace("\n", "\r").encode(),
    "mixed line ends": SHEET.replace("\n", "\r\n", 3).encode(),
    "a quote alone": SHEET.encode() + b'\n"',
    "a quote in a cell": SHEET.replace("thin", 'th"in', 1).encode(),
    "NULs": SHEET.encode() + b"\0\0",
    "marks everywhere": b"\xef\xbb\xbf" + SHEET.replace(",", ",\ufeff").encode(),
    "sixteen bits cut": SHEET.encode("utf-16")[:-1],
    "sixteen bits of half a surrogate": b"\xff\xfe\x00\xd8",
    "semicolons and commas": SHEET.replace(",", ";", 5).encode(),
    "a separator line": b"sep=;\n" + SHEET.encode(),
    "numbers of another script": SHEET.replace("15.2", "١٥").encode(),
    "a number of digits of a power": SHEET.replace("15.2", "1²").encode(),
    "a revision of digits of a power": SHEET.replace("winch,1", "winch,²").encode(),
    "a huge exponent": SHEET.replace("15.2", "1e400").encode(),
    "a huge revision": SHEET.replace("winch,1", "winch," + "9" * 30).encode(),
    "headings of brackets": SHEET.replace("reading", "reading ((lbf", 1).encode(),
    "a heading of an unknown unit": SHEET.replace("reading", "reading [stone]", 1).encode(),
    "parameters of signs": SHEET.replace("turns main=6", "=;=;;==6;a=;=b").encode(),
    "a workbook under another name": workbook("<row><c><v>1</v></c></row>"),
    "a picture": b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
}
BOOKS = {
    "nothing": b"",
    "a sheet of text": SHEET.encode(),
    "the old form": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 512,
    "cut": workbook("<row><c><v>1</v></c></row>")[:-30],
    "an empty zip": zipped(),
    "a zip of a zip": zipped(xl__workbook_xml=zipped(a=b"1")),
    "no rows": workbook(""),
    "a cell outside a row": workbook('<c r="A1"><v>1</v></c>'),
    "a cell of no place": workbook('<row><c r="?"><v>1</v></c></row>'),
    "a cell before the first": workbook('<row r="0"><c r="A0"><v>1</v></c></row>'),
    "a cell of a far place": workbook('<row><c r="ZZZZZZ99999999999"><v>1</v></c></row>'),
    "a text that is not shared": workbook('<row><c t="s"><v>99</v></c></row>'),
    "a text of no number": workbook('<row><c t="s"><v>-1</v></c><c t="s"><v>x</v></c></row>'),
    "an error": workbook('<row><c t="e"><v>#REF!</v></c></row>'),
    "an unknown type": workbook('<row><c t="zz"><v>1</v></c></row>'),
    "a number without end": workbook("<row><c><v>1e999</v></c><c><v>NaN</v></c></row>"),
    "a day without end": workbook('<row><c t="d"><v>99999-99-99</v></c></row>'),
    "a truth": workbook('<row><c t="b"><v>7</v></c></row>'),
    "a bomb of blanks": workbook(" " * 60_000_000),
    "a bomb of a cell": workbook(f'<row><c t="str"><v>{"x" * 60_000_000}</v></c></row>'),
    "entities": workbook("").replace(b"xl/", b"xl\\"),
    "control characters": workbook('<row><c t="str"><v>&#1;</v></c></row>'),
    "tags never closed": workbook("<row><c><v>1"),
}
FOREIGN = [
    *((JSON, name, body) for name, body in DOCUMENTS.items()),
    *((CSV, name, body) for name, body in SHEETS.items()),
    *((XLSX, name, body) for name, body in BOOKS.items()),
]


@pytest.mark.parametrize(
    ("form", "body"),
    [(form, body) for form, _, body in FOREIGN],
    ids=[f"{form[-5:]} {name}" for form, name, _ in FOREIGN],
)
def test_nothing_foreign_ends_in_a_failure(form, body, owner, as_owner, bench):
    for address in ("/api/v1/sessions?dry_run=true", "/api/v1/sessions"):
        answer = as_owner.generic("POST", address, body, content_type=form)
        assert answer.status_code in (200, 202, 400, 409, 413, 415, 422), answer.content[:500]
        if answer.status_code >= 400:
            problem = answer.json()
            assert problem["detail"]
            assert len(problem["detail"]) < 1000
            said = [problem["detail"]]
            for each in problem.get("findings", []):
                said += [each["found"], each["expected"]]
            assert not [each for each in said if OF_A_LIBRARY.search(QUOTED.sub("", each))]
    assert Session.objects.count() == Upload.objects.count()


@pytest.mark.parametrize(
    "form",
    [
        "", "text", "text/html", "application/json; charset=klingon", "application/json;" * 50,
        "multipart/form-data", "multipart/form-data; boundary=" + "x" * 300, "TEXT/CSV; header=1",
        "application/x-www-form-urlencoded", "é/é", "text/csv,application/json", "*/*",
    ],
)  # fmt: skip
def test_no_form_that_is_claimed_ends_in_a_failure(form, as_owner, bench):
    for body in (b"", WHOLE.encode(), SHEET.encode()):
        answer = as_owner.generic("POST", "/api/v1/sessions?dry_run=true", body, content_type=form)
        assert answer.status_code in (200, 400, 415, 422), (form, answer.content[:300])


@pytest.mark.parametrize("key", ["", " ", "x" * 201, "é", "\x7f", "a\tb", "💥", "'; --"])
def test_no_key_ends_in_a_failure(key, as_owner, bench):
    answer = as_owner.generic(
        "POST", "/api/v1/sessions", WHOLE, content_type=JSON, HTTP_IDEMPOTENCY_KEY=key
    )
    assert answer.status_code in (202, 400, 422), answer.content[:300]


QUERIES = [
    "limit=-1", "limit=" + "9" * 5000, "offset=1e9", "limit=%00", "limit=%ff", "x=%ed%a0%80",
    "contributor=%00", "contributor=" + "a" * 5000, "rig=" + "9" * 30, "since=0000-00-00",
    "since=9999-12-31&until=0001-01-01", "standing[]=a", "&&&==&=", "limit=1&limit=2", "%",
    "q=" + "a+" * 3000, "page=" + "9" * 5000, "page=-1", "page=%00",
]  # fmt: skip
READ = [
    "/", "/search/", "/lines/", "/api/v1/sessions", "/api/v1/pools", "/api/v1/lines",
    "/api/v1/rigs", "/api/v1/connections", "/open-data/", "/admin/results/connection/",
    "/admin/results/pull/", "/admin/rigs/line/",
]  # fmt: skip


@pytest.mark.parametrize("query", QUERIES, ids=lambda query: query[:30])
def test_no_query_ends_in_a_failure(query, db):
    client = Client()
    client.force_login(User.objects.create_superuser("root"))
    for address in READ:
        answer = client.get(f"{address}?{query}")
        assert answer.status_code < 500, (address, query[:40])


@pytest.mark.parametrize(
    "expected",
    [
        {"made_on": "0001-01-01"}, {"resolution": "1e-320 N"}, {"resolution": "1e300 N"},
        {"capacity": "1e308 kN"}, {"lever_ratio": 1e-320}, {"lever_ratio": "1"},
        {"latitude_deg": 1e999}, {"pulleys_between": 10**30}, {"resolution": "\ud800"},
        {"free_length": " " * 1000}, {"sample_rate_Hz": -0.0}, {"height_m": True},
    ],
)  # fmt: skip
def test_no_rig_and_no_calibration_ends_in_a_failure(expected, owner, bench):
    first = {
        "made_on": "2026-01-03", "load_generation": "hand winch", "indicator": "digital scale",
        "peak_capture": "peak hold", "resolution": "0.1 lbf", "first_grip": "bollard",
        "second_grip": "bollard", **expected,
    }  # fmt: skip
    as_owner = client_of(owner)
    body = json.dumps({"name": "winch", "revision": first})
    answer = as_owner.generic("POST", "/api/v1/rigs", body, content_type=JSON)
    assert answer.status_code in (400, 422), answer.content[:300]
    points = [
        {"mass": expected.get("resolution", "1e300 kg"), "reading": expected.get("capacity", "5 N")}
    ]
    body = json.dumps({"made_on": expected.get("made_on", "2026-01-03"), "points": points * 3})
    address = f"/api/v1/revisions/{bench.pk}/calibrations"
    answer = as_owner.generic("POST", address, body, content_type=JSON)
    assert answer.status_code in (400, 422), answer.content[:300]


OF_AN_ERROR = {"start", "lineno", "colno", "expected"}
"""What a refusal may take of an error that was caught: where it was, and what our own ones say."""


OUR_OWN = {"NoReference", "LacksEntries", "MetrologyError", "Refused", "GoesByCodes"}
"""Errors that speak to a tester themselves: refusals, which this test holds where they are made,
and what our own computation says of samples."""


def test_no_refusal_of_the_intake_repeats_what_a_library_says():
    """An error that was caught is looked at for its kind and its place, and shown to nobody."""
    repeated = []
    for file in sorted((Path(__file__).parents[2] / "results" / "intake").glob("*.py")):
        for handler in ast.walk(ast.parse(file.read_text())):
            if not isinstance(handler, ast.ExceptHandler) or handler.name is None:
                continue
            if ast.unparse(handler.type) in OUR_OWN:
                continue
            inside = [each for node in handler.body for each in ast.walk(node)]
            harmless = {id(each.cause) for each in inside if isinstance(each, ast.Raise)}
            for each in inside:
                if isinstance(each, ast.Attribute) and each.attr in OF_AN_ERROR:
                    harmless.add(id(each.value))
                if isinstance(each, ast.Call) and ast.unparse(each.func) in (
                    "type",
                    "_why_no_json",
                ):
                    harmless |= {id(argument) for argument in each.args}
            repeated += [
                f"{file.name}:{each.lineno}"
                for each in inside
                if isinstance(each, ast.Name)
                and each.id == handler.name
                and id(each) not in harmless
            ]
    assert not repeated
