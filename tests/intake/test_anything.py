"""Whatever is sent is stored or refused with a reason: nothing else ever happens."""

import copy
import io
import json
import re

import openpyxl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from results.intake import CSV, JSON, XLSX, dry_run
from rigs.refusals import Refused
from tests.intake.conftest import HEADER, RIGHT, ROWS

FEW = settings(
    max_examples=150,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
TEXT = st.text(max_size=70)
ODD = st.sampled_from(
    ["", " ", "\x00", "\ud800", "NaN", "1e999", "-0", "1,5", "=1", "15 lbf", "9" * 400, "join", "é"]
)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | ODD | TEXT | st.just(10**400),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)


def places(value, place=()):
    """Every place in a document."""
    if place:
        yield place
    members = {}
    if isinstance(value, dict | list):
        members = value if isinstance(value, dict) else dict(enumerate(value))
    for name, inner in members.items():
        yield from places(inner, (*place, name))


UNSHOWABLE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\u2028-\u202e]")
PLACES = list(places(RIGHT))


def outcome(owner, body: bytes, form: str) -> str:
    try:
        dry_run(owner, body, form)
    except Refused as error:
        refusal = error
    else:
        return "taken"
    assert refusal.findings or refusal.kind in ("unreadable", "too-large")
    assert not any(UNSHOWABLE.search(str(finding)) for finding in refusal.findings)
    return refusal.kind


@FEW
@given(spoilt=st.lists(st.tuples(st.sampled_from(PLACES), VALUES), min_size=1, max_size=3))
def test_a_document_with_anything_anywhere(owner, bench, spoilt):
    document = copy.deepcopy(RIGHT)
    for place, value in spoilt:
        at = document
        for name in place[:-1]:
            at = at[name] if isinstance(at, dict | list) and _has(at, name) else {}
        if isinstance(at, dict) or (isinstance(at, list) and _has(at, place[-1])):
            at[place[-1]] = value

    body = json.dumps(document).encode()

    assert outcome(owner, body, JSON) in ("taken", "invalid", "unreadable")


@FEW
@given(
    cells=st.lists(
        st.tuples(st.integers(0, len(ROWS)), st.integers(0, 22), ODD | TEXT), min_size=1, max_size=4
    )
)
def test_a_sheet_with_anything_in_any_cell(owner, bench, cells):
    rows = [line.split(",") for line in [HEADER, *ROWS]]
    for row, column, text in cells:
        rows[row] += [""] * (column + 1 - len(rows[row]))
        rows[row][column] = text
    body = "\n".join(",".join(row) for row in rows).encode("utf-8", "surrogatepass")

    assert outcome(owner, body, CSV) in ("taken", "invalid", "unreadable")


@FEW
@given(
    cells=st.lists(
        st.tuples(
            st.integers(1, 9),
            st.integers(1, 22),
            st.none() | st.booleans() | st.floats() | st.dates() | st.times() | st.datetimes(),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_a_workbook_with_any_kind_of_cell_anywhere(owner, bench, cells):
    book = openpyxl.Workbook()
    for line in [HEADER, *ROWS]:
        book.active.append([text or None for text in line.split(",")])
    for row, column, value in cells:
        book.active.cell(row, column).value = value
    out = io.BytesIO()
    book.save(out)

    assert outcome(owner, out.getvalue(), XLSX) in ("taken", "invalid", "unreadable")


@FEW
@given(start=st.sampled_from([b"", b"{", b"PK\x03\x04", b"rig,revision\n"]), rest=st.binary())
def test_bytes_of_any_kind_in_any_form(owner, bench, start, rest):
    for form in (JSON, CSV, XLSX):
        assert outcome(owner, start + rest, form) in ("invalid", "unreadable")


def _has(at: dict | list, name: object) -> bool:
    return name in at if isinstance(at, dict) else isinstance(name, int) and name < len(at)
