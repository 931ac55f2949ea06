"""What holds of the package itself: the standard, the checksums, one and the same rows."""

import csv
import hashlib
import io
import json
import re
import subprocess
import sys

import pyarrow.parquet as pq
import pytest

from results.models import Connection
from results.public.csv_cells import as_written
from tests import making
from tests.deploy.files import ROOT

pytestmark = pytest.mark.usefixtures("planted_past")

# What Table Schema 2.0 (datapackage.org, Data Package standard, "Field types") takes for each.
FORMS = {
    "integer": r"[+-]?\d+",
    "number": r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?",
    "boolean": "true|false",
    "date": r"\d{4}-\d\d-\d\d",
    "datetime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z",
    "string": "(?s:.+)",
    "object": r"\{.*\}",
}


@pytest.fixture
def package(league, unpack):
    Connection.objects.filter(name="Blood").update(name='=Blood, the "old" way\nof tying it')
    return unpack()


def sheets(package):
    return [one for one in package.descriptor["resources"] if one["format"] == "csv"]


def test_sizes_and_checksums_in_the_descriptor_are_those_of_the_files(package):
    named = {one["path"] for one in package.descriptor["resources"]}
    beside = {"datapackage.json", "README.md", "SHA256SUMS.txt", "LICENCE.md", "CHANGES.md"}
    beside |= {"CITATION.cff", "datacite.json", "recompute.R", "recompute.py", "recompute.ipynb"}
    assert named | beside == set(package.files)
    for one in package.descriptor["resources"]:
        body = package.files[one["path"]]
        assert one["bytes"] == len(body)
        assert one["hash"] == f"sha256:{hashlib.sha256(body).hexdigest()}"


def test_every_cell_is_of_its_type_and_among_its_words(package):
    for one in sheets(package):
        fields = one["schema"]["fields"]
        rows = list(csv.reader(io.StringIO(package.files[one["path"]].decode(), newline="")))
        assert rows[0] == [field["name"] for field in fields]
        for row in rows[1:]:
            for field, cell in zip(fields, row, strict=True):
                answer = field.get("constraints", {})
                assert cell or not answer.get("required"), field
                assert not cell or re.fullmatch(FORMS[field["type"]], cell), (field, cell)
                assert not cell or cell in answer.get("enum", [cell]), (field, cell)


def test_primary_keys_are_unique_and_foreign_keys_point_to_rows(package):
    for one in sheets(package):
        keys = one["schema"].get("primaryKey", [])
        named = [tuple(row[key] for key in keys) for row in package.rows(one["name"])]
        assert not keys or len(set(named)) == len(named), one["name"]
        for foreign in one["schema"]["foreignKeys"]:
            there = foreign["reference"]
            theirs = set(package.column(there["resource"], there["fields"][0]))
            own = set(package.column(one["name"], foreign["fields"][0])) - {""}
            assert own <= theirs, (one["name"], foreign)


def test_no_table_has_two_columns_of_one_name(package):
    for one in sheets(package):
        names = [field["name"] for field in one["schema"]["fields"]]
        assert len(names) == len(set(names)), one["name"]


def test_parquet_holds_the_same_rows_as_csv(package):
    for one in sheets(package):
        table = pq.read_table(io.BytesIO(package.files[f"{one['name']}.parquet"]))
        rows = package.rows(one["name"])
        assert table.num_rows == len(rows)
        for row, other in zip(rows, table.to_pylist(), strict=True):
            for field in one["schema"]["fields"]:
                assert read(row[field["name"]], field["type"]) == plain(other[field["name"]])


def read(cell, kind):
    if cell == "":
        return None
    as_python = {"integer": int, "number": float, "boolean": json.loads}
    return as_python.get(kind, as_written)(cell)


def plain(value):
    if hasattr(value, "isoformat"):
        return value.isoformat().replace("+00:00", "Z")
    return value


def test_text_that_a_spreadsheet_would_run_is_guarded(package):
    assert package.column("connections", "name")[0].startswith("'=Blood")


def test_the_code_book_names_every_column_and_the_licence_and_the_cautions(package):
    words = package.files["README.md"].decode()
    for one in sheets(package):
        for field in one["schema"]["fields"]:
            assert f"| {field['name']} | {field['type']} |" in words
    assert "CC-BY-4.0" in words
    assert "not for lifting, climbing, towing or life support" in words
    assert package.descriptor["licenses"][0]["name"] == "CC-BY-4.0"


def test_no_name_of_a_person_rig_or_place_and_no_note_is_in_it(league, unpack):
    session = league[0].session
    secret = "nobody's business"
    type(session).objects.update(note=secret)
    type(league[0]).objects.update(note=secret, tyer=secret, label=f"{secret} label")
    for pull_set in league:
        pull_set.pulls.update(note=secret)
    session.revision.rig.revisions.update(place=secret, what_changed=secret, load_path=secret)
    type(session.revision.rig).objects.filter(pk=session.revision.rig_id).update(name=secret)
    making.connection("Blood")

    package = unpack()
    for name, body in package.files.items():
        text = str(pq.read_table(io.BytesIO(body)).to_pylist()) if ".parquet" in name else str(body)
        assert secret not in text, name
        assert "tester 0" not in text, name
    assert package.column("pull_sets", "tied_by_another") == ["true"] * 4


def test_nothing_is_left_to_import_when_threads_have_started():
    """A library that arrays import at first is half there for another thread that draws."""
    asked = (
        "import django, sys; django.setup()\n"
        "import pyarrow, results.worker.embedded\n"
        "before = set(sys.modules); pyarrow.array([1.5, None]); print(set(sys.modules) - before)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", asked], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert ended.stdout == "set()\n"
