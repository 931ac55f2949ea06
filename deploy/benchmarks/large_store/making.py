"""Making the large store on an empty database, and pooling all of it."""

from __future__ import annotations

import resource
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from time import perf_counter

import django
import numpy as np
from celery import current_app
from django.db import connection
from django.db.models import Count

TESTERS = 10_000
PROCESSES = 2
RANDOM_STATE = 8


def make(scale: float) -> None:
    """Draw, work out, write, pool and analyse a store of so many times 10 000 testers.

    Needs a migrated PostgreSQL database in the settings; says how long each step takes.
    """
    from deploy.benchmarks.large_store.drawing import draw  # noqa: PLC0415, models are ready now
    from deploy.benchmarks.large_store.working import normalised  # noqa: PLC0415
    from deploy.benchmarks.large_store.writing import write  # noqa: PLC0415

    with _timed("drawn"):
        world = draw(np.random.default_rng(RANDOM_STATE), round(TESTERS * scale))
    connection.close()
    with _timed("worked out"):
        columns = normalised(world)
    with _timed("written"):
        write(world, columns)
    with _timed("analysed"):
        analyse()
    with _timed("pooled"):
        pool_all()
    with _timed("drawn and compared"):
        _each_pool(_complete)
    with _timed("sealed"):
        seal_all()
    current_app.control.purge()
    with _timed("analysed again"):
        analyse()


def analyse() -> None:
    """Let the planner know what the tables hold, as a server of one's own would by itself."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def pool_all() -> None:
    """A first version of every pool, by the verb that every upload goes through."""
    from results.models import Pool, StalePool  # noqa: PLC0415

    pools = Pool.objects.values_list("pk", flat=True)
    StalePool.objects.bulk_create(StalePool(pool_id=pk, why="the store was made") for pk in pools)
    _each_pool(_refresh)


def seal_all() -> None:
    """Seal all history, as the sweep does a thousand rows of each table at a time."""
    from results.models.audit_chain import seal  # noqa: PLC0415

    while seal():
        pass


def _each_pool(act: Callable[[int], None]) -> None:
    """Do so with every pool, the largest ones first."""
    from results.models import Pool  # noqa: PLC0415

    by_size = Pool.objects.annotate(size=Count("normalised_sets")).order_by("-size", "pk")
    pools = list(by_size.values_list("pk", flat=True))
    connection.close()
    with ProcessPoolExecutor(PROCESSES, initializer=django.setup) as workers:
        list(workers.map(act, pools))


def _refresh(pool_id: int) -> None:
    from results.pools.recompute import refresh_pool  # noqa: PLC0415

    refresh_pool(pool_id)


def _complete(pool_id: int) -> None:
    from results.worker.finish_pool import complete_pool  # noqa: PLC0415

    complete_pool(pool_id)


@contextmanager
def _timed(step: str) -> Iterator[None]:
    begun = perf_counter()
    yield
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  {step} in {perf_counter() - begun:.1f} s, peak {peak:.0f} MiB", flush=True)
