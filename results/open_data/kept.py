"""Files kept in the database, in parts, and what they are read from."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import BinaryIO

from django.db import connection, transaction

PART_BYTES = 1024 * 1024
ARCHIVE = "archive.zip"
"""The file of a release that holds all others."""


@contextlib.contextmanager
def one_instant() -> Iterator[None]:
    """On PostgreSQL all tables are read as they stood at one instant.

    On SQLite a transaction would keep every upload waiting, and so each table is read as it
    stands when its turn comes.
    """
    if connection.vendor != "postgresql":
        yield
        return
    with transaction.atomic(durable=True), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file, read piece by piece."""
    with path.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def parts_of(opened: BinaryIO) -> Iterator[bytes]:
    """The bytes of a file in the parts that are stored."""
    return iter(partial(opened.read, PART_BYTES), b"")
