"""Documents that are not of their form: every mistake is named by place, and nothing is stored."""

import json

import pytest

from results.intake.cells import parameters
from rigs.refusals import TooLarge, Unreadable
from tests.intake.conftest import RIGHT

PULL = "pull_sets[0].pulls[0]"


def refusal(send, body: bytes, kind) -> str:
    with pytest.raises(kind) as error:
        send(body)
    return error.value.detail


def test_malformed_json_is_refused_with_line_and_column(send):
    detail = refusal(send, b'{"rig": "shed winch",\n "revision": }', Unreadable)

    assert detail == "This is not JSON: a value is missing at line 2, column 14."


def test_json_that_is_no_object_is_refused(refused):
    assert refused(b"[1, 2]") == [
        ("", "", "a list", "a session: {'rig': ..., 'baselines': [...], ...}")
    ]


def test_bytes_that_are_not_utf_8_are_refused(send):
    assert (
        refusal(send, b'{"rig": "\xff"}', Unreadable)
        == "The JSON is not UTF-8 text at byte 10. Save it as UTF-8."
    )


def test_deep_json_is_refused(send):
    deep = b'{"rig": ' + b"[" * 200_000 + b"]" * 200_000 + b"}"

    assert refusal(send, deep, Unreadable) == "The JSON is nested too deep to be a session."


def test_a_number_of_thousands_of_digits_is_refused(send):
    body = json.dumps(RIGHT).replace("20.5", "9" * 5000).encode()

    assert "a number of thousands of digits" in refusal(send, body, Unreadable)


def test_ten_megabytes_are_taken_and_not_one_byte_more(send):
    assert "not JSON" in refusal(send, b"[" + b" " * (10 * 1024 * 1024 - 1), Unreadable)
    assert "at most 10485760" in refusal(send, b" " * (10 * 1024 * 1024 + 1), TooLarge)


def test_more_than_20000_pulls_are_refused(send, right):
    right["pull_sets"][0]["pulls"] = [{"reading": 15.5, "failure_mode": "join"}] * 20_000

    detail = refusal(send, json.dumps(right).encode(), TooLarge)

    assert detail == "The session has 20004 pulls; at most 20000 are taken at once."


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b'{"baselines": [' + b"[]," * 30_000 + b"[]]}", "baselines has 30001 items"),
        (b"[" + b"[]," * 900_000 + b"[]]", "The JSON has 1800002 members; at most 1600000"),
    ],
)
def test_a_document_of_very_many_parts_is_refused(send, body, says):
    assert says in refusal(send, body, TooLarge)


@pytest.mark.parametrize(
    ("member", "value", "expected"),
    [
        ("rig", 7, "a name of at most 120 characters"),
        ("rig", "  ", "a name of at most 120 characters"),
        ("revision", "one", "the number of a revision of the rig, from 1"),
        ("pulled_on", "tenth", "a date from 1950-01-01 to today, as 2026-01-31"),
        ("pulled_on", "10/01/2026", "2026-01-10 or 2026-10-01: write the one that is meant, so"),
        ("state", "damp", "dry, wetted or soaked"),
        ("loading", "slow", "static or shock"),
        ("temperature_C", 400, "degrees Celsius, from -60 to 60"),
        ("soak_hours", -1, "hours, from 0 to 10000"),
        ("baselines", {}, "a list of at most 500 baselines"),
    ],
)
def test_a_session_member_of_another_kind_is_named(refused, right, member, value, expected):
    right[member] = value

    (row, field, _, said), *rest = refused(right)

    assert (row, field, said) == ("", member, expected)
    assert rest == []


@pytest.mark.parametrize("member", ["rig", "revision", "pulled_on", "state", "unit", "baselines"])
def test_a_missing_member_is_named(refused, right, member):
    del right[member]

    ((row, field, found, _),) = refused(right)

    assert (row, field, found) == ("", member, "nothing")


def test_an_unknown_member_is_named_with_the_likeliest_one(refused, right):
    right["pull_sets"][0]["pulls"][0]["failuremode"] = "join"

    assert refused(right) == [(PULL, "failuremode", "an unknown field", "perhaps 'failure_mode'")]


def test_a_failure_mode_that_does_not_exist_is_named(refused, right):
    right["pull_sets"][0]["pulls"][0]["failure_mode"] = "snapped"

    assert refused(right) == [
        (
            PULL,
            "failure_mode",
            "'snapped'",
            "a failure mode: join, slip (of the join), line (clear of the join), grip (at the "
            "rig), terminal, none (it held) or void (not to count)",
        )
    ]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("bell \u0007", "'bell �', with a character that can't be shown"),
        ("nul \u0000", "'nul �', with a character that can't be shown"),
        ("half a pair \ud800", "'half a pair �', with a character that can't be shown"),
        ("turned \u202e", "'turned �', with a character that can't be shown"),
    ],
    ids=["control character", "NUL", "lone surrogate", "mark of direction"],
)
def test_characters_that_cannot_be_shown_are_refused_and_marked(refused, right, text, shown):
    right["pull_sets"][0]["label"] = text

    assert refused(right) == [("pull_sets[0]", "label", shown, "a label of at most 60 characters")]


def test_a_note_may_have_lines_but_no_bell(refused, send, right):
    right["note"] = "ring\u0007"
    assert [finding[:2] for finding in refused(right)] == [("", "note")]

    right["note"] = "first line\n\tsecond line"
    assert send(right).session.note == "first line\n\tsecond line"


def test_text_that_is_too_long_is_shown_short(refused, right):
    right["pull_sets"][0]["tyer"] = "x" * 5000

    ((_, field, found, expected),) = refused(right)

    assert (field, expected) == ("tyer", "at most 60 printable characters")
    assert len(found) < 70


def test_mistakes_of_form_and_of_fact_are_named_together(refused, right):
    right["state"] = "damp"
    right["baselines"][0]["pulls"][1]["failure_mode"] = "snapped"
    right["pull_sets"][0]["pulls"][0]["reading"] = -4
    right["pull_sets"][0]["leader"]["line"] = "thik"

    assert [finding[:2] for finding in refused(right)] == [
        ("", "state"),
        ("baselines[0].pulls[1]", "failure_mode"),
        ("pull_sets[0].leader", "line"),
        (PULL, "reading"),
    ]


def test_a_thousand_findings_are_reported_and_the_rest_counted(send, right):
    right["pull_sets"][0]["pulls"] = [{"reading": -1.0, "failure_mode": "join"}] * 1500

    with pytest.raises(Exception, match="1500 to correct, of which the first 1000") as error:
        send(right)

    assert len(error.value.findings) == 1000


@pytest.mark.parametrize(
    ("parameters", "found"),
    [
        ({"\ud800": 6}, "'�', with a character that can't be shown"),
        ({"wetted_with": "\ud800"}, "wetted_with = '�', with a character that can't be shown"),
    ],
)
def test_half_a_pair_in_a_parameter_is_refused(refused, right, parameters, found):
    right["pull_sets"][0]["parameters"] = parameters

    assert refused(right)[0][:3] == ("pull_sets[0]", "parameters", found)


FORGIVEN = {
    ("", "revision"): ["1", 1.0, "1.0"],
    ("", "pulled_on"): ["10.01.2026", "2026/01/10", "10 Jan 2026", "46032"],
    ("", "state"): ["Dry", " dry "],
    ("", "loading"): ["Static"],
    ("baselines", "position"): ["Before"],
    ("pull_sets", "doubled"): ["no", "No", "false"],
    ("pull_sets", "discarded_ties"): ["1", 1.0],
    ("pull_sets", "parameters"): [{"Turns main": "6"}, {"turns_main": 6.0}],
}


@pytest.mark.parametrize(
    ("part", "member", "value"),
    [(part, member, value) for (part, member), values in FORGIVEN.items() for value in values],
)
def test_a_document_is_taken_as_a_sheet_would_be(send, right, part, member, value):
    plain = send(right).session
    plain.standing = "replaced"
    plain.save()
    (right[part][0] if part else right)[member] = value

    assert send(right).session.fingerprint == plain.fingerprint


@pytest.mark.parametrize(
    ("once", "twice", "place", "name"),
    [
        ('{"rig"', '{"rig": "another", "rig"', "", "rig"),
        ('"reading": 15.2', '"reading": 15.2, "reading" : 25.2', PULL, "reading"),
        ('"turns_main": 6', '"turns_main": 6, "turns_main": 7', "pull_sets[0].parameters", None),
        ('"discarded_ties": 1', '"discarded_ties": 1, "note": "u0022:", "note": ""', None, "note"),
    ],
)
def test_a_member_that_stands_twice_is_refused_where_it_stands(refused, once, twice, place, name):
    body = json.dumps(RIGHT).replace(once, twice, 1).encode()

    ((row, field, found, expected),) = refused(body)

    assert (row, field) == (place if place is not None else "pull_sets[0]", name or "turns_main")
    assert (found, expected) == ("the member more than once", "each member once")


def test_a_quoted_colon_in_a_note_is_no_member(send, right):
    right["note"] = 'he said "so": "yes" :'
    assert send(right).session.note == right["note"]


WRITTEN = ("turns main=6", "turns_main: 6", "6 turns main", "6 Turns main;", "turns main 6")


@pytest.mark.parametrize("written", WRITTEN)
def test_how_it_was_tied_is_read_as_it_is_spoken_in_documents_and_sheets(send, right, written):
    right["pull_sets"][0]["parameters"] = written

    assert send(right).session.pull_sets.get().parameters == {"turns_main": 6}
    assert parameters(written)[0].popitem()[1] == 6


@pytest.mark.parametrize("written", ["six turns", "8", "turns main=", "=6", "6 turns main; glued"])
def test_how_it_was_tied_is_asked_about_where_it_cannot_be_read(refused, right, written):
    right["pull_sets"][0]["parameters"] = written

    assert refused(right) == [
        ("pull_sets[0]", "parameters", f"'{written}'", "name=value, as 'turns main=6'")
    ]
    assert parameters(written)[1]
