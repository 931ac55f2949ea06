"""Charts have stable addresses, for a light ground, a dark one, and to post."""

import struct
from xml.etree import ElementTree

import pytest
from django.test import Client

from results.charts import cards
from tests.pages.conftest import pool_of

PAIR = "?main=nylon+monofilament&leader=nylon+monofilament"
PNG = b"\x89PNG\r\n\x1a\n"


def words(drawing: bytes) -> list[str]:
    return [found.text for found in ElementTree.fromstring(drawing).iter() if found.text]


def of_pool(part: str) -> str:
    return f"/pools/{pool_of('Blood').pk}/{part}"


@pytest.mark.parametrize("chart", ["forest", "pulls", "history", "left-out"])
@pytest.mark.parametrize("ending", [".svg", "-dark.svg", ".png"])
def test_each_chart_of_a_pool_is_served(league, chart, ending):
    answer = Client().get(of_pool(chart + ending))
    assert answer.status_code == 200
    if ending == ".png":
        assert answer.content.startswith(PNG)
    else:
        assert "Blood" in " ".join(words(answer.content))
        assert b"NaN" not in answer.content


@pytest.mark.parametrize("ending", [".svg", "-dark.svg", ".png"])
def test_the_joins_of_a_line_pair_are_drawn_side_by_side(league, ending):
    answer = Client().get(f"/compare/joins{ending}{PAIR}")
    assert answer.status_code == 200
    if ending != ".png":
        assert {"Blood, 4 testers", "Surgeon's, 4 testers"} <= set(words(answer.content))


def test_light_and_dark_show_the_same_in_other_colours(league):
    light, dark = (Client().get(of_pool(f"pulls{end}.svg")).content for end in ("", "-dark"))
    assert words(light) == words(dark)
    assert light != dark


def test_a_posted_link_carries_a_card_of_the_size_that_is_shown_whole(league, read):
    page = read(of_pool(""))
    (image,) = page.all("meta", property="og:image")
    assert image["content"] == "http://testserver" + of_pool("card.png")
    card = Client().get(of_pool("card.png")).content
    assert card.startswith(PNG)
    assert struct.unpack(">II", card[16:24]) == (1200, 630)


def test_the_card_shows_the_figure_what_to_expect_its_version_and_the_caution(league):
    version = pool_of("Blood").current
    said = " ".join(words(cards.pool_card(version).encode()))
    low, high = 100 * version.prediction_low, 100 * version.prediction_high
    assert f"{100 * version.efficiency:.1f}%" in said
    assert f"If you tie it, expect a set to average {low:.1f} to {high:.1f}%" in said
    assert f"version {version.number}" in said
    assert cards.CAUTION in said
    assert cards.CAUTION in " ".join(words(cards.service_card().encode()))


def test_a_version_has_a_card_of_its_own_and_its_citation_leads_to_it(league, read):
    version = pool_of("Blood").current
    page = read(of_pool(f"versions/{version.number}/"))
    (image,) = page.all("meta", property="og:image")
    card = Client().get(image["content"].removeprefix("http://testserver"))
    assert card.content.startswith(PNG)
    assert Client().get(of_pool("versions/404/card.png")).status_code == 404
    whole = read(of_pool(""))
    cited = f"http://testserver{of_pool(f'versions/{version.number}/')}"
    assert cited in whole.text[whole.text.index("How to cite it") :]


def test_a_pool_of_too_few_testers_has_a_card_too(league):
    answer = Client().get(f"/pools/{pool_of('Albright').pk}/card.png")
    assert answer.content.startswith(PNG)


@pytest.mark.parametrize("part", ["pulls.svg", "history.png", "left-out.svg", "card.png"])
def test_charts_of_no_pool_are_not_found(db, part):
    assert Client().get(f"/pools/404/{part}").status_code == 404


def test_three_testers_or_fewer_are_not_left_out_in_turn(league):
    assert Client().get(f"/pools/{pool_of('Albright').pk}/left-out.svg").status_code == 404
