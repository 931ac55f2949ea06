"""The picture of the rooms in DEVELOPERS.md is that of the code, and stays one that can be read."""

from graphlib import CycleError

import pytest

from deploy.tools import architecture
from deploy.tools.architecture import BEGIN, DOCUMENT, END, Architecture, picture, with_picture

MOST_FLOORS = 11
MOST_ARROWS = 143
"""Eight of them are of the rounds: they read uploads and compute by intake, models, rigs and
statistics, notify those who take part, and API, pages and worker ask them. One is the worker's,
which sends their notices and again what a mail server refused, another its as well, whose mails
name rounds as everyone reads them, and one the API's, which links to what a notice is about as its
mail does. Two are of review, which warns of releases that together move a pool by more than counts
at once, and whose letters say what settles a case."""


@pytest.fixture(scope="module")
def today() -> Architecture:
    return architecture.architecture()


def rooms(**imports: str) -> Architecture:
    return Architecture(
        {room: frozenset(of.split()) for room, of in imports.items()},
        {room: f"The {room}." for room in imports},
    )


def test_the_picture_in_the_developers_document_is_current(today):
    document = DOCUMENT.read_text()
    assert document == with_picture(document, picture(today)), (
        "draw it again: python -m deploy.tools.architecture"
    )


def test_rooms_stand_on_few_floors_with_few_arrows_and_no_circle(today):
    floors = today.floors()
    assert set(floors) >= {"api", "deploy", "rigs", "results.jobs", "results.pages"}
    assert max(floors.values()) <= MOST_FLOORS
    assert today.arrows <= MOST_ARROWS


def test_the_queue_imports_no_domain_room(today):
    assert today.imports["results.jobs"] <= {"results.models", "rigs"}


def test_every_room_says_what_it_is_for(today):
    assert [room for room, purpose in today.purposes.items() if not purpose] == []


def test_a_room_stands_one_floor_above_the_highest_it_imports_from():
    house = rooms(roof="attic cellar", attic="cellar", shed="cellar", cellar="")
    assert house.floors() == {"cellar": 1, "attic": 2, "shed": 2, "roof": 3}
    assert house.arrows == 4


def test_a_circle_is_named_by_its_rooms():
    with pytest.raises(CycleError, match="cycle") as refusal:
        rooms(attic="cellar", cellar="attic").floors()
    assert {"attic", "cellar"} <= set(refusal.value.args[1])


def test_an_import_added_or_taken_away_makes_the_picture_out_of_date():
    document = f"before\n{BEGIN}\n{END}\nafter\n"
    now = with_picture(document, picture(rooms(attic="cellar", cellar="")))
    assert now.startswith("before\n")
    assert now.endswith("after\n")
    assert "> cellar" in now
    assert with_picture(now, picture(rooms(attic="cellar", cellar=""))) == now
    assert with_picture(now, picture(rooms(attic="", cellar=""))) != now


def test_a_document_without_the_markers_is_refused():
    with pytest.raises(ValueError, match="lacks the lines"):
        with_picture("before\nafter\n", "picture")


def test_a_module_belongs_to_the_first_level_of_results_or_to_its_package():
    assert architecture.room_of("results.pages.pools.charts") == "results.pages"
    assert architecture.room_of("results.notices") == "results.notices"
    assert architecture.room_of("deploy.observing.health") == "deploy"
