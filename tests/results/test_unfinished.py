"""What a worker left undone when it ended is read from the rows, and taken up again."""

import pytest

from results.jobs import queue
from results.jobs.database_clock import from_now
from results.jobs.unfinished import incomplete_pools, pools_out_of_attempts, stale_pools
from results.models import DirectComparison, Pool, PoolVersion, StalePool
from results.worker.embedded import drain
from tests import making

pytestmark = pytest.mark.usefixtures("planted_past")


@pytest.fixture
def pool(owner) -> Pool:
    session = making.session(making.revision_of(owner))
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    making.straight(session, main)
    making.joined(session, main, leader, [70, 75, 72, 78])
    queue.enqueue(session)
    drain()
    return Pool.objects.get()


def test_nothing_waits_once_all_is_done(pool):
    assert stale_pools(from_now(60)) == []
    assert incomplete_pools(from_now(60)) == []


def test_a_pool_whose_worker_ended_before_it_drew_is_drawn_after_all(pool):
    PoolVersion.objects.update(forest_light="", forest_dark="")

    drain()

    assert PoolVersion.objects.get().forest_light.startswith("<svg")


def test_a_pool_whose_worker_ended_before_it_compared_is_compared_after_all(pool):
    DirectComparison.objects.all().delete()

    drain()

    assert DirectComparison.objects.get().versions == [pool.current_id]
    assert not Pool.objects.exclude(failures=0).exists()


def test_the_sweeper_leaves_time_to_a_worker_that_has_just_pooled(pool):
    PoolVersion.objects.update(forest_light="", forest_dark="")

    assert incomplete_pools(from_now(-60)) == []
    assert incomplete_pools(from_now(60)) == [pool.pk]


def test_a_pool_that_is_stale_again_is_computed_before_it_is_drawn(pool):
    PoolVersion.objects.update(forest_light="", forest_dark="")
    StalePool.objects.create(pool=pool, why="told by the test")

    assert stale_pools(from_now(60)) == [pool.pk]
    assert incomplete_pools(from_now(60)) == []


def test_a_version_out_of_attempts_is_not_drawn_again(pool, settings):
    PoolVersion.objects.update(
        forest_light="", forest_dark="", attempts=settings.SAMESPOOL_JOB_ATTEMPTS
    )

    assert incomplete_pools(from_now(60)) == []


def test_no_comparison_is_asked_for_while_a_pool_of_the_line_pair_is_stale(pool, settings):
    DirectComparison.objects.all().delete()
    Pool.objects.update(failures=settings.SAMESPOOL_JOB_ATTEMPTS)
    StalePool.objects.create(pool=pool, why="told by the test")
    beside = Pool.objects.create(
        connection=making.connection("Alberto"),
        main_material=pool.main_material,
        leader_material=pool.leader_material,
    )
    beside.current = PoolVersion.objects.create(
        pool=beside, number=1, testers=1, sessions=1, sets=1, pulls=4, forest_light="<svg/>"
    )
    beside.save()

    assert incomplete_pools(from_now(60)) == []


def test_a_pool_out_of_attempts_is_tried_again_after_each_later_mark(pool, settings):
    StalePool.objects.create(pool=pool, why="an earlier change")
    Pool.objects.update(failures=settings.SAMESPOOL_JOB_ATTEMPTS, attempted_at=from_now(1))
    assert list(pools_out_of_attempts(from_now(60))) == [pool]
    assert stale_pools(from_now(60)) == []

    StalePool.objects.create(pool=pool, why="a later change", marked_at=from_now(2))
    assert not pools_out_of_attempts(from_now(60)).exists()
    assert stale_pools(from_now(60)) == [pool.pk]
