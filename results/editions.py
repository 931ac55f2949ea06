"""Editions: what readers may keep of the pools until it changes.

A version's own number would not do as a mark of the whole list: the transaction of a lower number
may commit after that of a higher one. Here whoever comes second waits for the first, so that what
a reader finds with an edition is never older than it.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.db import connection
from django.db.models import BigIntegerField, Model
from django.db.models.signals import post_delete, post_save

from results.models import Connection, ConnectionAlias, Edition

_NEXT = """
    INSERT INTO results_edition (subject, mark) VALUES (%s, %s)
    ON CONFLICT (subject) DO UPDATE SET mark = excluded.mark
"""
_OF_POOL = """
    SELECT version.id, version.computed_at,
        (SELECT mark FROM results_edition WHERE subject = 'names')
    FROM results_pool pool JOIN results_poolversion version ON version.id = pool.current_id
    WHERE pool.id = %s
"""


def next_edition(subject: Edition.Subject) -> None:
    """Mark a change of the subject in the caller's transaction, which should end soon.

    Locks: the subject's row, against others that change the same.
    """
    with connection.cursor() as cursor:
        cursor.execute(_NEXT, [subject.value, uuid.uuid4().hex])


def edition_of_pools() -> str:
    """Names the state that the list of pools is in."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT subject, mark FROM results_edition")
        marks = dict(cursor.fetchall())
    return "-".join(marks.get(subject, "none") for subject in Edition.Subject.values)


def edition_of_pool(pk: int) -> str | None:
    """Names the state that one pool is in; None where there is none yet."""
    if pk > BigIntegerField.MAX_BIGINT:
        return None
    with connection.cursor() as cursor:
        cursor.execute(_OF_POOL, [pk])
        row = cursor.fetchone()
    return f"{pk}-{row[0]}-{row[1]}-{row[2]}".replace(" ", "-") if row else None


def follow_names() -> None:
    """Have every change of a connection's names mark a new edition, wherever it is made."""
    for model in (Connection, ConnectionAlias):
        for signal in (post_save, post_delete):
            signal.connect(_named_anew, sender=model, dispatch_uid="results.editions")


def _named_anew(sender: type[Model], **_told: Any) -> None:  # noqa: ARG001
    next_edition(Edition.Subject.NAMES)
