"""When the newest backup was written, where this process can see the folder."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings


def newest_backup() -> float | None:
    """Seconds since 1970; None where no folder is named, or there is no backup in it."""
    folder = settings.SAMESPOOL_BACKUPS
    dumps = Path(folder).glob("samespool-*.dump") if folder else ()
    return max((dump.stat().st_mtime for dump in dumps), default=None)
