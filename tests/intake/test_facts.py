"""Uploads of the right form that can't be so: what is named, by what name it would be found."""

import json
from datetime import timedelta

import pytest
from django.utils import timezone

from results.intake import receive
from results.models import Session
from rigs.models import Line
from rigs.refusals import Forbidden, Invalid
from tests import making

FIRST = "pull_sets[0].pulls[0]"


def spoil_reading(document, reading, **more):
    document["pull_sets"][0]["pulls"][0] = {"reading": reading, "failure_mode": "join", **more}
    return document


@pytest.mark.parametrize(
    ("reading", "found"),
    [
        (-4.5, "-4.5 lbf (-20.02 N)"),
        (0, "0 lbf (0 N)"),
        ("-3", "-3 lbf (-13.34 N)"),
        (5000.0, "5000.0 lbf (22240 N)"),
    ],
)
def test_a_load_that_no_line_can_hold_is_refused(refused, right, reading, found):
    findings = refused(spoil_reading(right, reading))

    assert findings[0] == (FIRST, "reading", found, "a force from 0.01 to 20000 N")


@pytest.mark.parametrize("written", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_load_that_is_not_finite_is_refused_in_its_place(refused, right, written):
    body = json.dumps(right).replace("15.2", written).encode()

    ((row, field, _, expected), *_) = refused(body)

    assert (row, field) == (FIRST, "reading")
    assert expected == "a force from 0.01 to 20000 N"


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        ("fifteen", "a number, with or without a unit, as in 15 or 15 lbf, 7 kg or 66.7 N"),
        ("1,234", "1234 or 1.234: a comma before three digits can mean either"),
        ("15 stone", "a unit: N, kN, lbf, kgf, gf, ozf"),
    ],
)
def test_a_reading_that_can_not_be_read_is_named(refused, right, reading, expected):
    ((row, field, found, said),) = refused(spoil_reading(right, reading))

    assert (row, field, found) == (FIRST, "reading", f"'{reading}'") or found in reading
    assert said.startswith(expected)


def test_an_unknown_unit_is_named_with_the_units_there_are(refused, right):
    right["unit"] = "stone"

    ((row, field, found, expected),) = refused(right)

    assert (row, field, found) == ("", "unit", "'stone'")
    assert expected.startswith("a unit: N, kN, lbf, kgf")


def test_a_pull_may_have_a_unit_of_its_own(send, right):
    session = send(spoil_reading(right, 7, unit="kg")).session

    pull = session.pull_sets.get().pulls.first()
    assert (pull.reading_written, pull.unit) == ("7", "kgf")
    assert pull.reading_N == pytest.approx(7 * 9.80665)


def test_only_a_void_pull_may_lack_its_reading(refused, right):
    assert refused(spoil_reading(right, None)) == [
        (FIRST, "reading", "nothing", "a number above zero; only a void pull may have none")
    ]


def test_a_reading_of_twice_the_capacity_is_refused(refused, right):
    ((row, field, found, expected),) = refused(spoil_reading(right, 140))

    assert (row, field, found) == (FIRST, "reading", "140 lbf (622.8 N)")
    assert expected == "at most 300 N, the rig's capacity; is the unit right?"


def test_a_day_that_has_not_come_anywhere_on_earth_is_refused(refused, send, right):
    right["pulled_on"] = str(timezone.now().date() + timedelta(days=2))
    ((_, field, _, expected),) = refused(right)
    assert field == "pulled_on"
    assert expected.startswith("a day that has come: ")

    right["pulled_on"] = str((timezone.now() + timedelta(hours=14)).date())
    assert send(right).created


def test_a_set_of_one_pull_is_refused(refused, right):
    del right["pull_sets"][0]["pulls"][1:]

    assert refused(right) == [("pull_sets[0]", "pulls", "1 pull", "at least 2 that were read")]


def test_void_pulls_do_not_make_a_set(refused, right):
    del right["pull_sets"][0]["pulls"][1:3]

    assert refused(right) == [
        ("pull_sets[0]", "pulls", "1 pull and 1 void", "at least 2 that were read")
    ]


def test_a_baseline_needs_three_pulls_parted_in_the_free_length(refused, right):
    right["baselines"][0]["pulls"][0]["failure_mode"] = "grip"

    assert refused(right)[0] == (
        "baselines[0]",
        "pulls",
        "2 of thin, spool A that parted in the free length",
        "at least 3 pulls parted in the free length",
    )


def test_baselines_before_and_after_count_together(send, right):
    after = {**right["baselines"][0], "position": "after"}
    after["pulls"] = right["baselines"][0]["pulls"][1:]
    right["baselines"][0]["pulls"] = right["baselines"][0]["pulls"][:2]
    right["baselines"].append(after)

    assert send(right).session.baselines.count() == 2


def test_a_straight_line_can_not_part_in_a_join(refused, right):
    right["baselines"][0]["pulls"][3]["failure_mode"] = "join"

    ((row, field, found, expected),) = refused(right)

    assert (row, field, found) == ("baselines[0].pulls[3]", "failure_mode", "join")
    assert expected.endswith("straight line has no join")


def test_a_set_whose_reference_line_was_not_pulled_straight_is_refused(refused, right):
    right["baselines"] = []

    assert refused(right) == [
        (
            "pull_sets[0]",
            "baselines",
            "no straight-line pulls of thin, spool A nor of thick, spool B",
            "a baseline of it in this session, on revision 1 of shed winch",
        )
    ]


def test_a_baseline_of_the_stronger_line_alone_does_not_do(refused, right):
    right["baselines"][0] |= {"line": "thick", "spool": "B"}

    ((_, field, found, _),) = refused(right)

    assert (field, found) == ("baselines", "no straight-line pulls of thin, spool A")


def test_a_baseline_of_one_line_does_where_the_other_is_at_most_5_percent_weaker(send, right):
    Line.objects.filter(name="thick").update(label_strength_N=86.0)

    assert send(right).created


def test_a_baseline_of_one_line_does_not_do_where_the_other_is_weaker_than_that(refused, right):
    Line.objects.filter(name="thick").update(label_strength_N=85.0)

    assert refused(right)[0][2] == "no straight-line pulls of thick, spool B"


def test_a_baseline_from_another_spool_is_not_a_reference(refused, right):
    right["baselines"][0]["spool"] = "C"

    assert "no straight-line pulls of thin, spool A" in refused(right)[0][2]


def test_an_unknown_line_is_named_with_those_spelt_alike(refused, right):
    right["pull_sets"][0]["leader"]["line"] = "thic"

    ((row, field, found, expected),) = refused(right)

    assert (row, field, found) == ("pull_sets[0].leader", "line", "'thic'")
    assert expected == "a line of the catalogue: perhaps 'thick' or 'thin'"


def test_an_unknown_connection_is_named_with_those_spelt_alike(refused, right):
    right["pull_sets"][0]["connection"] = "Duble uni"

    ((row, field, found, expected),) = refused(right)

    assert (row, field, found) == ("pull_sets[0]", "connection", "'Duble uni'")
    assert expected == "a connection of the catalogue: perhaps 'Double uni'"


@pytest.mark.parametrize("name", ["uni to uni", "DOUBLEUNI", " Double  Uni "])
def test_a_connection_is_found_by_alias_and_in_any_spacing_or_case(send, right, name):
    right["pull_sets"][0]["connection"] = name

    assert send(right).session.pull_sets.get().connection.name == "Double uni"


@pytest.mark.parametrize(
    ("parameters", "found", "expected"),
    [
        ({"turns": 6}, "'turns'", "perhaps 'turns_main' or 'turns_leader'"),
        ({"turns main": 6.5}, "turns_main = 6.5", "a whole number from 1 to 20"),
        ({"turns main": 60}, "turns_main = 60", "a whole number from 1 to 20"),
        ({"turns main": True}, "turns_main = true", "a whole number from 1 to 20"),
        ({"setting force": "hard"}, "setting_force = 'hard'", "a number from 0 to 100"),
        ({"glued": "a bit"}, "glued = 'a bit'", "true or false"),
        ({"wetted_with": "beer"}, "wetted_with = 'beer'", "one of nothing, water, saliva"),
    ],
)
def test_a_tie_parameter_is_checked_by_name_type_and_range(
    refused, right, parameters, found, expected
):
    right["pull_sets"][0]["parameters"] = parameters

    assert refused(right) == [("pull_sets[0]", "parameters", found, expected)]


def test_tie_parameters_are_stored_under_their_names_in_the_catalogue(send, right):
    right["pull_sets"][0]["parameters"] = {"Turns Main": 6, "wetted with": "Saliva", "glued": False}

    assert send(right).session.pull_sets.get().parameters == {
        "turns_main": 6,
        "wetted_with": "saliva",
        "glued": False,
    }


def test_a_join_of_two_lines_needs_both(refused, right):
    right["pull_sets"][0] |= {"leader": None, "terminal": "hook"}

    assert refused(right) == [
        (
            "pull_sets[0]",
            "leader",
            "nothing",
            "the line joined to: Double uni joins line to line",
        )
    ]


def test_a_terminal_join_needs_its_terminal_and_no_leader(refused, right):
    right["pull_sets"][0] |= {"connection": "Palomar", "parameters": {}}
    assert refused(right)[0][1:3] == ("leader", "'thick'")

    right["pull_sets"][0]["leader"] = None
    assert refused(right)[0][1:] == (
        "terminal",
        "nothing",
        "a leader line or a terminal, such as hook, ring or pin",
    )


def test_a_label_and_a_baseline_are_given_once(refused, right):
    right["pull_sets"].append({**right["pull_sets"][0], "label": "SET 1"})
    right["baselines"].append(right["baselines"][0])

    assert [finding[:2] for finding in refused(right)] == [
        ("baselines[1]", "line"),
        ("pull_sets[1]", "label"),
    ]


def test_a_session_without_any_pull_is_refused(refused, right):
    right["baselines"], right["pull_sets"] = [], []

    assert refused(right) == [("", "pull_sets", "no pulls at all", "baselines and pull sets")]


def test_a_revision_that_the_rig_never_had_is_named_with_those_it_has(refused, right):
    right["revision"] = 3

    assert refused(right)[0] == ("", "revision", "3", "a revision of shed winch: 1")


def test_a_misspelt_rig_is_named_with_ones_own(refused, right):
    right["rig"] = "shed wnch"

    assert refused(right) == [("", "rig", "'shed wnch'", "a rig of your own: perhaps 'shed winch'")]


def test_a_rig_of_someone_else_is_forbidden_and_nothing_of_it_is_shown(bench, other, right):
    bench.capacity_N = 1
    bench.save()

    with pytest.raises(Forbidden) as error:
        receive(other, json.dumps(right).encode(), "application/json", None)

    ((finding),) = error.value.findings
    assert (finding.field, finding.expected) == ("rig", "a rig of your own: register it first")
    assert not Session.objects.exists()


def test_a_proposed_line_can_be_used_by_its_proposer_only(bench, owner, other, right):
    making.revision_of(other)
    Line.objects.filter(name="thick").update(accepted=False, proposed_by=other)
    body = json.dumps(right).encode()

    assert receive(other, body, "application/json", None).created
    with pytest.raises(Invalid, match="1 to correct"):
        receive(owner, body, "application/json", None)
