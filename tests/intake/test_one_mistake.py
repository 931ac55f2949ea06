"""One mistake in a session has one finding, at its place and in words of the bench."""

import copy
import json
import re

import pytest

from results.intake import CSV, JSON, dry_run
from rigs.refusals import Refused
from tests.intake.conftest import HEADER, RIGHT, ROWS, sheet

IN_A_SHEET = {
    ("2", "reading"): [
        (",20.5,", f",{each},")
        for each in ("#N/A", "#DIV/0!", "-", "?", "20.5/21", "~20", "=A1+2", "-20.5", "0", "205",
                     "nan", "inf", "1e999", '"1,205"', "twenty")
    ],
    ("2", "failure mode"): [("20.5,line", "20.5,broke"), ("20.5,line", "20.5,")],
    ("2", "kind"): [("straight", "base"), ("straight", "")],
    ("2", "date"): [("2026-01-10", each) for each in ("10.13.2026", "01/02/2026", "last week")],
    ("2", "rig"): [("shed winch", "shed wench"), ("shed winch", "")],
    ("2", "revision"): [("winch,1,", "winch,one,"), ("winch,1,", "winch,99,")],
    ("2", "state"): [(",dry,", ",damp,")],
    ("2", "unit"): [(",lbf,", ",stone,")],
    ("6", "parameters"): [("turns main=6", "turns main")],
    ("6", "discarded ties"): [(",,1,,15.2", ",,some,,15.2")],
    ("6", "doubled"): [("Double uni,no", "Double uni,maybe")],
}  # fmt: skip
FIRST = ("pull_sets", 0, "pulls", 0)
IN_A_DOCUMENT = {
    ("rig",): [5, None, "  ", ["a"], "shed wench"],
    ("revision",): ["one", 0, 1.5, 99, 10**30],
    ("pulled_on",): ["yesterday", "2026-13-01", "2031-01-01"],
    ("state",): ["damp", 1],
    ("unit",): ["stone", ""],
    ("weather",): ["rain"],
    ("temperature_C",): ["warm", 400],
    ("pull_sets",): [{}, 3],
    ("pull_sets", 0, "main"): ["thin"],
    ("pull_sets", 0, "connection"): [None, "Dubble uni"],
    ("pull_sets", 0, "leader"): [None],
    ("pull_sets", 0, "terminal"): ["hook"],
    ("pull_sets", 0, "parameters"): [
        {"twists": 6}, {"turns_main": "six"}, {"turns_main": 60}, {"turns_main": [6]}, "turns=6",
    ],
    ("pull_sets", 0, "label"): ["x" * 200, "a\x00b", "a\nb"],
    ("pull_sets", 0, "discarded_ties"): [-1, "some"],
    ("pull_sets", 0, "pulls"): [3, []],
    FIRST: ["15.2", None],
    (*FIRST, "failure_mode"): ["snapped", None],
    (*FIRST, "reading"): [True, -3, "about 15", 15200, "1,520", "1" * 60, float("nan"),
                          float("inf")],
    (*FIRST, "trace"): ["0 1 2", {"unit": "lbf", "time_s": [0, 1], "force": [1]}],
    ("baselines", 0, "position"): ["middle"],
    ("baselines", 0, "pulls", 0, "failure_mode"): ["join"],
}  # fmt: skip
OTHER_FILES = {
    "a picture": b"\x89PNG\r\n\x1a\n\x00\x00",
    "a PDF": b"%PDF-1.7\n",
    "a web page": b"<!DOCTYPE html><html>",
    "a text in UTF-32": "rig".encode("utf-32"),
}
NOT_OF_THE_BENCH = re.compile(
    r"\bnan N|\binf\b|\bNoneType|named members|RFC|\bNUL\b|codec|Traceback|0x|<class|unexpected"
)


def said_of(owner, body, form):
    with pytest.raises(Refused) as refused:
        dry_run(owner, body, form)
    words = [refused.value.detail, *map(str, refused.value.findings)]
    own_words = [re.sub(r"'[^']*'", "", each) for each in words]
    assert not [each for each in own_words if NOT_OF_THE_BENCH.search(each)]
    return refused.value


def test_a_mistake_in_a_sheet_is_said_once(owner, bench):
    for (row, column), mistakes in IN_A_SHEET.items():
        for right, wrong in mistakes:
            text = sheet().replace(right, wrong, 1)
            assert text != sheet()
            found = [(each.row, each.field) for each in said_of(owner, text.encode(), CSV).findings]
            assert found == [(row, column)], wrong


def test_a_mistake_in_a_document_is_said_once(owner, bench):
    for path, mistakes in IN_A_DOCUMENT.items():
        for wrong in mistakes:
            spoiled = copy.deepcopy(RIGHT)
            at = spoiled
            for step in path[:-1]:
                at = at[step]
            at[path[-1]] = wrong
            found = said_of(owner, json.dumps(spoiled).encode(), JSON).findings
            assert len(found) == 1, (path, wrong, [*map(str, found)])


@pytest.mark.parametrize("form", [CSV, JSON])
def test_a_file_of_another_kind_is_called_what_it_is(owner, bench, form):
    for words, body in OTHER_FILES.items():
        assert words in said_of(owner, body, form).detail
    assert "is empty" in said_of(owner, b"\n", form).detail


def test_a_document_sent_as_a_sheet_and_a_sheet_without_headings_are_said_so_once(owner, bench):
    assert "This is JSON" in said_of(owner, json.dumps(RIGHT).encode(), CSV).detail
    (found,) = said_of(owner, "\n".join(ROWS).encode(), CSV).findings
    assert (found.row, found.found) == ("1", "a row of a pull")


def test_headings_of_another_kind_are_shown_as_they_are_and_are_no_pull(owner, bench):
    wide = "Knot,Line,P1,P2,P3\nDouble uni,thin,15.1,15.2,14.9\nStraight,thin,20.1,20.2,19.9\n"
    (found,) = said_of(owner, wide.encode(), CSV).findings
    assert (found.row, found.found) == ("1", "'Knot Line P1 P2 P3'")


def test_a_force_is_said_in_plain_digits(owner, bench):
    body = "\n".join([HEADER, *ROWS]).replace("15.2", "20.5 kN")
    assert said_of(owner, body.encode(), CSV).findings[0].found == "20.5 kN (20500 N)"
