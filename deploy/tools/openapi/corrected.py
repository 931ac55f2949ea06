"""Bounds and forms that v1 has always kept and that its first document did not mention.

They are no breaks: what they exclude was refused before they were written down.
"""

from __future__ import annotations

from collections.abc import Iterable

ALWAYS_KEPT = {
    "query limit: minimum is now 1": "a page of no rows was always refused",
    "query limit: maximum is now 200": "a longer page was always refused",
    "query offset: minimum is now 0": "a negative offset was always refused",
    "query offset: maximum is now 1000000": "a farther offset was always refused",
    "body: format is now binary": "a sheet was always taken as bytes, in several encodings",
}
"""What the comparison says of each, and why no client can have relied on the contrary."""


def newly_said(broken: Iterable[str]) -> tuple[list[str], list[str]]:
    """Which of these breaks are bounds that were always kept, and which are breaks."""
    kept: list[str] = []
    others: list[str] = []
    for each in broken:
        (kept if each.split(" ", 2)[2] in ALWAYS_KEPT else others).append(each)
    return kept, others
