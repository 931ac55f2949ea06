"""The heading of a column: its name, and the unit in brackets behind it."""

from __future__ import annotations

BRACKETS = {"(": ")", "[": "]"}


def heading(written: str) -> tuple[str, str]:
    """Name and unit of a heading such as ``time_to break [s]``; the unit is empty where none is.

    Brackets that are not closed, or not at the end, are part of the name.
    """
    text = written.strip()
    start = min((at for at in map(text.find, BRACKETS) if at >= 0), default=len(text))
    inside = text[start + 1 : -1]
    is_unit = text[start:] and text[-1] in ")]" and not ({")", "]"} & set(inside))
    if not is_unit:
        return _plain(text), ""
    return _plain(text[:start]), inside.strip()


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").casefold().split())
