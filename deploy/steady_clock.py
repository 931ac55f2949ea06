"""A steady clock, unaffected by changes of the machine's clock."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

_BEGUN, _BEGUN_S = datetime.now(UTC), time.monotonic()


def steady_now() -> datetime:
    """The machine's time when this process began, and what has passed since.

    Celery's scheduler asks the machine's clock by itself: set back by an hour, no sweep is sent
    for an hour.
    """
    return _BEGUN + timedelta(seconds=time.monotonic() - _BEGUN_S)
