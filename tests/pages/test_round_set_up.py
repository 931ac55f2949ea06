"""Setting up a round for the first time: what a small club fills in, and what can stay."""

from html.parser import HTMLParser

import pytest

from results.models import Round
from tests import making, playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser

MOST_AT_ONCE = 15
"""A title, two days, two spools of two fields, and two samples of four."""


class Sheet(HTMLParser):
    """A form as a browser shows and sends it: each field's value, and those folded away."""

    def __init__(self, response) -> None:
        super().__init__()
        self.values: dict[str, str] = {}
        self.folded: set[str] = set()
        self._closed: list[bool] = []
        self._select, self._chosen = "", set()
        self.feed(response.content.decode().partition('<form class="entry"')[2])

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if tag == "details":
            self._closed.append("open" not in found)
        name = found.get("name", "")
        if tag == "select":
            self._select = name
        if tag in ("input", "textarea", "select") and name and found.get("type") != "checkbox":
            self.values.setdefault(name, found.get("value") or "")
            if any(self._closed):
                self.folded.add(name)
        if tag == "option" and (self._select not in self._chosen or "selected" in found):
            self._chosen.add(self._select)
            self.values[self._select] = found.get("value") or ""

    def handle_endtag(self, tag):
        if tag == "details" and self._closed:
            self._closed.pop()

    @property
    def at_once(self) -> list[str]:
        """The fields that stand open."""
        hidden = ("csrf", "TOTAL_FORMS", "INITIAL_FORMS", "NUM_FORMS")
        return [
            name
            for name in self.values
            if name not in self.folded and not any(part in name for part in hidden)
        ]


@pytest.fixture
def organiser(db):
    making.line("thin"), making.line("thick", label_N=180)
    making.connection("Blood").parameters.create(name="turns", type="integer")
    return playing.member("organiser")


def filled(sheet: Sheet) -> dict[str, str]:
    """What stands open, filled in; all else as it is."""
    join = making.connection("Blood").pk
    thin, thick = making.line("thin").pk, making.line("thick").pk
    given = {
        "title": "First round",
        "lots-0-line": thin, "lots-0-spool": "one", "lots-1-line": thick, "lots-1-spool": "two",
        "samples-0-connection": join, "samples-1-connection": join,
    }  # fmt: skip
    assert set(given) <= set(sheet.at_once)
    return sheet.values | given


def test_a_small_club_fills_in_what_stands_open_and_nothing_else(organiser):
    client = browser(organiser)
    sheet = Sheet(client.get("/rounds/set-up/"))
    assert len(sheet.at_once) <= MOST_AT_ONCE, sheet.at_once
    answer = client.post("/rounds/set-up/", filled(sheet))
    assert answer.status_code == 302, Page(answer).text
    made = Round.objects.get()
    assert [(one.tied, one.codes, one.ties) for one in made.samples.all()] == [
        ("centrally", 1, 5),
        ("by each tester", 1, 5),
    ]
    assert [one.leader_lot.number for one in made.samples.all()] == [2, 2]
    assert made.results_by > made.starts_on


@pytest.mark.parametrize(
    ("name", "value"),
    [("samples-0-codes", "2"), ("samples-1-specification", "wet it"), ("sigma_percent", "5"),
     ("samples-1-ties", "900"), ("packer", "ghost")],
)  # fmt: skip
def test_what_was_folded_away_stands_open_once_something_is_in_it_or_wrong(organiser, name, value):
    """As a round is changed, and as it comes back with a mistake."""
    client = browser(organiser)
    sent = filled(Sheet(client.get("/rounds/set-up/"))) | {name: value}
    answer = client.post("/rounds/set-up/", sent)
    again = answer
    if answer.status_code == 302:
        again = client.get(f"/rounds/{Round.objects.get().pk}/change/")
    sheet = Sheet(again)
    assert name in sheet.at_once
    assert sheet.values[name] == value or name.endswith(("specification", "sigma_percent"))


@pytest.mark.parametrize(
    ("written", "stored"),
    [
        ("6 turns", {"turns_main": 6, "turns_leader": 6}),
        ("turns main 6, turns leader 4", {"turns_main": 6, "turns_leader": 4}),
        ("turns_main=6; turns leader: 4", {"turns_main": 6, "turns_leader": 4}),
        ("6 turns; finish 2", {"turns_main": 6, "turns_leader": 6, "finish": 2}),
    ],
)
def test_how_a_sample_is_tied_is_taken_as_people_write_it(organiser, written, stored):
    client = browser(organiser)
    sheet = Sheet(client.get("/rounds/set-up/"))
    sent = filled(sheet)
    join = making.connection("Blood")
    join.parameters.all().delete()
    for name in ("turns_main", "turns_leader", "finish"):
        join.parameters.create(name=name, type="integer", lowest=1, highest=20)
    answer = client.post("/rounds/set-up/", sent | {"samples-0-parameters": written})
    assert answer.status_code == 302, Page(answer).text
    assert Round.objects.get().samples.first().parameters == stored


def test_a_mistake_is_said_once_in_the_words_of_the_form(organiser):
    client = browser(organiser)
    sheet = Sheet(client.get("/rounds/set-up/"))
    assert "Blood: turns" in Page(client.get("/rounds/set-up/")).text
    page = Page(client.post("/rounds/set-up/", filled(sheet) | {"samples-0-leader_lot": "5"}))
    assert "Found 5, expected a spool that is named above: 1, 2." in page.text
    assert page.text.count("Nothing was stored") == 1
    assert "lot," not in page.text
