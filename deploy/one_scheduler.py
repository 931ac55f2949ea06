"""One scheduler on one file: a second one is refused instead of writing over the first one's."""

from __future__ import annotations

import fcntl
import os
import sys
from pathlib import Path
from typing import Any

from django.conf import settings

REFUSED = 73
"""EX_CANTCREAT of sysexits.h."""
_held: list[int] = []


def refuse_a_second(**_sent: Any) -> None:
    """Hold a lock for as long as this process lives, however it ends; end it where another does."""
    lock = Path(f"{settings.CELERY_BEAT_SCHEDULE_FILENAME}.lock")
    opened = os.open(lock, os.O_CREAT | os.O_RDWR, 0o600)
    try:
        fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        sys.stderr.write(f"Another scheduler runs on this file: {lock} is locked.\n")
        sys.stderr.flush()
        os._exit(REFUSED)  # Celery goes on after an error of a receiver
    _held.append(opened)
