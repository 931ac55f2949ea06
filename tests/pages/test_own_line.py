"""A reader's own line: the load to expect stands beside every share of the straight line."""

import pytest
from django.test import Client

from results.models import NormalisedSet
from rigs.models import Line
from tests.pages.conftest import pool_of
from tests.pages.reading import Page

STRENGTH_LBF = 40.0
PAIR = "/compare/?main=nylon+monofilament&leader=nylon+monofilament"


def loads_of(page: Page) -> list[str]:
    return [" ".join(found.split()) for found in page.text.split("%")]


@pytest.fixture
def reader() -> Client:
    """Somebody who entered a line on the list, and goes on from there."""
    client = Client()
    client.get("/", {"strength": "40 lbf"})
    return client


def test_the_load_stands_beside_every_share_on_every_page_from_then_on(league, reader):
    pool = pool_of("Blood")
    version = pool.current
    load = f"{STRENGTH_LBF * version.efficiency:.1f} lbf"
    for address in (
        "/",
        f"/pools/{pool.pk}/",
        f"/pools/{pool.pk}/versions/{version.number}/",
        PAIR,
        f"/connections/{pool.connection_id}/",
        f"/lines/{Line.objects.get(name='thin').pk}/",
    ):
        text = Page(reader.get(address)).text
        assert f"{100 * version.efficiency:.1f}% {load}" in text, address
        low, high = (STRENGTH_LBF * each for each in (version.interval_low, version.interval_high))
        assert f"{low:.1f} to {high:.1f} lbf" in text, address


def test_a_label_counts_for_what_such_lines_held_of_theirs(league, read):
    sets = NormalisedSet.objects.filter(pool=pool_of("Blood"))
    ratios = sorted(
        each.baseline_mean_N / each.baseline.line.label_strength_N
        for each in sets.select_related("baseline__line")
    )
    middle = (ratios[1] + ratios[2]) / 2
    load = STRENGTH_LBF * middle * pool_of("Blood").current.efficiency
    text = read("/", strength="40 lbf", by_label="on").text
    assert f"{load:.1f} lbf" in text


def test_where_no_label_is_known_a_label_gives_no_loads(league, read):
    Line.objects.update(label_strength_N=None)
    assert "lbf" not in read("/", strength="40 lbf", by_label="on").text.split("Compare")[0]


def test_an_empty_strength_is_forgotten_and_a_wrong_one_is_reported_and_not_kept(league, reader):
    refused = reader.get("/", {"strength": "strong"})
    assert "Found strong, expected" in Page(refused).text
    assert "lbf" in Page(reader.get("/")).text
    reader.get("/", {"strength": ""})
    assert reader.cookies["own_line"].value == ""
    text = Page(reader.get("/")).text
    assert " lbf" not in text.replace("40 lbf or 18 kg", "")
