"""Calibrations: check weights in, a line with its uncertainties out, or what is wrong with them."""

import json
import re
from pathlib import Path

import pytest

from rigs.models import Calibration
from tests.api.documents import calibrate, register

CLASSES = Path(__file__).parents[1] / "data/metrology/force-reading-classes.json"
KILOGRAM_FORCE = 9.80665  # N, exact (CGPM 1901)
GRAVITY_AT_55_DEGREES_AND_200_M = 9.81  # m/s2, WGS 84 (NIMA TR8350.2) has 9.814456


def points(gain, offset_N, masses=(0, 5, 10, 20)):
    """Readings in newtons of a scale with this gain and offset, under steel in air."""
    forces = [m * GRAVITY_AT_55_DEGREES_AND_200_M * (1 - 1.2 / 8000) for m in masses]
    return [
        {
            "mass": f"{mass} kg",
            "how_known": "certified",
            "reading": f"{gain * force + offset_N:.6f} N",
        }
        for mass, force in zip(masses, forces, strict=True)
    ]


def test_gain_and_zero_error_come_out_with_the_local_gravity_of_the_place(as_owner):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(gain=1.05, offset_N=3.0))
    assert answer.status_code == 201
    shown = answer.json()
    assert shown["local_gravity"] == GRAVITY_AT_55_DEGREES_AND_200_M
    assert shown["gain"] == pytest.approx(1.05, rel=1e-6)
    assert shown["offset_N"] == pytest.approx(3.0, abs=1e-4)
    assert shown["degrees_of_freedom"] == 2
    assert [point["residual_N"] for point in shown["points"]] == pytest.approx([0] * 4, abs=1e-4)


def test_what_was_written_is_given_back(as_owner):
    revision = register(as_owner)["revisions"][0]
    written = [
        {"mass": "5 kg", "how_known": "bought as", "tolerance": "30 g", "reading": "11,2 lbf"},
        {"mass": "22 lb", "how_known": "coins or plates", "reading": "22.1 lbf"},
        {
            "mass": "20 kg",
            "how_known": "certified",
            "reading": "44.2 lbf",
            "direction": "falling",
        },
    ]
    answer = calibrate(as_owner, revision, written).json()["points"]
    assert [point["mass"]["written"] for point in answer] == ["5 kg", "22 lb", "20 kg"]
    assert answer[0]["reading"] == {"written": "11,2 lbf", "N": pytest.approx(49.8201, abs=1e-4)}
    assert answer[1]["mass"]["kg"] == pytest.approx(9.97903214)  # 22 x 0.45359237, exact
    # GUM 4.3.7: a value known to lie within +-a has the standard uncertainty a/sqrt(3)
    assert answer[0]["u_mass_kg"] == pytest.approx(0.0173205, rel=1e-5)
    assert [point["direction"] for point in answer] == ["rising", "rising", "falling"]


def test_a_latitude_given_with_the_calibration_goes_before_the_rigs(as_owner):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(1, 0), latitude_deg=0, height_m=0).json()
    assert answer["local_gravity"] == 9.78  # WGS 84 has 9.780325 at the equator


def test_without_a_place_the_standard_gravity_stands_in_and_the_gain_is_less_sure(as_owner):
    placed = register(as_owner, "placed")["revisions"][0]
    unplaced = register(as_owner, "unplaced", latitude_deg=None, height_m=None)["revisions"][0]
    sure = calibrate(as_owner, placed, points(1, 0)).json()
    unsure = calibrate(as_owner, unplaced, points(1, 0)).json()
    assert unsure["local_gravity"] == KILOGRAM_FORCE
    assert unsure["u_gain"] > sure["u_gain"]


def test_three_rounds_of_five_weights_meet_a_class_and_fewer_say_what_is_missing(as_owner):
    revision = register(as_owner, resolution="0.1 N", capacity=None)["revisions"][0]
    few = calibrate(as_owner, revision, points(1, 0)).json()["reading_class"]
    assert few["force_class"] is None
    assert "at least 5" in few["why_not_better"][0]
    rounds = points(1, 0, (5, 10, 15, 20, 25)) * 3
    full = calibrate(as_owner, revision, rounds).json()["reading_class"]
    assert full["why_not_better"] == []
    # 0.1 N of 49 N is 0.2 percent; class 0.5 allows a resolution of 0.25 (ISO 7500-1:2018, table 2)
    assert (full["force_class"], full["why_not_better"]) == (0.5, [])
    assert [at["rising_readings"] for at in full["forces"]] == [3] * 5


def test_errors_under_each_weight_are_those_of_the_constructed_calibration(as_owner):
    """ISO 7500-1:2018, table 2, on a made-up calibration whose arithmetic was done apart."""
    made = json.loads(CLASSES.read_text())["constructed_example"]
    revision = register(as_owner, resolution="0.1 N", capacity=None)["revisions"][0]
    at_981 = {"latitude_deg": 49.21465, "height_m": 0}  # WGS 84: 9.81 m/s2 to the digits compared
    rounds = [
        {"mass": f"{row['mass_kg']} kg", "how_known": "certified", "reading": f"{reading} N"}
        for row in made["rows"]
        for reading in row["readings_N"]
    ]
    answer = calibrate(as_owner, revision, rounds, **at_981).json()["reading_class"]
    assert answer["force_class"] == made["class_of_range"]
    for found, expected in zip(answer["forces"], made["rows"], strict=True):
        assert found["indication"] == pytest.approx(expected["q_percent"], abs=0.01)
        assert found["repeatability"] == pytest.approx(expected["b_percent"], rel=1e-3)
        assert found["force_class"] == expected["class"]
    assert any("repeatability at 19.6" in why for why in answer["why_not_better"])


def test_unloading_shows_the_hysteresis_and_the_zero_that_comes_back(as_owner):
    revision = register(as_owner, resolution="0.1 N", capacity=None)["revisions"][0]
    falling = [{**point, "direction": "falling"} for point in points(1.01, 0.5)]
    at_20_kg = calibrate(as_owner, revision, points(1, 0) + falling).json()["reading_class"][
        "forces"
    ][-1]
    force_N = 20 * GRAVITY_AT_55_DEGREES_AND_200_M * (1 - 1.2 / 8000)
    assert at_20_kg["reversibility"] == pytest.approx(100 * (0.01 + 0.5 / force_N), rel=1e-4)
    assert at_20_kg["zero"] == pytest.approx(100 * 0.5 / force_N, rel=1e-4)


def test_water_is_weighed_by_its_volume_and_temperature(as_owner):
    """Ten litres at 20 C: 998.207 kg/m3 (Tanaka et al. 2001), of which air bears 0.12 percent."""
    revision = register(as_owner)["revisions"][0]
    water = {"mass": "10 l", "temperature_C": 20, "how_known": "water by volume"}
    rows = [*points(1, 0, (0, 5, 20)), {**water, "tolerance": "50 g", "reading": "97.8 N"}]
    point = calibrate(as_owner, revision, rows).json()["points"][-1]
    assert point["mass"] == {"written": "10 l", "kg": pytest.approx(9.98207, abs=1e-5)}
    assert point["tolerance"] == {"written": "50 g", "kg": pytest.approx(0.05)}
    expected = 9.98207 * GRAVITY_AT_55_DEGREES_AND_200_M * (1 - 1.2 / 998.207)
    assert point["force_N"] == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("point", "field"),
    [
        ({"mass": "10 l", "how_known": "water by volume"}, "temperature_C"),
        ({"mass": "10 l", "how_known": "certified", "temperature_C": 20}, "how_known"),
        ({"mass": "10 l", "how_known": "water by volume", "temperature_C": 60}, "temperature_C"),
        ({"mass": "5000 l", "how_known": "water by volume", "temperature_C": 20}, "mass"),
    ],
)
def test_water_that_can_not_be_weighed_is_reported_by_its_row(as_owner, point, field):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, [*points(1, 0), {**point, "reading": "98 N"}])
    assert answer.status_code == 422
    assert [(f["row"], f["field"]) for f in answer.json()["findings"]] == [("points[4]", field)]


def test_a_bent_rig_is_warned_that_it_bends(as_owner):
    revision = register(as_owner, capacity=None)["revisions"][0]
    bent = points(1, 0, (0, 5, 10, 15, 20, 25))
    for point in bent:
        reading_N = float(point["reading"].split()[0])
        point["reading"] = f"{reading_N - 4e-5 * reading_N**2:.6f} N"
    answer = calibrate(as_owner, revision, bent).json()
    assert answer["curvature"]["p_value"] < 0.001
    # c2 (range/2)^2 over the range of readings: 4e-5 x 122.66^2 / 242.9, in percent
    assert answer["curvature"]["bend_percent"] == pytest.approx(0.248, abs=0.003)
    assert any("bend" in note for note in answer["notes"])


def test_a_calibration_says_when_it_is_due_and_when_it_ends(as_owner):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(1, 0), made_on="2025-10-05").json()
    # A year is usual, 26 months the most (ISO 7500-1)
    assert (answer["due_on"], answer["expires_on"]) == ("2026-10-05", "2027-12-05")


def test_the_residual_plot_has_an_address_of_its_own(as_owner, client):
    revision = register(as_owner)["revisions"][0]
    address = calibrate(as_owner, revision, points(1, 0.2)).json()["residual_plot"]
    drawing = client.get(address)
    assert drawing["Content-Type"] == "image/svg+xml"
    assert "check weight, percent of the heaviest" in drawing.content.decode()
    assert client.get(address.replace(".svg", "-dark.svg")).content != drawing.content
    assert client.get(address.replace(".svg", ".png")).content.startswith(b"\x89PNG")


def test_pounds_entered_as_kilograms_are_suspected(as_owner):
    revision = register(as_owner, capacity=None)["revisions"][0]
    pounds = [
        {"mass": f"{mass} kg", "how_known": "certified", "reading": f"{mass / 0.45359237:.4f} kgf"}
        for mass in (5, 10, 20)
    ]
    notes = calibrate(as_owner, revision, pounds).json()["notes"]
    assert "lbf but its readings were entered as kgf" in notes[0]


def test_a_zero_error_a_missing_tolerance_and_a_missing_place_are_reported(as_owner):
    revision = register(as_owner, latitude_deg=None)["revisions"][0]
    off = points(1, 3)
    off[1]["how_known"] = "bought as"
    answer = " ".join(calibrate(as_owner, revision, off).json()["notes"])
    assert "3 N too much at zero" in answer
    assert "does not cancel in an efficiency" in answer
    assert "No latitude was given" in answer
    assert "tolerance" in answer


@pytest.mark.parametrize(
    ("masses", "field", "expected"),
    [
        ((5, 10), "mass", "at least three"),
        ((5, 5, 5, 5), "mass", "same check weight"),
    ],
)
def test_too_few_check_weights_make_no_line(as_owner, masses, field, expected):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(1, 0, masses))
    assert answer.status_code == 422
    assert expected in answer.json()["detail"]
    assert answer.json()["findings"][0]["field"] == field
    assert not Calibration.objects.exists()


def test_a_reading_that_falls_with_mass_is_refused(as_owner):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(-0.5, 200))
    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] == "reading"


def test_a_reading_beyond_the_capacity_is_reported_by_its_row(as_owner):
    revision = register(as_owner, capacity="150 N")["revisions"][0]
    answer = calibrate(as_owner, revision, points(1, 0))
    assert answer.status_code == 422
    [finding] = answer.json()["findings"]
    assert (finding["row"], finding["field"]) == ("points[3]", "reading")
    assert "150 N" in finding["expected"]


def test_mistakes_in_points_are_reported_by_row_and_field(as_owner):
    revision = register(as_owner)["revisions"][0]
    wrong = points(1, 0)
    wrong[1]["mass"] = "5 stones"
    wrong[2]["reading"] = 12
    answer = calibrate(as_owner, revision, wrong)
    assert answer.status_code == 422
    found = {(f["row"], f["field"]): f["found"] for f in answer.json()["findings"]}
    assert found == {("points[1]", "mass"): "5 stones", ("points[2]", "reading"): "12"}


@pytest.mark.parametrize("made_on", ["2999-01-01", "2025-01-01"])
def test_a_calibration_lies_between_its_revision_and_today(as_owner, made_on):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(1, 0), made_on=made_on)
    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] == "made_on"


def test_no_one_calibrates_a_rig_of_someone_else(as_owner, as_other):
    revision = register(as_owner)["revisions"][0]
    assert calibrate(as_other, revision, points(1, 0)).status_code == 403


def test_calibrations_are_listed_newest_first_in_as_many_queries_however_many(
    as_owner, as_stranger, django_assert_num_queries
):
    revision = register(as_owner)["revisions"][0]
    for made_on in ("2025-10-05", "2025-11-05", "2025-10-20"):
        calibrate(as_owner, revision, points(1, 0), made_on=made_on)
    address = f"/api/v1/revisions/{revision['id']}/calibrations"
    with django_assert_num_queries(4):  # the revision, count, calibrations, readings
        listed = as_stranger.get(address).json()["results"]
    assert [c["made_on"] for c in listed] == ["2025-11-05", "2025-10-20", "2025-10-05"]


WORKED_OUT = (
    "local_gravity",
    "gain",
    "offset_N",
    "u_gain",
    "u_offset_N",
    "correlation",
    "residual_sd_N",
    "degrees_of_freedom",
    "lowest_N",
    "highest_N",
)


def test_no_number_that_a_stranger_reads_of_a_calibration_gives_away_the_local_gravity(
    as_owner, as_stranger
):
    """A force beside a round mass does: gravity runs from 9.780 to 9.832 m/s2 (WGS 84)."""
    revision = register(as_owner)["revisions"][0]
    address = calibrate(as_owner, revision, points(1.05, 0.2)).json()["url"]
    masses = (5, 10, 15, 20, 40)

    def telling(client) -> list[str]:
        found = re.findall(r"\d+\.\d+", client.get(address).content.decode())
        return [
            number
            for number in found
            for mass in masses
            if len(number.replace(".", "").strip("0")) > 2 and 9.76 < float(number) / mass < 9.85
        ]

    assert telling(as_stranger) == []
    assert telling(as_owner) != []


def test_all_that_is_worked_out_of_a_calibration_is_the_same_a_hundred_kilometres_away(as_owner):
    """Gain and zero error can be found from readings and loads to the last digit, and so can what
    went into them: 54.0 and 55.2 degrees are 9.8138 and 9.8148 m/s2 (WGS 84)."""
    revision = register(as_owner)["revisions"][0]
    found = []
    for latitude in (54.0, 55.2):
        calibrate(as_owner, revision, points(1.05, 0.2), latitude_deg=latitude)
        found.append(Calibration.objects.order_by("-pk").values(*WORKED_OUT)[0])
    assert found[0] == found[1]
