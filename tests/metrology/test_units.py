"""A tester writes a quantity the way the scale shows it and gets newtons and metres."""

import pytest

from rigs.metrology import units


@pytest.mark.parametrize(
    ("unit", "key"),
    [("lbf", "lbf_in_N"), ("lb", "lbf_in_N"), ("lbs", "lbf_in_N"), ("LB", "lbf_in_N"),
     ("kgf", "kgf_in_N"), ("kg", "kgf_in_N"), ("oz", "ozf_in_N"), ("ozf", "ozf_in_N")],
)  # fmt: skip
def test_a_unit_of_a_reading_is_a_force_at_standard_gravity(reference, unit, key):
    expected = reference("force-and-units")["expected"]  # CGPM 1901, the 1959 pound
    assert units.force_newtons(1.0, unit) == pytest.approx(expected[key], rel=1e-14)


@pytest.mark.parametrize(
    ("text", "value", "unit", "newtons"),
    [
        ("15 lbf", 15, "lbf", 15 * 4.4482216152605),
        ("15lb", 15, "lbf", 15 * 4.4482216152605),
        ("15 lbs.", 15, "lbf", 15 * 4.4482216152605),
        ("7 kg", 7, "kgf", 7 * 9.80665),
        ("7kgf", 7, "kgf", 7 * 9.80665),
        ("30 N", 30, "N", 30),
        ("66,7 n", 66.7, "N", 66.7),
        ("40 oz", 40, "ozf", 40 * 0.2780138509537812),
        (" 1.2 kN ", 1.2, "kN", 1200),
        (".5 kg", 0.5, "kgf", 0.5 * 9.80665),
        ("1e2N", 100, "N", 100),
        ("-0.5 N", -0.5, "N", -0.5),
    ],
)
def test_a_force_is_read_as_people_write_it_and_what_was_written_is_kept(
    text, value, unit, newtons
):
    force = units.parse_force(text)
    assert (force.value, force.unit) == (value, unit)
    assert force.newtons == pytest.approx(newtons, rel=1e-14)


def test_the_declared_unit_stands_where_none_is_written_and_yields_to_one_that_is():
    assert units.parse_force("15", "lb").unit == "lbf"
    assert units.parse_force("15 N", "lb").unit == "N"


# The pound is 0.45359237 kg and the inch 25.4 mm, exactly (international agreement of 1959).
def test_masses_and_lengths_are_read_the_same_way():
    assert units.parse_mass("10 lb").kilograms == pytest.approx(4.5359237, rel=1e-14)
    assert units.parse_mass("16 oz").kilograms == pytest.approx(0.45359237, rel=1e-14)
    assert units.parse_mass("500g").kilograms == pytest.approx(0.5, rel=1e-14)
    assert units.parse_length("0,014 in").metres == pytest.approx(0.0003556, rel=1e-14)
    assert units.parse_length('2"').metres == pytest.approx(0.0508, rel=1e-14)
    assert units.parse_length("3 ft").metres == pytest.approx(0.9144, rel=1e-14)
    assert units.parse_length("35 cm").metres == pytest.approx(0.35, rel=1e-14)
    assert units.parse_length("0.35 mm").metres == pytest.approx(0.00035, rel=1e-14)


@pytest.mark.parametrize(
    "text",
    ["", "lbf", "15", "15 stone", "nan N", "inf N", "1e999 N", "15 lbf 3", "1,200 N", "1.2.3 N",
     "15\x00N", "٣ parsecs", "15 mm"],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_with_what_was_found_and_what_is_expected(text):
    with pytest.raises(units.UnitError) as refusal:
        units.parse_force(text)
    assert refusal.value.found in text
    assert refusal.value.expected
    assert repr(refusal.value.found) in str(refusal.value)


def test_an_unknown_unit_is_answered_with_the_list_of_accepted_ones():
    with pytest.raises(units.UnitError, match=r"'stone'.*N, kN, lbf, kgf"):
        units.force_newtons(15.0, "stone")


def test_a_comma_that_could_mark_thousands_is_asked_about_rather_than_guessed():
    with pytest.raises(units.UnitError, match=r"1200 or 1\.200"):
        units.parse_force("1,200 N")
    assert units.parse_length("0,356 mm").value == 0.356


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_reading_that_is_no_number_is_refused(value):
    with pytest.raises(units.UnitError, match="finite"):
        units.force_newtons(value, "N")


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("20 1/2 lb", 20.5, "lbf"),
        ("20-1/2 lb", 20.5, "lbf"),
        ("20\u00bd", 20.5, "kgf"),
        ("\u00be kg", 0.75, "kgf"),
        ("30 lb test", 30, "lbf"),
        ("30lb. test", 30, "lbf"),
    ],
)
def test_fractions_and_the_words_of_a_label_are_read(text, value, unit):
    force = units.parse_force(text, "kgf")
    assert (force.value, force.unit) == (value, unit)


@pytest.mark.parametrize("first", ["15", "14.5", "1"])
@pytest.mark.parametrize("second", ["16", "2", "8", "5/16"])
@pytest.mark.parametrize(
    "between", ["/", " / ", "\u2044", ":", "..", "...", " ", "-", " - ", "\u2013", "\u00b1",
                " +/- ", ";", " or ", " to ", ", ", "|", "x", "*", "+"],
)  # fmt: skip
@pytest.mark.parametrize("unit", ["", " lbs"])
def test_a_text_of_two_numbers_is_no_reading_of_a_third(first, between, second, unit):
    text = f"{first}{between}{second}{unit}"
    mixed = "/" in second and between in (" ", "-") and "." not in first
    try:
        value = units.parse_force(text, "lbf").value
    except units.UnitError:
        assert not mixed
    else:
        assert mixed
        assert value == int(first) + 5 / 16


def test_the_two_numbers_of_a_fraction_alone_are_quoted():
    with pytest.raises(units.UnitError, match="15/16 can be 15 or 16 too"):
        units.parse_force("15/16", "lbf")


def test_feet_and_water_are_read_as_they_are_written():
    assert units.parse_length("2'").metres == pytest.approx(0.6096, rel=1e-14)
    assert units.parse_volume("5 l of water").cubic_metres == pytest.approx(0.005, rel=1e-14)


@pytest.mark.parametrize("text", ["10/2 lb", "1/7 lb", "1/2/3 lb", "1/0 lb", "20 1/2 1/2 lb"])
def test_what_is_no_fraction_is_refused(text):
    with pytest.raises(units.UnitError):
        units.parse_force(text)
