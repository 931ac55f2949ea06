"""Rigs on a phone: list, register, change, calibrate, believe; and the sheet for the bench."""

from datetime import date

import numpy as np
import pytest
from django.test import Client

from results.jobs.queue import enqueue
from results.worker.embedded import drain
from rigs.models import Calibration, Rig, RigRevision
from tests import making
from tests.pages.reading import Page

RIG = {
    "name": "garage winch",
    "made_on": "2025-10-04",
    "load_generation": "hand winch",
    "pulleys_between": "0",
    "lever_ratio": "1",
    "indicator": "digital scale",
    "peak_capture": "peak hold",
    "resolution": "0.1 lbf",
    "capacity": "110 lbf",
    "first_grip": "bollard",
    "second_grip": "bollard",
    "grip_cover": "cork tape",
    "free_length": "60 cm",
    "place": "the old boathouse",
    "latitude_deg": "55.2",
}
READ = [("0 kg", "0.0 lbf"), ("5 kg", "11.0 lbf"), ("10 kg", "22.1 lbf"), ("20 kg", "44.1 lbf")]


def browser(person) -> Client:
    client = Client()
    client.force_login(person.user, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def at_home(owner) -> Client:
    return browser(owner)


def check_weights(rows, made_on="2025-10-05") -> dict[str, str]:
    """The calibration form as a browser sends it: eight rows, those not filled in empty."""
    answer = {"made_on": made_on, "form-TOTAL_FORMS": "8", "form-INITIAL_FORMS": "0"}
    for number in range(8):
        mass, reading = rows[number] if number < len(rows) else ("", "")
        answer |= {
            f"form-{number}-mass": mass,
            f"form-{number}-tolerance": "20 g" if mass else "",
            f"form-{number}-how_known": "bought as",
            f"form-{number}-direction": "rising",
            f"form-{number}-reading": reading,
        }
    return answer


def test_a_rig_is_registered_by_a_form_and_shown_as_it_was_written(at_home, read):
    answer = at_home.post("/rigs/register/", RIG)
    rig = Rig.objects.get()
    assert answer.headers["Location"] == f"/rigs/{rig.pk}/"
    assert rig.latest.resolution_N == pytest.approx(0.44482, abs=1e-5)
    text = Page(at_home.get(f"/rigs/{rig.pk}/")).text
    assert "in steps of 0.1 lbf up to 110 lbf" in text
    assert "bollard and bollard, cork tape; free length 60 cm" in text
    shown = read(f"/rigs/{rig.pk}/").text
    assert "bollard and bollard; free length 60 cm" in shown
    assert "garage winch" not in shown
    assert f"rig {rig.pk}" in shown


def test_where_a_rig_stands_is_shown_to_its_owner_alone(at_home, other, read):
    at_home.post("/rigs/register/", RIG)
    address = f"/rigs/{Rig.objects.get().pk}/"
    assert "the old boathouse" in Page(at_home.get(address)).text
    assert "boathouse" not in read(address).text
    assert "boathouse" not in Page(browser(other).get(address)).text


def test_what_is_wrong_in_a_form_is_reported_beside_its_field_and_nothing_is_stored(at_home):
    wrong = {**RIG, "resolution": "0.1 stone", "lever_ratio": "0", "free_length": "60 m"}
    answer = at_home.post("/rigs/register/", wrong)
    assert answer.status_code == 422
    text = Page(answer).text
    assert "Nothing was stored yet." in text
    assert "Found 0.1 stone, expected a unit: N, kN, lbf" in text
    assert "Expected from 0.01 to 100." in text
    assert "Expected from 0.05 to 50 m." in text
    assert not Rig.objects.exists()


def test_a_name_that_is_taken_is_reported(at_home):
    at_home.post("/rigs/register/", RIG)
    answer = at_home.post("/rigs/register/", {**RIG, "name": "Garage Winch"})
    assert answer.status_code == 422
    assert "a name that is not taken" in Page(answer).text


def test_a_change_starts_from_the_rig_as_it_was_and_needs_what_and_why(at_home, read):
    at_home.post("/rigs/register/", RIG)
    rig = Rig.objects.get()
    address = f"/rigs/{rig.pk}/change/"
    form = Page(at_home.get(address))
    assert form.all("input", name="grip_cover", value="cork tape")
    assert form.all("input", name="capacity", value="110 lbf")
    assert form.all("option", value="hand winch", selected=None)
    [day] = form.all("input", name="made_on")
    assert date.fromisoformat(day["value"])  # the only form in which a browser takes a day
    change = {**RIG, "made_on": "2025-12-01", "grip_cover": "rubber tape"}
    assert at_home.post(address, change).status_code == 422
    change |= {"what_changed": "rubber tape in place of cork", "why": "braid slid"}
    assert at_home.post(address, change).status_code == 302
    assert RigRevision.objects.get(number=2).grip_cover == "rubber tape"
    text = Page(at_home.get(f"/rigs/{rig.pk}/")).text
    assert "Revision 2, since 1 Dec 2025 rubber tape in place of cork, because: braid slid" in text
    assert "braid slid" not in read(f"/rigs/{rig.pk}/").text
    assert "Nothing was pulled both before and after" in text


def test_check_weights_are_entered_row_by_row_and_come_back_as_a_calibration(at_home, read):
    at_home.post("/rigs/register/", RIG)
    rig = Rig.objects.get()
    address = f"/revisions/{rig.latest.pk}/calibrate/"
    assert "room for 8 readings" in Page(at_home.get(address)).text
    assert "room for 16 readings" in Page(at_home.get(address, {"rows": "16"})).text
    assert at_home.post(address, check_weights(READ)).status_code == 302
    [calibration] = Calibration.objects.all()
    readings = calibration.readings.all()
    assert [r.mass_written for r in readings] == [mass for mass, _ in READ]
    assert readings[0].tolerance_written == "20 g"
    assert readings[0].u_mass_kg == pytest.approx(0.02 / 3**0.5)  # GUM 4.3.7, rectangular
    text = read(f"/rigs/{rig.pk}/").text
    assert "Calibrated 5 Oct 2025: no class of ISO 7500-1" in text
    assert "does not cancel in an efficiency" in text
    for private in ("a class takes at least 5", "5 kg ± 20 g"):
        assert private not in text
        assert private in Page(at_home.get(f"/rigs/{rig.pk}/")).text


@pytest.mark.parametrize(
    ("rows", "made_on", "expected"),
    [
        (READ[:3], "2025-10-05", "at least three"),
        ([("5 kg", "11 lbf")] * 4, "2025-10-05", "same check weight"),
        ([(mass, f"{90 - 2 * n} lbf") for n, (mass, _) in enumerate(READ)], "2025-10-05", "rise"),
        ([*READ, ("60 kg", "132 lbf")], "2025-10-05", "at most the rig's capacity, 110 lbf"),
        ([*READ, ("6 stone", "84 lbf")], "2025-10-05", "Found 6 stone"),
        (READ, "2025-01-01", "a day not before the revision itself"),
        (READ, "2999-01-01", "a day not after today"),
    ],
    ids=[
        "two weights",
        "one mass",
        "falling",
        "beyond the capacity",
        "no unit of mass",
        "before the rig",
        "to come",
    ],
)
def test_a_calibration_that_can_not_be_right_is_reported_and_not_stored(
    at_home, rows, made_on, expected
):
    at_home.post("/rigs/register/", RIG)
    address = f"/revisions/{Rig.objects.get().latest.pk}/calibrate/"
    answer = at_home.post(address, check_weights(rows, made_on))
    assert answer.status_code == 422
    assert expected in Page(answer).text
    assert not Calibration.objects.exists()


def test_pounds_read_as_kilograms_are_suspected_on_the_page(at_home, read):
    at_home.post("/rigs/register/", {**RIG, "capacity": ""})
    rig = Rig.objects.get()
    pounds_as_kilograms = [(mass, reading.replace("lbf", "kgf")) for mass, reading in READ]
    at_home.post(f"/revisions/{rig.latest.pk}/calibrate/", check_weights(pounds_as_kilograms))
    assert (
        "the scale shows lbf but its readings were entered as kgf" in read(f"/rigs/{rig.pk}/").text
    )


@pytest.mark.parametrize("row", range(len(READ)))
@pytest.mark.parametrize("slip", ["10", "1.1", "0.1"])
def test_a_slip_in_one_reading_is_asked_about_before_it_is_stored(at_home, row, slip):
    at_home.post("/rigs/register/", {**RIG, "capacity": ""})
    address = f"/revisions/{Rig.objects.get().latest.pk}/calibrate/"
    slipped = list(READ)
    mass, reading = READ[row]
    value, unit = reading.split()
    slipped[row] = (mass, f"{float(value) * float(slip) or 3:.1f} {unit}")
    answer = at_home.post(address, check_weights(slipped))
    assert answer.status_code == 422
    page = Page(answer)
    assert f"Found {slipped[row][1]} under {mass}, expected about" in page.text
    assert page.all("input", name="looked_at")
    assert not Calibration.objects.exists()
    at_home.post(address, check_weights(slipped) | {"looked_at": "on"})
    assert Calibration.objects.exists()


@pytest.mark.parametrize("page", ["change", "calibrate"])
def test_a_rig_of_someone_else_can_not_be_changed(owner, other, page):
    revision = making.revision_of(owner)
    addresses = {
        "change": f"/rigs/{revision.rig_id}/change/",
        "calibrate": f"/revisions/{revision.pk}/calibrate/",
    }
    assert browser(other).get(addresses[page]).status_code == 403
    stranger = Client().get(addresses[page])
    assert stranger.headers["Location"].startswith("/sign-in/?next=")


def test_signing_in_leads_to_ones_own_rigs(owner):
    owner.user.set_password("cork tape and a long line")
    owner.user.save()
    making.revision_of(owner, name="mine")
    client = Client()
    answer = client.post(
        "/sign-in/",
        {"login": "owner", "password": "cork tape and a long line", "next": "/rigs/"},
        follow=True,
    )
    text = Page(answer).text
    assert text.index("Your rigs") < text.index("mine") < text.index("All rigs")


def test_the_page_of_a_rig_takes_few_queries_however_much_was_pulled(
    owner, django_assert_max_num_queries
):
    rng = np.random.default_rng(1)
    revision = making.revision_of(owner)
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    for day in range(1, 11):
        session = making.session(revision, pulled_on=date(2026, 1, day))
        main, leader = making.line("thin"), making.line("thick", label_N=180)
        making.straight(session, main, 100 * np.exp(rng.normal(0, 0.02, 5)))
        making.joined(session, main, leader, 80 * np.exp(rng.normal(0, 0.05, 5)))
        enqueue(session)
    drain()
    with django_assert_max_num_queries(12):
        answer = Client().get(f"/rigs/{revision.rig_id}/")
    assert "change per session" in Page(answer).text
    assert len(answer.content) < 150_000


def test_a_set_shows_what_to_improve_first(owner, read):
    revision = making.revision_of(owner)
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    session = making.session(revision)
    making.straight(session, making.line("thin"))
    lines = making.line("thin"), making.line("thick", label_N=180)
    pull_set = making.joined(session, *lines, [60, 100, 80, 70, 90])
    enqueue(session)
    drain()
    text = read(f"/pull-sets/{pull_set.pk}/").text
    assert "Pull more of these ties" in text
    assert "Tying: scatter of joined pulls" in text
    assert "Uncertainty budget of a load" in text


def test_the_bench_sheet_names_the_rig_and_leaves_numbered_rows_for_the_pencil(owner, read):
    revision = making.revision_of(owner)
    making.line("thin"), making.connection()
    page = read("/bench-sheet/", rig=revision.rig_id, by=owner)
    assert "shed winch, revision 1" in page.text
    assert "shed winch" not in read("/bench-sheet/", rig=revision.rig_id).text
    assert "Straight line, before the joins" in page.text
    assert page.text.count("10 ") >= 3
    assert "slip the join slipped or came undone" in page.text
    assert "eye protection" in page.text


def test_an_open_bench_sheet_is_there_for_a_stranger(db, read):
    assert "Bench sheet" in read("/bench-sheet/").text
    assert "Bench sheet" in read("/bench-sheet/", rig="none of it").text
