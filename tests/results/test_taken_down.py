"""A figure is never older than it says: what left a pool is out of its public figure at once."""

import re

import numpy as np
import pytest
from django.db import transaction
from django.test import Client
from django.urls import get_resolver

from results.charts import cards
from results.intake import amend
from results.jobs import queue
from results.models import DirectComparison, Job, Pool, PoolVersion, PullSet, StalePool
from results.models.declared import withheld
from results.open_data.pooled import POOLS, versions
from results.pages.figures import between, percent
from results.pools import recompute
from results.pools.selectors import pools
from results.review.decisions import decide
from results.worker import embedded, run_session
from tests import making
from tests.api.leagues import NYLON, league_of, send
from tests.people import contributor

HISTORY = ("versions", "history")
"""Addresses of the history, where the last version stays to be read."""

SECONDS_IN_A_SHARED_CACHE = 2
"""At most so long a cache in front may show what was taken down; a browser asks every time."""


def pulled_on_one_line(rng: np.random.Generator) -> None:
    """Four testers pull both joins against one straight line."""
    for number in range(4):
        person = contributor(f"careful {number}")
        session = making.session(making.revision_of(person))
        main, leader = making.line("thin"), making.line(f"thick {NYLON}", label_N=180)
        making.straight(session, main, 100 * np.exp(rng.normal(0, 0.02, 6)))
        for tie, strength_N in (("Blood", 86.0), ("Surgeon's", 55.0)):
            pulls_N = strength_N * np.exp(rng.normal(0, 0.05, 6))
            making.joined(session, main, leader, pulls_N, tie=tie)
        queue.enqueue(session)


@pytest.fixture(scope="module")
def once(django_db_setup, django_db_blocker):
    """One league for all the stories: eight testers of two joins on one line pair."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield league_of({"Blood": 86.0, "Surgeon's": 55.0}, testers=4, before=pulled_on_one_line)
        transaction.set_rollback(True)


@pytest.fixture
def league(once, db) -> list[PullSet]:
    return list(PullSet.objects.filter(pk__in=[pull_set.pk for pull_set in once]).order_by("pk"))


@pytest.fixture
def pool(league) -> Pool:
    return Pool.objects.select_related("current").get(connection__name="Blood")


def withdraw(pull_set: PullSet, _moderator) -> None:
    amend.withdraw(pull_set.session, pull_set.session.contributor, "the scale was off")


def hold(pull_set: PullSet, moderator) -> None:
    decide(by=moderator.user, pull_set=pull_set, decision="hold", reason="a question")


def reject(pull_set: PullSet, moderator) -> None:
    decide(by=moderator.user, pull_set=pull_set, decision="reject", reason="another join")


@pytest.fixture(params=[withdraw, hold, reject])
def taken_down(request, league, pool, moderator) -> Pool:
    """A pool of which one set has just been taken out; nothing was recomputed yet."""
    request.param(league[0], moderator)
    return pool


def addresses(pool: Pool) -> list[str]:
    """Every address that is read without an account and names a number, with this pool's."""
    found = [
        "/",
        "/compare/?main=nylon+monofilament&leader=nylon+monofilament",
        "/api/v1/pools",
        "/api/v1/pools/ranking?main=nylon+monofilament&leader=nylon+monofilament",
        f"/connections/{pool.connection_id}/",
        f"/lines/{making.line('thin').pk}/",
        "/search/?q=blood",
    ]
    for entry in get_resolver().url_patterns:
        for pattern in getattr(entry, "url_patterns", ()):
            route = str(pattern.pattern)
            if str(entry.pattern) in ("api/v1/", "") and "pools/<int:pk>" in route:
                route = route.replace("<int:pk>", str(pool.pk)).replace("<int:number>", "1")
                found.append(f"/{entry.pattern}{route}")
    return [address for address in found if not any(part in address for part in HISTORY)]


def said(address: str) -> str:
    answer = Client().get(address)
    assert answer.status_code in (200, 401, 403, 404), address
    return answer.content.decode(errors="replace")


def figures_of(version: PoolVersion) -> list[str]:
    """How the figures of a version read, in the API and on pages."""
    exact = [repr(getattr(version, name)) for name in withheld() if getattr(version, name)]
    exact += [repr(version.figures[name]) for name in ("mu", "se_robust", "Q")]
    interval = between(version.interval_low, version.interval_high)
    return [*exact, f"<strong>{percent(version.efficiency)}</strong>", str(interval)]


def test_every_address_shows_the_figures_while_they_hold(pool):
    answer = " ".join(said(address) for address in addresses(pool))
    exact = figures_of(pool.current)
    assert [figure for figure in exact if figure not in answer] == []


def test_no_address_shows_a_figure_that_a_set_has_left(taken_down):
    for address in addresses(taken_down):
        answer = said(address).split('id="history"')[0]
        assert [figure for figure in figures_of(taken_down.current) if figure in answer] == [], (
            address
        )


def test_page_list_comparison_and_api_say_since_when_it_is_being_recomputed(taken_down):
    since = StalePool.objects.get(takes_down=True).marked_at
    words = f"being recomputed since {since.day} {since:%b %Y %H:%M} UTC"
    for address in [*addresses(taken_down)[:2], f"/pools/{taken_down.pk}/"]:
        assert words in said(address), address
    answer = Client().get(f"/api/v1/pools/{taken_down.pk}").json()
    assert answer["freshness"] == {
        "state": "recomputing",
        "since": since.isoformat().replace("+00:00", "Z"),
        "failed_at": None,
    }
    assert answer["current"]["efficiency"] is None
    assert answer["current"]["superseded"] is True
    assert (answer["figures"], answer["findings"]) == ({}, {})
    assert "being recomputed since" in answer["current"]["no_figure"]


def test_what_is_not_known_meanwhile_is_not_said_to_be_unmeasured(taken_down):
    page = said(f"/pools/{taken_down.pk}/")
    assert "not measured" not in page
    assert "Not enough pulls yet to say what nine in ten" not in page
    of_it = said("/").split('class="unranked"')[1].split("</ul>")[0]
    assert "being recomputed since" in of_it
    assert "not measured" not in of_it


def test_the_list_ranks_it_with_those_without_a_figure(taken_down):
    answer = Client().get(addresses(taken_down)[3]).json()
    assert [each["tie"] for each in answer["unranked"]] == ["Blood"]
    assert [each["pool"]["tie"] for each in answer["places"]] == ["Surgeon's"]
    assert [pool.tie for pool in pools()] == ["Surgeon's", "Blood"]


def test_the_drawing_is_gone_and_the_card_says_that_it_is_being_recomputed(taken_down):
    [shown] = [each for each in pools() if each.pk == taken_down.pk]
    assert "being recomputed" in cards.pool_card(shown.current)
    assert Client().get(f"/pools/{taken_down.pk}/forest.svg").status_code == 404
    assert f"/pools/{taken_down.pk}/forest.svg" not in said(f"/pools/{taken_down.pk}/")


def test_the_last_version_stays_to_be_read_and_is_marked_as_superseded(taken_down):
    [version] = Client().get(f"/api/v1/pools/{taken_down.pk}/versions").json()["results"]
    assert version["efficiency"] == taken_down.current.efficiency
    assert version["superseded"] is True
    page = said(f"/pools/{taken_down.pk}/versions/1/")
    assert percent(taken_down.current.efficiency) in page
    assert "Superseded" in page


def test_the_open_data_leave_it_out(taken_down):
    assert taken_down.pk not in {version.pool_id for version in versions()}
    assert taken_down.pk not in {row[0] for row in POOLS.rows()}


def test_a_reader_who_kept_an_answer_is_answered_at_once(league, pool, moderator):
    kept = {address: Client().get(address) for address in addresses(pool)}
    hold(league[0], moderator)
    for address, before in kept.items():
        if "ETag" in before:
            now = Client().get(address, HTTP_IF_NONE_MATCH=before["ETag"])
            assert now.status_code != 304, address
        kept_for = dict(re.findall(r"([a-z-]+)=(\d+)", before.get("Cache-Control", "")))
        assert kept_for.pop("max-age", "0") == "0", address
        assert sum(map(int, kept_for.values())) <= SECONDS_IN_A_SHARED_CACHE, address


def test_the_joins_beside_it_are_compared_without_what_left(league, pool, moderator):
    assert DirectComparison.objects.get().figures
    hold(league[0], moderator)
    beside = Pool.objects.get(connection__name="Surgeon's")
    assert "contrasts" not in said(f"/pools/{beside.pk}/")
    assert Client().get(addresses(pool)[3]).json()["direct"]["figures"] == {}

    recompute.refresh_pool(pool.pk)
    assert Client().get(addresses(pool)[3]).json()["direct"]["figures"] == {}

    embedded.drain()
    assert Client().get(addresses(pool)[3]).json()["direct"]["figures"]


def test_once_it_is_recomputed_the_new_figure_is_there_without_the_set(taken_down):
    embedded.drain()
    answer = Client().get(f"/api/v1/pools/{taken_down.pk}").json()
    assert answer["freshness"]["state"] == "current"
    assert (answer["current"]["testers"], answer["current"]["superseded"]) == (7, False)
    assert answer["current"]["efficiency"] is not None


def test_a_recomputation_that_began_before_leaves_it_taken_down(league, pool, moderator):
    """It read the marks of before, and deletes no other."""
    StalePool.objects.create(pool=pool, why="an earlier change")
    earlier = list(StalePool.objects.values_list("pk", flat=True))
    hold(league[0], moderator)
    StalePool.objects.filter(pk__in=earlier).delete()
    assert Client().get(f"/api/v1/pools/{pool.pk}").json()["current"]["efficiency"] is None


def test_an_addition_leaves_the_figure_up_and_says_that_it_is_being_updated(pool):
    send(contributor("newcomer"), np.random.default_rng(7), "Blood", 84.0)
    [job] = Job.objects.filter(state="queued")
    run_session.run(job.pk)
    answer = Client().get(f"/api/v1/pools/{pool.pk}").json()
    assert answer["freshness"]["state"] == "updating"
    assert answer["current"]["efficiency"] == pool.current.efficiency
    since = r"Being recomputed since \d+ \w+ \d+ \d\d:\d\d UTC"
    assert re.search(since, said(f"/pools/{pool.pk}/"))
    assert "Being recomputed since" in said("/")


def test_straight_line_that_was_lent_takes_the_figures_that_rest_on_it_down(owner, other):
    lender, borrower = making.session(making.revision_of(owner)), None
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(lender, main)
    borrower = making.session(lender.revision)
    borrowed = making.joined(borrower, main, leader, [70, 75, 72, 78])
    for session in (lender, borrower):
        queue.enqueue(session)
    embedded.drain()
    pool = Pool.objects.select_related("current").get(pk=borrowed.normalised.pool_id)
    assert pool.current.sets == 9
    assert borrowed.normalised.baseline.session == lender

    amend.withdraw(lender, owner, "the scale was off")

    answer = Client().get(f"/api/v1/pools/{pool.pk}").json()
    assert answer["freshness"]["state"] == "recomputing"
    recompute.refresh_pool(pool.pk)
    assert Client().get(f"/api/v1/pools/{pool.pk}").json()["current"]["sets"] == 8


@pytest.fixture
def failing(pool, league, moderator, monkeypatch, settings) -> Pool:
    """A pool that is out of attempts: its computation fails each time."""

    def fail(*_asked: object) -> None:
        raise ArithmeticError("made for a story")

    settings.SAMESPOOL_JOB_ATTEMPTS = 2
    hold(league[0], moderator)
    with monkeypatch.context() as broken:
        broken.setattr("results.pools.recompute.pooled_from", fail)
        for _ in range(3):
            recompute.refresh_pool(pool.pk)
    return pool


def test_a_pool_that_could_not_be_computed_says_so_with_the_date_and_shows_no_old_figure(failing):
    failed_at = Pool.objects.get(pk=failing.pk).failed_at
    answer = Client().get(f"/api/v1/pools/{failing.pk}").json()
    assert answer["freshness"]["failed_at"] == failed_at.isoformat().replace("+00:00", "Z")
    assert answer["current"]["efficiency"] is None
    words = f"The last recomputation failed on {failed_at.day} {failed_at:%b %Y %H:%M} UTC"
    assert words in said(f"/pools/{failing.pk}/")
    assert words in said("/")
    assert "samespool_failed_pools 1.0" in said("/metrics")


def test_it_is_tried_again_at_the_next_change(failing):
    embedded.drain()
    assert Pool.objects.get(pk=failing.pk).failed_at is not None

    StalePool.objects.create(pool=failing, why="another set came")
    embedded.drain()
    assert Pool.objects.get(pk=failing.pk).failed_at is None
    assert not StalePool.objects.exists()


def test_it_is_tried_again_when_someone_asks_for_it(failing):
    assert recompute.recompute_failed([failing.pk]) == 1
    embedded.drain()
    assert Pool.objects.get(pk=failing.pk).current.number == 2


def test_a_job_that_failed_with_its_pool_is_done_once_the_pool_is_computed(failing):
    job = Job.objects.filter(session__pull_sets__normalised__pool=failing).first()
    Job.objects.filter(pk=job.pk).update(state="failed", step="pooling", problem={"detail": "x"})

    recompute.recompute_failed([failing.pk])
    embedded.drain()

    job.refresh_from_db()
    assert (job.state, job.problem) == ("done", None)


def test_every_column_of_a_version_is_withheld_or_says_nothing_that_sets_came_to():
    """A column that is new has to be put into one of the two."""
    identity = {"id", "pool", "number", "computed_at", "woken_at", "attempts", "excused"}
    identity |= {"why", "snapshot"}
    counts = {"testers", "sessions", "sets", "pulls"}
    emptied = {"figures", "findings", "forest_light", "forest_dark", "no_figure"}
    never_shown = {"inputs"}
    columns = {field.name for field in PoolVersion._meta.concrete_fields}
    assert columns == {*withheld(), *identity, *counts, *emptied, *never_shown}
