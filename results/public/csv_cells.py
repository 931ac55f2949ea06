"""Cells of a CSV file that no spreadsheet takes for a formula.

A spreadsheet that opens a CSV file runs what begins like a formula, and so a name that somebody
gave a line or a join could act in somebody else's spreadsheet (OWASP, "CSV Injection"). An
apostrophe before it makes it text. Numbers are left as they are, the negative ones too.
"""

from __future__ import annotations

BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""The last four are the full-width forms, which some spreadsheets read as the others."""


def safe(cell: object) -> object:
    """The cell, with an apostrophe before it where it is text that begins like a formula.

    Text that an apostrophe already guards gets one more, so that ``as_written`` gives back
    exactly what went in.
    """
    if isinstance(cell, str) and _unguarded(cell).startswith(BEGINS_A_FORMULA):
        return f"'{cell}"
    return cell


def as_written(cell: str) -> str:
    """The text before ``safe`` guarded it; any other text as it is."""
    if cell.startswith("'") and _unguarded(cell).startswith(BEGINS_A_FORMULA):
        return cell[1:]
    return cell


def _unguarded(cell: str) -> str:
    return cell.lstrip("'")
