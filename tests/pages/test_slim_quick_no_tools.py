"""Story 10: slim, quick, no tools? Filters; what is missing is shown as missing."""

import pytest

from results.models import Connection, PoolVersion
from rigs.models import Line
from tests.pages.conftest import pool_of

pytestmark = pytest.mark.usefixtures("planted_past")

KNOWN = {"Blood": (2.0, 30.0, "none"), "Double uni": (3.0, 90.0, "needle")}
"""Bulk, seconds and tools; of Surgeon's nothing is known."""


@pytest.fixture
def described(league):
    for tie, (bulk, seconds, tools) in KNOWN.items():
        version = PoolVersion.objects.filter(pk=pool_of(tie).current.pk)
        version.update(bulk=bulk, time_to_tie_s=seconds)
        Connection.objects.filter(name=tie).update(tools=tools)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"most_bulk": "2.5"}, {"Blood", "Surgeon's"}),
        ({"most_bulk": "3"}, {"Blood", "Double uni", "Surgeon's"}),
        ({"most_seconds": "60"}, {"Blood", "Surgeon's"}),
        ({"tools": "none"}, {"Blood", "Surgeon's"}),
    ],
)
def test_joins_known_to_be_otherwise_are_left_out_and_unknown_ones_stay(
    described, read, asked, found
):
    links = read("/", **asked).links()
    ties = ("Blood", "Double uni", "Surgeon's")
    assert {tie for tie in ties if f"/pools/{pool_of(tie).pk}/" in links} == found


def test_what_is_known_is_shown_and_what_is_not_is_shown_as_missing(described, read):
    text = read("/").text
    assert "Bulk 2.0 ×, time 30 s, tools none." in text
    surgeons = text[text.index("Surgeon's place") : text.index("Not ranked")]
    assert "Bulk not measured , time not recorded , tools not recorded ." in surgeons


def test_a_size_shows_which_joins_were_pulled_on_about_such_lines(league, read):
    Line.objects.filter(name="thin").update(diameter_m=0.00035)
    assert "4 sets on lines of about these sizes." in read("/", main_size="0.38").text
    assert "4 sets on lines of about these sizes." in read("/", main_size="0.014 in").text
    assert "Not pulled on lines of about these sizes." in read("/", main_size="0.60 mm").text


def test_a_size_that_is_none_is_reported_beside_its_field(league, read):
    assert "Found thin, expected" in read("/", main_size="thin").text
