"""Cells of a sheet: their text, and its meaning as a member of a document."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime

_FORMULA = re.compile(r"[=@]|[+-].*[!|(]", re.DOTALL)
_YES_NO = {"yes": True, "true": True, "y": True, "no": False, "false": False, "n": False}
_NUMBER = re.compile(r"[+-]?\d{1,15}(?:[.,]\d{1,15})?")
_WHOLE = ("revision", "discarded_ties")
_DECIMAL = ("temperature_C", "soak_hours", "time_to_break", "time_to_tie_s", "join_diameter_mm")
_ANSWERS = ("doubled", "slipped_first")
_WORDS = ("state", "loading", "position", "failure_mode")


def text(cell: object) -> str:
    """A cell as its reader would copy it, without blanks around; numbers to 15 digits."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return f"{cell:.15g}"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == datetime.min.time() else cell.isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    return str(cell)


def is_formula(cell: str) -> bool:
    """Whether a spreadsheet would compute this text rather than show it."""
    return _FORMULA.match(cell) is not None


def folded(name: str) -> str:
    """A name as it is compared: without regard to case, blanks, or the shape of apostrophes."""
    plain = unicodedata.normalize("NFKC", name).replace("\u2019", "'")
    return "".join(plain.split()).casefold()


def member(name: str, cell: str) -> object:
    """The value of a cell for this member of a document; the text itself if it has none."""
    if name in _WHOLE:
        return int(cell) if cell.isascii() and cell.isdigit() and len(cell) < 16 else cell
    if name in _DECIMAL:
        return float(cell.replace(",", ".")) if _NUMBER.fullmatch(cell) else cell
    if name in _ANSWERS:
        return _YES_NO.get(cell.casefold(), cell)
    if name in _WORDS:
        return " ".join(cell.casefold().split())
    return cell


def parameters(cell: str) -> tuple[dict[str, object], list[str]]:
    """Tie parameters written as ``turns main=6; glue=no``, and the pieces that are not so."""
    found: dict[str, object] = {}
    wrong = []
    for piece in filter(None, (piece.strip() for piece in cell.split(";"))):
        name, equals, value = (part.strip() for part in piece.partition("="))
        if not (name and equals and value):
            wrong.append(piece)
        elif _NUMBER.fullmatch(value):
            number = float(value.replace(",", "."))
            found[name] = int(number) if number.is_integer() else number
        else:
            found[name] = _YES_NO.get(value.casefold(), value)
    return found, wrong
