"""Editions: the validators that cached responses about pools are kept by.

A version's own number would not do as a mark of the whole list: the transaction of a lower number
may commit after that of a higher one. Here the second transaction waits for the first, so that
what a reader finds with an edition is never older than it.
"""

from __future__ import annotations

import hashlib
import uuid
from typing import Any

from django.core.cache import caches
from django.db import connection
from django.db.models import BigIntegerField, Model
from django.db.models.signals import post_delete, post_save

from results.http_cache.single_flight import SingleFlight
from results.models import Connection, ConnectionAlias, Edition
from rigs.models import Line, Rig

NEVER = "none"
"""The mark of what has never changed; another database may have it too."""
STALE = "stale"
"""The key of the stale marks among the subjects: they are rows already and need no edition."""
_NEXT = """
    INSERT INTO results_edition (subject, mark) VALUES (%s, %s)
    ON CONFLICT (subject) DO UPDATE SET mark = excluded.mark
"""
_MARKS = """
    SELECT subject, mark FROM results_edition
    UNION ALL SELECT 'stale', mark.pool_id || '.' || MIN(mark.id) || '.'
        || COALESCE(MIN(CASE WHEN mark.takes_down THEN mark.id END), 0) || '.'
        || COALESCE(CAST(pool.failed_at AS text), '')
    FROM results_stalepool mark JOIN results_pool pool ON pool.id = mark.pool_id
    GROUP BY mark.pool_id, pool.failed_at
"""
_STALE = """
        pool.failed_at,
        (SELECT MIN(id) FROM results_stalepool WHERE pool_id = pool.id),
        (SELECT MIN(id) FROM results_stalepool WHERE pool_id = pool.id AND takes_down)
"""
_WAITING = """
        (SELECT COUNT(*) FROM results_reviewcase waiting
            JOIN results_normalisedset normalised ON normalised.pull_set_id = waiting.pull_set_id
            JOIN results_pullset pull_set ON pull_set.id = waiting.pull_set_id
            WHERE normalised.pool_id = pool.id AND waiting.influence_limit IS NOT NULL
                AND pull_set.state = 'held')
"""
_BESIDE = """
    (beside.main_material, beside.leader_material, beside.terminal, beside.wet, beside.shock)
    = (pool.main_material, pool.leader_material, pool.terminal, pool.wet, pool.shock)
"""
_OF_POOL = f"""
    SELECT version.id, version.computed_at, {_STALE},
        (SELECT mark FROM results_edition WHERE subject = 'names'), {_WAITING}
    FROM results_pool pool JOIN results_poolversion version ON version.id = pool.current_id
    WHERE pool.id = %s
"""
_OF_POOL_PAGE = f"""
    SELECT version.id, version.computed_at, {_STALE},
        (SELECT MAX(current_id) FROM results_pool beside WHERE {_BESIDE}),
        (SELECT MIN(mark.id) FROM results_stalepool mark
            JOIN results_pool beside ON beside.id = mark.pool_id
            WHERE mark.takes_down AND {_BESIDE}),
        (SELECT mark FROM results_edition WHERE subject = 'names'),
        (SELECT beside.computed_at FROM results_directcomparison beside WHERE {_BESIDE}),
        version.forest_light <> '', {_WAITING}
    FROM results_pool pool JOIN results_poolversion version ON version.id = pool.current_id
    WHERE pool.id = %s
"""


def next_edition(subject: Edition.Subject) -> None:
    """Give the subject a new mark in the caller's transaction, which should end soon.

    Locks: the subject's row, against others that change the same.
    """
    with connection.cursor() as cursor:
        cursor.execute(_NEXT, [subject.value, uuid.uuid4().hex])


def edition_of_pools() -> str:
    """The edition of the list of pools."""
    return _state(Edition.Subject.POOLS, Edition.Subject.NAMES)


def edition_of_wanted() -> str:
    """The edition of what is wanted: of the pools, and of what readers ask for."""
    return _state(Edition.Subject.POOLS, Edition.Subject.NAMES, Edition.Subject.VOTES)


def _state(*subjects: Edition.Subject) -> str:
    marks = _marks()
    return "-".join(marks.get(subject, NEVER) for subject in (*subjects, STALE))


@SingleFlight
def _marks() -> dict[str, str]:
    """The mark of each subject, and one of all pools that are stale, taken down or failed.

    Read for every cached response, so concurrent requests share one query.
    """
    with connection.cursor() as cursor:
        cursor.execute(_MARKS)
        rows = cursor.fetchall()
    stale = sorted(mark for subject, mark in rows if subject == STALE)
    digest = hashlib.sha256(" ".join(stale).encode()).hexdigest()[:16] if stale else "fresh"
    return dict(rows) | {STALE: digest}


def edition_of_pool(pk: int) -> str | None:
    """The edition of one pool, its sets and its testers; None if it has no version."""
    return _kept(f"pool:{pk}", pk, _OF_POOL, edition_of_pools())


def edition_of_pool_page(pk: int) -> str | None:
    """The edition of a pool's page: of the pool, its drawing, and its sibling joins."""
    subjects = (Edition.Subject.POOLS, Edition.Subject.NAMES, Edition.Subject.DRAWINGS)
    return _kept(f"page:{pk}", pk, _OF_POOL_PAGE, _state(*subjects))


def _kept(what: str, pk: int, query: str, state: str) -> str | None:
    """The query's edition, cached in the process while no mark has changed.

    Reading the marks costs PostgreSQL a fifth of the query, which runs only after a change.
    """
    kept = caches["kept"].get(f"edition:{what}")
    if kept is not None and kept[0] == state:
        return str(kept[1])
    found = _edition_of(pk, query)
    if found is not None and not state.startswith(NEVER):
        caches["kept"].set(f"edition:{what}", (state, found), None)
    return found


def _edition_of(pk: int, query: str) -> str | None:
    if pk > BigIntegerField.MAX_BIGINT:
        return None
    with connection.cursor() as cursor:
        cursor.execute(query, [pk])
        row = cursor.fetchone()
    return "-".join(map(str, (pk, *row))).replace(" ", "-") if row else None


def mark_name_changes() -> None:
    """Connect signals so that each change of a name shown with pools gives a new edition."""
    for model in (Connection, ConnectionAlias, Rig, Line):
        for signal in (post_save, post_delete):
            signal.connect(
                _mark_name_change, sender=model, dispatch_uid="results.http_cache.cache_marks"
            )


def _mark_name_change(sender: type[Model], *, created: bool = False, **_ignored: Any) -> None:
    """A new rig or line is in no pool yet; a new connection changes what the list can be asked."""
    if not (created and sender in (Rig, Line)):
        next_edition(Edition.Subject.NAMES)
