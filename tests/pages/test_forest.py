"""The forest plot: drawn with each version of a pool, legible in both themes, never in the way."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest
from django.test import Client

from results.charts.forest_plot import (
    DARK,
    LIGHT,
    Forest,
    ForestRow,
    PooledRow,
    darkened,
    domain,
    svg,
)
from results.intake import amend
from results.models import NormalisedSet, PoolVersion
from results.worker.embedded import drain
from tests.api.leagues import send
from tests.pages.conftest import pool_of
from tests.pages.contrast import contrast, grounds
from tests.people import contributor

NOT_NUMBERS = re.compile("NaN|Infinity|undefined")
POOLED = PooledRow(80.0, 77.0, 83.0, 70.0, 91.0)


def words(drawing: str) -> list[str]:
    return [found.text for found in ElementTree.fromstring(drawing).iter() if found.text]


def drawn(*rows: ForestRow, pooled: PooledRow | None = POOLED) -> str:
    return svg(Forest("Blood", ("nylon to nylon, dry", "4 testers"), rows, pooled))


def test_a_pool_has_a_row_for_each_tester_and_one_for_all(league):
    version = pool_of("Blood").current
    answer = words(version.forest_light)
    for number in range(4):
        assert f"tester {number}, 1 set" in answer
    assert "All testers" in answer
    low, high = 100 * version.interval_low, 100 * version.interval_high
    assert f"{100 * version.efficiency:.1f} ({low:.1f} to {high:.1f})" in answer
    assert {"straight line", "percent of the straight line's strength"} <= set(answer)
    assert "4 testers, 4 sets, 24 pulls" in answer


def test_a_tester_of_one_set_stands_where_that_set_stands(league):
    """The one set says all that its tester has told; only its small-sample term differs."""
    answer = words(pool_of("Blood").current.forest_light)
    row = answer.index("tester 0, 1 set")
    values = [float(word.split()[0]) for word in answer if re.fullmatch(r"[\d.]+ \(.*\)", word)]
    own = NormalisedSet.objects.filter(
        pull_set__session__contributor__handle="tester 0", pool=pool_of("Blood")
    ).get()
    assert row >= 0
    assert min(abs(value - 100 * own.efficiency) for value in values) < 0.2


def test_below_three_testers_the_sets_stand_alone(league):
    answer = words(pool_of("Albright").current.forest_light)
    assert "All testers" not in answer
    assert sum(word.startswith("newcomer") for word in answer) == 2


def test_an_emptied_pool_is_not_drawn(db, owner):
    pull_set = send(owner, np.random.default_rng(1), "Nail", 80.0)
    drain()
    amend.withdraw(pull_set.session, owner, "wrong rig")
    drain()
    versions = PoolVersion.objects.filter(pool=pool_of("Nail")).order_by("number")
    assert [bool(version.forest_light) for version in versions] == [True, False]


def test_an_open_interval_says_so_and_runs_to_the_edge_with_an_arrow():
    drawing = drawn(ForestRow("lowtide", 80.0, None, 90.0), ForestRow("oxbow", 82.0, 71.0, None))
    assert {"80.0 (open to 90.0)", "82.0 (71.0 to open)"} <= set(words(drawing))
    closed = drawn(ForestRow("lowtide", 80.0, 75.0, 90.0), ForestRow("oxbow", 82.0, 71.0, 88.0))
    arrows = [found.count("rotate(90)") + found.count("rotate(-90)") for found in (drawing, closed)]
    assert arrows[0] == arrows[1] + 2


@pytest.mark.parametrize(
    "row",
    [
        ForestRow("far above", 1e6, 90.0, 1e9),
        ForestRow("next to nothing", 1e-6, 0.0, 1e-3),
        ForestRow("wide", 80.0, 1e-9, 1e9, 80.0),
        ForestRow("a point", 80.0, 80.0, 80.0, 80.0),
        ForestRow("handle " * 10, 80.0, 75.0, 85.0),
    ],
)
@pytest.mark.parametrize("pooled", [POOLED, None, PooledRow(80.0, 1e-3, 1e6, 0.0, 1e12)])
def test_odd_figures_are_drawn_within_the_axis(row, pooled):
    low, high = domain(Forest("", (), [row], pooled))
    assert 0 <= low < 100 < high <= 250
    drawing = drawn(row, pooled=pooled)
    ElementTree.fromstring(drawing)
    assert not NOT_NUMBERS.search(drawing)


def test_a_handle_that_looks_like_markup_is_text(db):
    rng = np.random.default_rng(1)
    for handle in ("<script>alert(1)</script>", '"&quot;', "#17252d"):
        send(contributor(handle), rng, "Nail", 80.0)
    drain()
    version = pool_of("Nail").current
    for drawing in (version.forest_light, version.forest_dark):
        answer = words(drawing)
        assert "<script>alert(1)</script>…" in answer
        assert '"&quot;, 1 set' in answer
        assert "#17252d, 1 set" in answer
        assert "script" not in {found.tag for found in ElementTree.fromstring(drawing).iter()}


def test_light_and_dark_are_one_drawing_in_other_colours():
    light = drawn(ForestRow("lowtide", 80.0, 75.0, 90.0, 79.0))
    dark = darkened(light)
    colour = '"#[0-9a-f]{6}"'
    swapped = {f'"{LIGHT[name]}"': f'"{DARK[name]}"' for name in LIGHT}
    in_light = set(re.findall(colour, light))
    assert in_light <= set(swapped)
    assert set(re.findall(colour, dark)) == {swapped[found] for found in in_light}
    assert re.sub(colour, "", light) == re.sub(colour, "", dark)


@pytest.mark.parametrize(("theme", "colours"), [("light", LIGHT), ("dark", DARK)])
def test_words_and_marks_stand_out_from_the_page_and_from_the_band(theme, colours):
    """WCAG 2.2: 4.5 to 1 for text (1.4.3), 3 to 1 for what carries meaning (1.4.11)."""
    for ground in (*grounds(theme), colours["expected"]):
        assert contrast(colours["ink"], ground) >= 4.5
        assert contrast(colours["pool"], ground) >= 4.5
        assert contrast(colours["tester"], ground) >= 3
    assert contrast(colours["muted"], grounds(theme)[0]) >= 4.5


def test_drawings_are_at_stable_addresses_and_not_sent_twice(league):
    pool = pool_of("Blood")
    client = Client()
    for part, form, start in [
        ("forest.svg", "image/svg+xml", b"<svg"),
        ("forest-dark.svg", "image/svg+xml", b"<svg"),
        ("forest.png", "image/png", b"\x89PNG"),
    ]:
        first = client.get(f"/pools/{pool.pk}/{part}")
        assert first.status_code == 200
        assert first["Content-Type"] == form
        assert first.content.startswith(start)
        again = client.get(f"/pools/{pool.pk}/{part}", headers={"if-none-match": first["ETag"]})
        assert again.status_code == 304
    assert client.get(f"/pools/{pool.pk}/forest.svg").content.decode() == pool.current.forest_light


def test_nothing_in_an_opened_drawing_may_run(league):
    response = Client().get(f"/pools/{pool_of('Blood').pk}/forest.svg")
    assert response["Content-Security-Policy"].startswith("default-src 'none'")
