"""Query plans of the most frequent queries, on the store as it is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext

from results.http_cache.cache_marks import edition_of_pool, edition_of_pools
from results.models import Pool, PullSet
from results.pools import selectors
from results.pools.pool_data import members_of
from results.screening.evidence import evidence_of


def explained() -> Iterator[tuple[str, str]]:
    """What each is for, and its plan, for the largest pool and one of its sessions."""
    for purpose, ask, statement in _hottest():
        with CaptureQueriesContext(connection) as captured:
            ask()
        found = [query["sql"] for query in captured if statement in query["sql"]]
        with connection.cursor() as cursor:
            cursor.execute(f"EXPLAIN (ANALYZE, BUFFERS, TIMING OFF) {found[0]}")
            yield purpose, "\n".join(line for (line,) in cursor.fetchall())


def _hottest() -> Iterator[tuple[str, Callable[[], Any], str]]:
    """Purpose, a call that runs it, and a word that only its SQL contains."""
    pool = Pool.objects.filter(current__isnull=False).order_by("-current__sets")[0]
    session = PullSet.objects.filter(normalised__pool=pool).latest("pk").session
    listed = selectors.pools().defer("current__figures", "current__findings")[:50]
    yield "state of one pool: each request for it", lambda: edition_of_pool(pool.pk), "names"
    yield "state of the list: each request for it", edition_of_pools, "results_edition"
    yield "the list of pools: once after a change", lambda: list(listed), "results_pool"
    sets = selectors.sets_of(pool)[:50]
    yield "sets of a pool: once after a change", lambda: list(sets), "results_normalisedset"
    yield "members of a pool: each recomputation", lambda: members_of(pool.pk), "cv"
    yield (
        "readings in common with other sets: each set that is screened",
        lambda: evidence_of(session),
        "HAVING",
    )
