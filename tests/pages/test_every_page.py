"""What holds on every page: cautions, no script, and what a screen reader or a keyboard needs."""

import pytest
from django.core.cache import caches
from django.test import Client, RequestFactory
from django.views.defaults import server_error

from results.models import PoolVersion, PullSet
from rigs.models import Club
from tests import making
from tests.pages.conftest import pool_of
from tests.pages.contrast import colours, contrast
from tests.pages.reading import Page

pytestmark = pytest.mark.usefixtures("planted_past")

IN_SHORT = [
    "snaps back and cuts",
    "weights fall",
    "eye protection and gloves",
    "not for lifting, climbing or life support",
    "local codes and licensed practice",
]
CAUTIONS = [
    "snaps back",
    "eye protection",
    "fall the moment something gives",
    "Loaded line cuts",
    "not for lifting, climbing or life support",
    "licensed practitioner",
]
KINDS = [
    "list",
    "pool",
    "pool without a figure",
    "version",
    "line pair",
    "pull set",
    "contributor",
    "connection",
    "line",
    "club",
    "search",
    "about",
    "cautions",
    "open data",
    "problem",
    "missing",
]


@pytest.fixture(params=KINDS)
def response(request, league):
    addresses = {
        "list": "/",
        "pool": f"/pools/{pool_of('Blood').pk}/",
        "pool without a figure": f"/pools/{pool_of('Albright').pk}/",
        "version": f"/pools/{pool_of('Blood').pk}/versions/1/",
        "line pair": "/compare/?main=nylon+monofilament&leader=nylon+monofilament",
        "connection": f"/connections/{pool_of('Blood').connection_id}/",
        "line": f"/lines/{PullSet.objects.first().main_line_id}/",
        "club": f"/clubs/{Club.objects.get_or_create(name='Lannet Anglers')[0].pk}/",
        "search": "/search/?q=b",
        "cautions": "/cautions/",
        "open data": "/open-data/",
        "pull set": f"/pull-sets/{PullSet.objects.first().pk}/",
        "contributor": "/contributors/tester 0/",
        "about": "/about/",
        "problem": "/problems/not-signed-in",
        "missing": "/nowhere/",
    }
    return Client().get(addresses[request.param])


@pytest.fixture
def page(response) -> Page:
    return Page(response)


def test_it_carries_the_cautions_in_short_or_in_full(page):
    assert any(all(said in page.text for said in cautions) for cautions in (IN_SHORT, CAUTIONS))
    assert "/cautions/" in page.links()


def test_the_cautions_are_whole_where_one_ties_pulls_uploads_or_prints(league, owner, read):
    revision = making.revision_of(owner)
    addresses = [f"/connections/{pool_of('Blood').connection_id}/", "/bench-sheet/", "/upload/"]
    addresses += ["/bench/", "/bench/tying/", "/at-the-rig/", "/recordings/", "/rigs/register/"]
    addresses += [f"/rigs/{revision.rig_id}/", f"/rigs/{revision.rig_id}/change/"]
    addresses += [f"/revisions/{revision.pk}/calibrate/"]
    for address in addresses:
        text = read(address, by=owner).text
        assert [caution for caution in CAUTIONS if caution not in text] == [], address


def test_nothing_on_it_is_a_script_and_no_style_is_in_it(page):
    assert page.all("script") == []
    assert page.all("style") == []
    assert [attributes for _, attributes in page.elements if "style" in attributes] == []
    handlers = [name for _, found in page.elements for name in found if name.startswith("on")]
    assert handlers == []


def test_it_is_small(response):
    assert len(response.content) < 150_000


def test_it_says_its_language_has_one_heading_and_a_way_past_the_navigation(page):
    assert page.all("html")[0]["lang"] == "en-gb"
    assert len(page.all("h1")) == 1
    assert len(page.all("main", id="content")) == 1
    assert page.all("a", href="#content") != []
    assert page.all("meta", name="viewport") != []


def test_where_it_is_shared_it_says_what_it_is(page):
    said = {
        found["property"]: found["content"] for found in page.all("meta") if "property" in found
    }
    (permanent,) = page.all("link", rel="canonical")
    (described,) = page.all("meta", name="description")
    assert said["og:url"] == permanent["href"]
    assert permanent["href"].startswith("http://testserver/")
    assert said["og:title"]
    assert described["content"].strip() in said["og:description"]
    assert said["og:description"].endswith("Not for lifting, climbing or life support.")
    picture = Client().get(said["og:image"].removeprefix("http://testserver"))
    assert picture.content.startswith(b"\x89PNG")


def test_its_tables_have_captions_and_its_cells_a_heading(page):
    assert len(page.all("caption")) == len(page.all("table"))
    assert all(cell.get("scope") in ("col", "row") for cell in page.all("th"))


def test_what_scrolls_can_be_reached_by_keyboard_and_has_a_name(page):
    ids = {found.get("id") for _, found in page.elements}
    for region in page.all("div", role="region"):
        assert region["tabindex"] == "0"
        assert region["aria-labelledby"]
        assert region["aria-labelledby"] in ids


def test_its_fields_have_labels_and_its_ids_are_its_own(page):
    ids = [found["id"] for _, found in page.elements if "id" in found]
    assert len(ids) == len(set(ids))
    seen = [field for field in page.all("input") if field.get("type") != "hidden"]
    fields = [*page.all("select"), *page.all("textarea"), *seen]
    assert {field["id"] for field in fields} == {label["for"] for label in page.all("label")}


def test_its_links_lead_somewhere(page):
    for link in page.links():
        if link.startswith("/"):
            assert Client().get(link.split("#")[0]).status_code in (200, 302), link


def test_what_it_links_to_on_the_about_page_is_explained_there(page, read):
    explained = {found.get("id") for _, found in read("/about/").elements}
    anchors = {link.split("#")[1] for link in page.links() if link.startswith("/about/#")}
    assert anchors <= explained


@pytest.mark.parametrize("address", ["/", "/rounds/", "/upload/", "/pools/1/", "/nothing/"])
@pytest.mark.parametrize("broken", ["?code=%00", "?main=a%00b", "%00"])
def test_an_address_that_no_page_can_read_is_answered_by_a_page(db, address, broken):
    answer = Client().get(address + broken)
    assert answer.status_code == 400
    assert "This can't be read" in Page(answer).text


@pytest.mark.parametrize(
    "written", ["1.7e308 N", "1e-320 N", "1e9 kN", "-1", "nan", "\x00", "9" * 500]
)
def test_whatever_is_typed_into_a_form_that_reads_is_answered(response, page, written):
    """On a pool that expects more than straight line too, where a load can overflow."""
    PoolVersion.objects.filter(efficiency__isnull=False).update(prediction_high=1.106)
    caches["kept"].clear()
    address = response.request["PATH_INFO"]
    for field in [*page.all("input"), *page.all("select")]:
        if "name" in field and field.get("type") != "hidden":
            answer = Client().get(address, {field["name"]: written})
            assert answer.status_code < 500, (address, field["name"])


def test_a_failure_of_the_service_has_a_page_too(db):
    response = server_error(RequestFactory().get("/"))
    assert response.status_code == 500
    assert "This is our fault" in Page(response).text


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_stands_out_from_its_ground(theme):
    """WCAG 2.2: 4.5 to 1 for text (1.4.3), 3 to 1 for the edges of fields (1.4.11)."""
    found = colours(theme)
    for ground in ("ground", "raised"):
        for text in ("ink", "muted", "link", "pool", "error"):
            assert contrast(found[text], found[ground]) >= 4.5, (text, ground)
        assert contrast(found["field"], found[ground]) >= 3
    assert contrast(found["on-deep"], found["deep"]) >= 4.5
    assert contrast(found["ink"], found["caution"]) >= 4.5
