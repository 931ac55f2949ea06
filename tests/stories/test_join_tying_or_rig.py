"""Is it the join, my tying or the rig? The scatter split, or what to pull to split it."""

import numpy as np
import pytest

from results.jobs.queue import enqueue
from results.models import Pool
from results.worker.embedded import drain
from tests import making
from tests.people import contributor

pytestmark = pytest.mark.django_db


def scattered(rng, mean_N: float, cv: float, pulls: int) -> np.ndarray:
    """Loads whose logarithms scatter by just this much about their mean."""
    draws = rng.normal(size=pulls)
    return mean_N * np.exp(cv * (draws - draws.mean()) / draws.std(ddof=1))


def pulled(person, rng, *, rig_cv: float, tie_cv: float, pulls: int, straight: int) -> None:
    """A session whose straight line scatters by the rig alone, and its joins by the tie as well."""
    revision = making.revision_of(person, resolution_N=0.05)
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    session = making.session(revision)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main, scattered(rng, 100, rig_cv, straight))
    making.joined(session, main, leader, scattered(rng, 80, np.hypot(rig_cv, tie_cv), pulls))
    enqueue(session)


@pytest.fixture
def split(owner, as_owner):
    """The split of the owner's scatter, pooled with three others who tie evenly."""

    def split(**own) -> dict:
        rng = np.random.default_rng(20260110)
        pulled(owner, rng, **own)
        for number in range(4):
            other = contributor(f"tester {number}")
            pulled(other, rng, rig_cv=0.02, tie_cv=0.05, pulls=20, straight=20)
        drain()
        pool = Pool.objects.get()
        return as_owner.get(f"/api/v1/pools/{pool.pk}/comparison").json()["split"]

    return split


def test_an_uneven_tyer_on_a_good_rig_sees_that_it_is_the_tying(split):
    answer = split(rig_cv=0.02, tie_cv=0.15, pulls=40, straight=40)
    rig, tie, tying = answer["rig_and_line"], answer["tie"], answer["tying"]
    assert rig["low"] < 0.02**2 < rig["high"]
    assert tie["separated"]
    assert tie["low"] < 0.15**2 < tie["high"]
    assert tying["low"] > 0
    assert answer["further"] is None


def test_an_even_tyer_on_a_poor_rig_sees_that_it_is_the_rig(split):
    answer = split(rig_cv=0.10, tie_cv=0.02, pulls=12, straight=12)
    assert answer["rig_and_line"]["low"] < 0.10**2 < answer["rig_and_line"]["high"]
    assert not answer["tie"]["separated"]
    assert answer["rig_and_line"]["sd"] > answer["join"]["sd"]


def test_too_few_pulls_can_not_be_separated_yet_and_say_what_to_pull_more_of(split):
    answer = split(rig_cv=0.03, tie_cv=0.04, pulls=5, straight=5)
    assert not answer["tie"]["separated"]
    assert answer["further"]["of_join"] + answer["further"]["of_straight_line"] > 0
