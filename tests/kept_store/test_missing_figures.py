"""Figures that a version was computed without: no address breaks off for want of one.

Whoever adds a figure adds it to a store whose versions lack it. So every figure and finding is
taken from all of them in turn, and every address that shows pools is asked.
"""

from dataclasses import dataclass, fields
from io import StringIO

import pytest
from django.contrib.auth.models import User
from django.core.cache import caches
from django.core.management import call_command

from results.charts.pool_forest import draw_forest
from results.models import (
    DirectComparison,
    Pool,
    PoolMembership,
    PoolVersion,
    StalePool,
    declared,
)
from results.models.declared import Figure, Form, Kept, Scale, Sentence
from results.pools import descriptives, estimate, outdated, recompute, snapshots
from results.pools.reproduce import recompute_all
from results.statistics.pooling import LEAST_TESTERS, Pooled
from results.worker import embedded
from tests import every_address

pytestmark = pytest.mark.usefixtures("planted_past")

FORMS = ("-dark.svg", ".png")
"""What is drawn by the same code in another form."""
ABOUT_POOLS = ("", "compare/", "search/", "bench/", "contributors/", "connections/", "pools/")
ABOUT_POOLS += ("api/v1/pools", "pull-sets/", "lines/", "clubs/")
OF_A_TESTER = ("bench/", "api/v1/pools/<int:pk>/comparison")


@pytest.fixture
def about_pools(kept) -> list[every_address.Address]:
    """Every address that says something of pools, of one with all there may be to say."""
    pool = Pool.objects.filter(current__testers__gt=LEAST_TESTERS, current__number__gt=1)[0]
    numbers = {kind: found[-1:] for kind, found in every_address.numbers(2).items()}
    addresses = list(every_address.readable(numbers | {"pools": [str(pool.pk)]}))
    return [(route, address) for route, address in addresses if route.startswith(ABOUT_POOLS)]


def broken(addresses: list[every_address.Address]) -> list[str]:
    """What breaks off for a stranger, or on a tester's own pages, once nothing is kept."""
    caches["kept"].clear()
    counts = PoolMembership.objects.filter(until=None, pool__current__testers__gt=LEAST_TESTERS)[0]
    own = [each for each in addresses if each[0].startswith(OF_A_TESTER)]
    rest = [each for each in addresses if not each[0].startswith(OF_A_TESTER)]
    reader = every_address.client_of(counts.pull_set.session.contributor.user)
    return every_address.broken([every_address.client_of(None)], rest) + every_address.broken(
        [reader], own
    )


def test_no_address_fails_where_versions_hold_nothing_but_a_figure(about_pools):
    one_form = [each for each in about_pools if not each[0].endswith(FORMS)]
    tried = [*one_form, *every_address.administrations()]
    moderator = User.objects.get(username="benchwarden")
    for figures in ({"mu": -0.2}, {}):
        PoolVersion.objects.exclude(figures={}).update(figures=figures, findings={})
        DirectComparison.objects.update(figures=figures)
        caches["kept"].clear()
        people = [None, moderator, User.objects.get(username="keeper")]
        assert every_address.broken(map(every_address.client_of, people), tried) == []


def test_a_version_that_lacks_what_is_drawn_is_not_drawn(kept):
    version = PoolVersion.objects.exclude(figures={})[0]
    version.figures = {"mu": version.figures["mu"]}
    version.forest_light = ""
    draw_forest(version)
    assert version.forest_light == ""


def test_versions_have_every_figure_that_is_declared_since_their_formulae(kept):
    """So a new figure is declared since those of today, and not since the first."""
    for version in PoolVersion.objects.exclude(figures={}):
        known = [each for each in declared.DECLARED if each.since <= version.inputs["formulae"]]
        for place, stored in ((Kept.FIGURES, version.figures), (Kept.FINDINGS, version.findings)):
            expected = {
                name for each in known if each.kept is place and each.always for name in each.names
            }
            assert expected <= set(stored), version


@pytest.fixture
def works_by_itself(settings) -> None:
    """No worker runs beside these stories: the command does the work, as it does embedded."""
    settings.EMBEDDED = True


@dataclass(frozen=True, kw_only=True)
class WithMedian(Pooled):
    median: float


def new_figure(monkeypatch) -> None:
    """A newcomer adds the median of testers to the figures, and declares it with a sentence."""

    def pooled(fit):
        found = was(fit)
        known = {field.name: getattr(found, field.name) for field in fields(found)}
        return WithMedian(**known, median=sorted(found.tester_effects.value)[found.testers // 2])

    was = estimate.pooled
    monkeypatch.setattr(estimate, "pooled", pooled)
    median = Figure(
        name="median",
        kept=Kept.FIGURES,
        help="the median tester",
        scale=Scale.LOG,
        since=snapshots.FORMULAE,
        form=Form.EXP,
        says=Sentence("The median tester: %(median)s", "median %(median)s"),
        anchor="efficiency",
    )
    monkeypatch.setattr(declared, "DECLARED", (*declared.DECLARED, median))


def test_a_figure_that_a_newcomer_adds_breaks_nothing_and_comes_to_every_pool_in_time(
    about_pools, monkeypatch, works_by_itself
):
    bring_up_to_date()
    new_figure(monkeypatch)
    assert broken(about_pools) == []
    pool = about_pools_of(about_pools)
    page = f"/pools/{pool.pk}/"
    stranger = every_address.client_of(None)
    assert "Not computed for this version" in stranger.get(page).content.decode()
    again = [
        each for each in recompute_all() if each.version.inputs["formulae"] == snapshots.FORMULAE
    ]
    assert {one.figure for each in again for one in each.differences} == set()
    assert {name for each in again for name in each.not_known} == {"figures.median"}

    output = StringIO()
    pooled = Pool.objects.exclude(current__figures={}).count()
    assert outdated.outdated() == pooled
    call_command("refresh_pools", at_once=7, stdout=output)
    assert f"{pooled} pools were computed again; none is outdated" in output.getvalue()
    assert all("median" in one.current.figures for one in Pool.objects.exclude(current__figures={}))
    assert "The median tester: " in stranger.get(page).content.decode()


def about_pools_of(addresses: list[every_address.Address]) -> Pool:
    page = next(address for route, address in addresses if route == "pools/<int:pk>/")
    return Pool.objects.get(pk=page.strip("/").rpartition("/")[2])


def bring_up_to_date() -> None:
    while outdated.mark_outdated():
        embedded.drain()


def test_a_finding_or_a_column_that_says_something_else_gives_a_new_version(kept, monkeypatch):
    """The pulls and the figures are the same, so neither snapshot nor figures would show it."""
    bring_up_to_date()
    versions = PoolVersion.objects.count()
    was = descriptives.describe

    def describe(members, outcome, ties, circumstances):
        said = was(members, outcome, ties, circumstances)
        return said | {"findings": said["findings"] | {"wettest": len(ties)}}

    monkeypatch.setattr(recompute, "describe", describe)
    wettest = Figure(name="wettest", kept=Kept.FINDINGS, help="how many were wetted", since=2)
    monkeypatch.setattr(declared, "DECLARED", (*declared.DECLARED, wettest))
    assert outdated.outdated() == Pool.objects.count()
    bring_up_to_date()
    assert PoolVersion.objects.count() == versions + Pool.objects.count()
    assert all("wettest" in pool.current.findings for pool in Pool.objects.all())


def test_every_pool_is_computed_again_when_asked_and_says_the_same(kept, works_by_itself):
    bring_up_to_date()
    versions = PoolVersion.objects.count()
    output = StringIO()
    call_command("refresh_pools", every=True, at_once=9, stdout=output)
    assert f"{Pool.objects.count()} pools were computed again" in output.getvalue()
    assert (PoolVersion.objects.count(), StalePool.objects.count()) == (versions, 0)


def test_outdated_pools_wait_while_others_do(kept):
    outdated.mark_after(0, at_most=3)
    assert StalePool.objects.count() == 3
    assert outdated.mark_outdated(at_most=3) == 0
    assert outdated.mark_after(3, at_most=3) == []
    assert StalePool.objects.count() == 3


def test_the_sweeper_brings_pools_up_to_date_and_then_leaves_them(kept, monkeypatch):
    monkeypatch.setattr(outdated._look, "not_before", 0.0)
    for _ in range(20):
        outdated.sweep_outdated()
        embedded.drain()
    assert outdated.outdated() == 0
    PoolVersion.objects.update(figures={"mu": 0.0})
    outdated.sweep_outdated()
    assert StalePool.objects.count() == 0
    monkeypatch.setattr(outdated._look, "not_before", 0.0)
    outdated.sweep_outdated()
    assert StalePool.objects.count() == outdated.AT_ONCE
