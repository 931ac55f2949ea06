"""After an upgrade the last release's store says what it said, and every address answers."""

import hashlib
from collections import Counter
from fnmatch import fnmatchcase

import pytest
from django.apps import apps
from django.contrib.auth.models import User

from results.models import Pool, PoolVersion, PullSet, Release, Session
from results.pools import outdated
from results.pools.reproduce import Cause, recompute_all
from results.pools.snapshots import FORMULAE, MOVED, snapshot_of_all
from results.statistics.pooling import LEAST_TESTERS
from results.worker import embedded
from tests import every_address
from tests.api.test_routes import OPEN, ROUTES
from tests.kept_store.drawn import violations, worth_drawing
from tests.kept_store.loading import LEFT_OUT
from tests.kept_store.walked import Answer, walk
from tests.security.test_pages import MISSING, SHOWN, listed

NOT_ROWS = ("sqlite_", "django_", "auth_permission")
LEADS_ON = {"open-data/latest/", "open-data/latest/<str:name>"}
NAMED_BY_SECRET = "<str:key>"
MOST_BYTES = 80_000
"""Of a page at first load, as it is sent."""


@pytest.fixture(scope="module")
def again(once, django_db_blocker) -> list:
    """Every version of the store, computed again by today's code."""
    with django_db_blocker.unblock():
        return list(recompute_all())


def people() -> list[User | None]:
    """A stranger, a tester, a moderator, an administrator."""
    tester = Session.objects.latest("pk").contributor.user
    return [None, tester, *(User.objects.get(username=name) for name in ("benchwarden", "keeper"))]


def test_no_row_is_lost_by_the_migrations(kept):
    """A table that a migration fills may have gained some."""
    now = {model._meta.db_table: model._base_manager.count() for model in apps.get_models(True)}
    lost = {
        table: (rows, now.get(table))
        for table, rows in kept.items()
        if not table.startswith(NOT_ROWS) and rows > now.get(table, 0)
    }
    assert lost == {}
    assert len(LEFT_OUT) == 4
    assert kept["results_pull"] > 2000


@pytest.fixture(scope="module")
def answers(once, django_db_blocker) -> list[Answer]:
    """Every address walked as each kind of person: of each thing the first and the last stored."""
    with django_db_blocker.unblock():
        addresses = every_address.readable(every_address.numbers(2))
        return walk(people(), [*addresses, *every_address.administrations()])


@pytest.fixture
def pages(answers, db) -> list[Answer]:
    """Those that are pages; the API's documents draw themselves and are another test's."""
    found = [each for each in answers if each.html and each.route != "api/v1/docs"]
    assert len({each.route for each in found}) > 150
    return found


def test_no_address_fails_for_anybody(answers, db):
    assert len(answers) > 4 * 200
    ready = [each for each in answers if each.address not in every_address.MAY_BE_UNREADY]
    assert [each for each in ready if each.status >= 500] == []


def test_no_page_weighs_more_than_eighty_kilobytes_with_all_that_it_fetches(pages):
    heavy = {each.route: each.bytes_sent for each in pages if each.bytes_sent > MOST_BYTES}
    assert heavy == {}


def test_axe_finds_nothing_on_any_page_for_anybody_at_both_sizes_and_in_both_schemes(pages):
    drawn = worth_drawing(pages)
    assert len(drawn) > 70
    assert violations(drawn) == []


def test_every_pool_is_shown_and_whatever_is_public_answers(kept):
    pooled = Pool.objects.filter(current__testers__gt=LEAST_TESTERS, current__number__gt=1)
    newest = PullSet.objects.filter(session__standing=Session.Standing.CURRENT).latest("pk")
    numbers = {kind: found[-1:] for kind, found in every_address.numbers(2).items()}
    numbers |= {"pull-sets": [str(newest.pk)], "sessions": [str(newest.session_id)]}
    stranger = every_address.client_of(None)
    public = {
        f"api/v1/{route}" for route, answer in ROUTES.items() if answer.get("GET", ())[1:] == OPEN
    }
    public |= {route for route, (shown, _) in listed().items() if shown in (SHOWN, MISSING)}
    public = {route for route in public if NAMED_BY_SECRET not in route}
    answer = list(every_address.readable(numbers | {"pools": [str(pooled[0].pk)]}))
    found = {
        route: stranger.get(address).status_code for route, address in answer if route in public
    }
    assert len(found) > 60
    wrong = {
        route: status
        for route, status in found.items()
        if status != (302 if route in LEADS_ON else 200)
    }
    assert wrong == {}
    for pool in Pool.objects.all():
        assert stranger.get(f"/pools/{pool.pk}/").status_code == 200
        assert stranger.get(f"/api/v1/pools/{pool.pk}").status_code == 200


def test_every_figure_that_was_stored_comes_out_again_or_the_formulae_say_that_it_moved(again):
    """Whoever moves a figure raises FORMULAE and names in MOVED what moves."""
    assert len(again) == PoolVersion.objects.count() > 29
    unexplained = [
        f"pool {each.version.pool_id}, version {each.version.number}: {one.figure} was "
        f"{one.stored!r} and is {one.recomputed!r}"
        for each in again
        for one in each.differences
        if one.cause != Cause.FORMULAE
    ]
    assert unexplained == []


def test_what_the_formulae_are_said_to_have_moved_did_move(again):
    """Else MOVED would excuse what nobody meant to move."""
    moved = {one.figure for each in again for one in each.differences}
    stored = {each.version.inputs["formulae"] for each in again}
    named = [
        pattern
        for number in MOVED
        if number > min(stored)
        for moved_then in MOVED[number]
        for pattern in moved_then.figures
    ]
    assert [one for one in named if not any(fnmatchcase(figure, one) for figure in moved)] == []
    assert [one for one in named if one.startswith("*")] == []
    assert set(MOVED) == set(range(2, FORMULAE + 1))


def test_pools_are_computed_again_only_where_they_would_say_something_else(again, kept, db):
    differing = {each.version.pk for each in again if each.differences or each.not_known}
    before = dict(Pool.objects.values_list("pk", "current"))
    older = PoolVersion.objects.exclude(inputs__formulae=FORMULAE).filter(pk__in=before.values())
    expected = {pk for pk, current in before.items() if current in differing}
    expected |= {version.pool_id for version in older}
    marked = Counter()
    while number := outdated.mark_outdated(at_most=5):
        marked["marked"] += number
        assert number <= 5
        embedded.drain()
    now = dict(Pool.objects.values_list("pk", "current"))
    assert marked["marked"] == len(expected)
    assert {pk for pk in now if now[pk] != before[pk]} == expected
    assert outdated.outdated() == 0


def test_the_open_data_of_that_time_are_what_they_were(kept):
    release = Release.objects.get()
    versions = PoolVersion.objects.filter(pk__in=release.pool_versions)
    shown = list(versions.values_list("pool_id", "number", "snapshot"))
    assert snapshot_of_all(shown) == release.snapshot
    answer = every_address.client_of(None).get(f"/open-data/{release.number}/archive.zip")
    assert hashlib.sha256(every_address.body_of(answer)).hexdigest() == release.sha256
