"""A pool says how far it hangs on those who share something, on outliers, and on time."""

from datetime import timedelta

import numpy as np
import pytest
from django.urls import reverse

from results.jobs import stale_marks
from results.models import Baseline, Pool, PoolVersion, PullSet, Session
from results.pools.recompute import refresh_pool
from results.pools.reproduce import recomputed
from results.worker import embedded
from rigs.models import Club, Contributor
from tests.api.leagues import send
from tests.people import contributor

pytestmark = pytest.mark.usefixtures("planted_past")

HONEST, TOGETHER = 9, 3


@pytest.fixture
def pool(db) -> Pool:
    """Nine testers, and three more whose joins hold a sixth more."""
    rng = np.random.default_rng(12)
    for number in range(HONEST + TOGETHER):
        person = contributor(f"tester {number}")
        send(person, rng, "Blood", 80.0 if number < HONEST else 94.0)
    embedded.drain()
    return Pool.objects.get()


def again(pool: Pool) -> PoolVersion:
    stale_marks.mark([pool.pk], "asked for in a test")
    refresh_pool(pool.pk)
    return Pool.objects.get().current


def together():
    return Contributor.objects.filter(
        handle__in=[f"tester {number}" for number in range(HONEST, HONEST + TOGETHER)]
    )


def share_a_spool():
    Baseline.objects.filter(session__contributor__in=together()).update(spool="of the club")


def share_a_club_day():
    club = Club.objects.create(name="casters")
    together().update(club=club, shows_club=True)


def share_the_name_of_a_rig():
    for person in Contributor.objects.all():
        person.rigs.update(name=f"bench of {person.pk}")
    for person in together():
        person.rigs.update(name="The green bench")


@pytest.mark.parametrize(
    ("share", "kind"),
    [
        (share_a_spool, "spool"),
        (share_a_club_day, "club_day"),
        (share_the_name_of_a_rig, "rig_name"),
    ],
)
def test_three_accounts_that_raise_a_pool_together_show_in_what_they_share(
    pool, client, share, kind
):
    share()
    version = again(pool)
    first = version.findings["groups_left_out"][0]
    assert kind in first["share"]
    assert first["testers"] == sorted(together().values_list("pk", flat=True))
    assert first["sets"] == TOGETHER
    assert first["change"] < -0.03
    # None of them shows when testers are left out one by one.
    alone = np.exp(np.array(version.figures["leave_one_out"]["mu"]) - version.figures["mu"]) - 1
    assert np.abs(alone).max() < -first["change"] / 2
    page = " ".join(client.get(reverse("pages:pool", args=[pool.pk])).content.decode().split())
    assert f"{TOGETHER} sets of tester 9, tester 10, tester 11" in page
    assert "Without testers who" not in page  # other sets of theirs may stay
    document = client.get(reverse("api:pool", args=[pool.pk])).json()
    assert document["findings"]["groups_left_out"] == version.findings["groups_left_out"]
    assert recomputed(version).differences == ()


def test_a_club_that_is_not_shown_is_no_group(pool):
    share_a_club_day()
    together().update(shows_club=False)
    shared = [kind for each in again(pool).findings["groups_left_out"] for kind in each["share"]]
    assert "club" not in shared
    assert "club_day" not in shared


def test_the_median_of_testers_stands_beside_the_mean(pool, client):
    said = pool.current.findings["median_of_testers"]
    assert said["testers"] == HONEST + TOGETHER
    assert said["efficiency"] < pool.current.efficiency - 0.01
    assert said["interval_low"] < said["efficiency"] < said["interval_high"]
    page = " ".join(client.get(reverse("pages:pool", args=[pool.pk])).content.decode().split())
    assert f"Half of the testers get more than {100 * said['efficiency']:.1f}" in page


def test_a_tester_who_stands_apart_is_named_and_pulls_one_of_two_averages_along(
    db, client, settings
):
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}
    rng = np.random.default_rng(12)
    for number in range(12):
        send(contributor(f"tester {number}"), rng, "Blood", 50.0 if number else 95.0)
    embedded.drain()
    PullSet.objects.filter(state="held").update(state="pooled")
    version = again(Pool.objects.get())
    said = version.findings["heavy_tails"]
    assert said["apart"] == [Contributor.objects.get(handle="tester 0").pk]
    assert said["differs"]
    assert said["efficiency"] < version.efficiency - 0.02
    assert said["interval_low"] < said["efficiency"] < said["interval_high"]
    answer = client.get(reverse("pages:pool", args=[version.pool_id]))
    page = " ".join(answer.content.decode().split())
    assert "tester 0 stands apart from the others" in page
    assert f"it is {100 * said['efficiency']:.1f}%" in page
    assert "more than half an interval from the figure above" in page
    assert recomputed(version).differences == ()


def test_a_trend_over_time_is_a_change_in_a_year(pool, client):
    assert pool.current.findings["trend"] is None
    for place, session in enumerate(Session.objects.order_by("-pull_sets__normalised__mean_N")):
        session.pulled_on -= timedelta(days=40 * place)
        session.save()
    version = again(pool)
    trend = version.findings["trend"]
    assert trend["change_per_year"] > 0.05
    assert trend["interval_low"] < trend["change_per_year"] < trend["interval_high"]
    assert trend["years"] == pytest.approx(40 * (HONEST + TOGETHER - 1) / 365.25)
    page = " ".join(client.get(reverse("pages:pool", args=[pool.pk])).content.decode().split())
    assert "in a year" in page


def test_what_is_changed_later_leaves_a_version_as_it_was(pool):
    share_the_name_of_a_rig()
    version = again(pool)
    for person in together():
        person.rigs.update(name=f"rig {person.pk}")
    assert recomputed(version).differences == ()
