"""Story 10: slim, quick, no tools? Filters; what is missing is shown as missing."""

import pytest

from results.models import Connection, PoolVersion
from rigs.models import Line
from tests.pages.conftest import pool_of

pytestmark = pytest.mark.usefixtures("planted_past")

KNOWN = {"Blood": (2.0, 30.0, "none"), "Double uni": (3.0, 90.0, "needle")}
"""Bulk, seconds and tools; of Surgeon's nothing is known, of Albright what the catalogue says."""
SURGEONS = "Surgeon's"


@pytest.fixture
def described(league):
    for tie, (bulk, seconds, tools) in KNOWN.items():
        version = PoolVersion.objects.filter(pk=pool_of(tie).current.pk)
        version.update(bulk=bulk, time_to_tie_s=seconds)
        Connection.objects.filter(name=tie).update(tools=tools)
    Connection.objects.filter(name="Albright").update(slim=False, quick=True)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"most_bulk": "2.5"}, {"Blood", "Surgeon's", "Albright"}),
        ({"most_bulk": "3"}, {"Blood", "Double uni", "Surgeon's", "Albright"}),
        ({"most_seconds": "60"}, {"Blood", "Surgeon's", "Albright"}),
        ({"tools": "none"}, {"Blood", "Surgeon's", "Albright"}),
        ({"slim": "on"}, {"Blood", "Surgeon's"}),
        ({"quick": "on"}, {"Blood", "Surgeon's", "Albright"}),
        ({"slim": "on", "quick": "on", "tools": "none"}, {"Blood", "Surgeon's"}),
    ],
)
def test_joins_known_to_be_otherwise_are_left_out_and_unknown_ones_stay(
    described, read, asked, found
):
    links = read("/", **asked).links()
    ties = ("Blood", "Double uni", "Surgeon's", "Albright")
    assert {tie for tie in ties if f"/pools/{pool_of(tie).pk}/" in links} == found


def test_what_is_known_is_shown_and_what_is_not_is_shown_as_missing(described, read):
    text = read("/").text
    assert "2.0× thick 30 s no tools 4 testers" in text
    surgeons = text[text.index("Surgeon's place") : text.index("Not ranked")]
    assert "thickness not recorded time not recorded tools not recorded" in surgeons


def test_where_no_set_measured_it_the_catalogue_says_whether_a_join_is_slim_and_quick(league, read):
    Connection.objects.filter(name="Surgeon's").update(slim=False, quick=True)
    assert "bulky quick tools not recorded" in read("/").text
    assert f"/pools/{pool_of(SURGEONS).pk}/" not in read("/", slim="on").links()


def test_the_safest_worst_case_comes_first_when_asked_for(league, read):
    for tie, held in (("Blood", 0.5), ("Double uni", 0.6), ("Surgeon's", 0.55)):
        PoolVersion.objects.filter(pk=pool_of(tie).current.pk).update(held_by_nine=held)
    text = read("/", rank="worst").text
    places = [text.index(f"{tie} place") for tie in ("Double uni", "Surgeon's", "Blood")]
    assert places == sorted(places)
    assert "places are by average" in text


def test_a_size_shows_which_joins_were_pulled_on_about_such_lines(league, read):
    Line.objects.filter(name="thin").update(diameter_m=0.00035)
    assert "4 sets on lines of about these sizes." in read("/", main_size="0.38").text
    assert "4 sets on lines of about these sizes." in read("/", main_size="0.014 in").text
    assert "Not pulled on lines of about these sizes." in read("/", main_size="0.60 mm").text


def test_a_size_that_is_none_is_reported_beside_its_field(league, read):
    assert "Found thin, expected" in read("/", main_size="thin").text
