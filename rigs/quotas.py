"""Quotas: how often a person may request something, counted over all processes."""

from __future__ import annotations

import time

from rigs.allowances import count
from rigs.refusals import TooMany


def ration(what: str, who: str, most: int, window_s: int) -> None:
    """Count one asking of ``who`` in this window. Raises TooMany beyond ``most`` of them."""
    now = time.time()
    if count(f"ration:{what}:{who}:{int(now // window_s)}", window_s) > most:
        raise TooMany(window_s - int(now % window_s))
