"""Calibrations: check weights in, a line with its uncertainties out, or what is wrong with them."""

import pytest

from rigs.models import Calibration
from tests.api.documents import calibrate, register

KILOGRAM_FORCE = 9.80665  # N, exact (CGPM 1901)
GRAVITY_AT_55_DEGREES_AND_200_M = 9.814456  # m/s2, WGS 84 (NIMA TR8350.2), to 7 digits


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
    told = answer.json()
    assert told["local_gravity"] == pytest.approx(GRAVITY_AT_55_DEGREES_AND_200_M, abs=1e-6)
    assert told["gain"] == pytest.approx(1.05, rel=1e-6)
    assert told["offset_N"] == pytest.approx(3.0, abs=1e-4)
    assert told["degrees_of_freedom"] == 2
    assert [point["residual_N"] for point in told["points"]] == pytest.approx([0] * 4, abs=1e-4)


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
    told = calibrate(as_owner, revision, written).json()["points"]
    assert [point["mass"]["written"] for point in told] == ["5 kg", "22 lb", "20 kg"]
    assert told[0]["reading"] == {"written": "11,2 lbf", "N": pytest.approx(49.8201, abs=1e-4)}
    assert told[1]["mass"]["kg"] == pytest.approx(9.97903214)  # 22 x 0.45359237, exact
    # GUM 4.3.7: a value known to lie within +-a has the standard uncertainty a/sqrt(3)
    assert told[0]["u_mass_kg"] == pytest.approx(0.0173205, rel=1e-5)
    assert [point["direction"] for point in told] == ["rising", "rising", "falling"]


def test_a_latitude_told_with_the_calibration_goes_before_the_rigs(as_owner):
    revision = register(as_owner)["revisions"][0]
    told = calibrate(as_owner, revision, points(1, 0), latitude_deg=0, height_m=0).json()
    assert told["local_gravity"] == pytest.approx(9.780325, abs=1e-6)  # WGS 84 at the equator


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


def test_pounds_entered_as_kilograms_are_suspected(as_owner):
    revision = register(as_owner, capacity=None)["revisions"][0]
    pounds = [
        {"mass": f"{mass} kg", "how_known": "certified", "reading": f"{mass / 0.45359237:.4f} kgf"}
        for mass in (5, 10, 20)
    ]
    notes = calibrate(as_owner, revision, pounds).json()["notes"]
    assert "lbf but its readings were entered as kgf" in notes[0]


def test_a_zero_error_a_missing_tolerance_and_a_missing_place_are_told(as_owner):
    revision = register(as_owner, latitude_deg=None)["revisions"][0]
    off = points(1, 3)
    off[1]["how_known"] = "bought as"
    told = " ".join(calibrate(as_owner, revision, off).json()["notes"])
    assert "3 N too much at zero" in told
    assert "does not cancel in an efficiency" in told
    assert "No latitude was told" in told
    assert "tolerance" in told


@pytest.mark.parametrize(
    ("masses", "field", "told"),
    [
        ((5, 10), "mass", "at least three"),
        ((5, 5, 5, 5), "mass", "same check weight"),
    ],
)
def test_too_few_check_weights_make_no_line(as_owner, masses, field, told):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(1, 0, masses))
    assert answer.status_code == 422
    assert told in answer.json()["detail"]
    assert answer.json()["findings"][0]["field"] == field
    assert not Calibration.objects.exists()


def test_a_reading_that_falls_with_mass_is_refused(as_owner):
    revision = register(as_owner)["revisions"][0]
    answer = calibrate(as_owner, revision, points(-0.5, 200))
    assert answer.status_code == 422
    assert answer.json()["findings"][0]["field"] == "reading"


def test_a_reading_beyond_the_capacity_is_told_by_its_row(as_owner):
    revision = register(as_owner, capacity="150 N")["revisions"][0]
    answer = calibrate(as_owner, revision, points(1, 0))
    assert answer.status_code == 422
    [finding] = answer.json()["findings"]
    assert (finding["row"], finding["field"]) == ("points[3]", "reading")
    assert "150 N" in finding["expected"]


def test_mistakes_in_points_are_told_by_row_and_field(as_owner):
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


def test_nobody_calibrates_a_rig_of_someone_else(as_owner, as_other):
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
