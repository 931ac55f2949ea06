"""What is asked of the database does not grow with the store.

A pool asks no more often and no longer questions with the sets in it, and what follows a screening
reads no more rows than have to do with its session.
"""

import re
from collections import Counter

import numpy as np
import pytest
from django.db import connection
from django.db.models import Count
from django.test.utils import CaptureQueriesContext

from deploy.benchmarks.large_store.drawing import draw
from deploy.benchmarks.large_store.working import normalised
from deploy.benchmarks.large_store.writing import write
from results.models import Pool, Session, StalePool
from results.pools.recompute import refresh_pool
from results.worker.run_session import _follow_screening

pytestmark = pytest.mark.skipif(
    connection.vendor == "sqlite", reason="the store is written by COPY"
)

LISTED = 20
"""Keys that a statement may list one by one, as modes and states are."""
TESTERS = 500


@pytest.fixture
def pools(db) -> list[tuple[int, int]]:
    """Pools and how many sets each has, the largest first."""
    world = draw(np.random.default_rng(8), TESTERS)
    write(world, normalised(world))
    by_size = Pool.objects.annotate(size=Count("normalised_sets")).order_by("-size", "pk")
    return list(by_size.values_list("pk", "size"))


def asked_by(pool: int) -> list[str]:
    """What is asked to compute it once more, where it was computed before."""
    for why in ("for the first time", "once more"):
        StalePool.objects.create(pool_id=pool, why=why)
        with CaptureQueriesContext(connection) as captured:
            refresh_pool(pool)
    return [query["sql"] for query in captured]


def test_a_pool_of_many_sets_asks_no_more_often_and_lists_no_keys(pools):
    (large, most), (small, few) = pools[0], next(each for each in reversed(pools) if each[1] >= 8)
    assert most > 4 * few
    assert most > 2 * LISTED

    asked, asked_of_few = asked_by(large), asked_by(small)

    assert len(asked) <= len(asked_of_few) + 2, Counter(asked) - Counter(asked_of_few)
    listed = {
        1 + group.count(","): statement
        for statement in asked
        if statement.startswith("SELECT")
        for group in re.findall(r"IN \(([^()]*)\)", statement)
    }
    assert max(listed) <= LISTED, listed[max(listed)][:500]


READ = """
    SELECT relname, seq_tup_read + coalesce(idx_tup_fetch, 0) FROM pg_stat_xact_user_tables
    WHERE relname LIKE 'results%'
"""


def rows_read() -> Counter[str]:
    """By table, the rows that this transaction has read so far."""
    with connection.cursor() as cursor:
        cursor.execute(READ)
        return Counter(dict(cursor.fetchall()))


def test_what_follows_a_screening_reads_the_rows_of_its_session_alone(pools):
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    session = Session.objects.latest("pk")
    before = rows_read()

    _follow_screening(session.pk)

    read = rows_read() - before
    assert read
    assert {table: rows for table, rows in read.items() if rows > 2 * TESTERS} == {}
