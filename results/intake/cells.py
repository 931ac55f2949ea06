"""Cells of a sheet and members of a document: their text, and its meaning."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext

from results.intake.columns import KINDS
from results.intake.days import days_meant

LONGEST_WORD = 40
_FORMULA = re.compile(r"[=@]|[+-].*[!|(]", re.DOTALL)
_ERROR = re.compile(r"#[A-ZÄÖÜ0-9/!?]+[!?]?|#N/A|Err:\d{3}")
_BLANKS = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f", " "))
"""Blanks that spreadsheets put between a number and its unit."""
_YES_NO = {"yes": True, "true": True, "y": True, "no": False, "false": False, "n": False}
_NUMBER = re.compile(r"[+-]?\d{1,15}(?:[.,]\d{1,15})?")
_ASSIGNED = re.compile(r"(?P<name>[^=:]+)[=:](?P<value>.+)", re.DOTALL)
_NUMBER_FIRST = re.compile(rf"(?P<value>{_NUMBER.pattern})\s*(?P<name>[^\W\d][^=:]*)")
_NUMBER_LAST = re.compile(rf"(?P<name>[^\W\d][^=:]*?)\s+(?P<value>{_NUMBER.pattern})")
_COUNTED = re.compile(r"([0-9]{1,15})(?:[.,]0)?")
_WHOLE = ("revision", "discarded_ties")
_DECIMAL = (
    "temperature_C", "soak_hours", "time_to_break", "time_to_break_s", "time_to_tie_s",
    "join_diameter_mm",
)  # fmt: skip
_ANSWERS = ("doubled", "slipped_first")
_WORDS = {
    "state": ("dry", "wetted", "soaked"),
    "loading": ("static", "shock"),
    "position": ("before", "between", "after"),
    "failure_mode": ("join", "slip", "line", "grip", "terminal", "none", "void"),
}
MODES = _WORDS["failure_mode"]
_OTHER_MODES = {
    "join": ("knot", "at knot", "at the knot", "in the knot", "broke at knot", "broke in knot",
             "broke at the knot", "broke in the knot", "knot broke", "knot break", "at join",
             "at the join", "in the join", "broke at join", "broke at the join", "join broke"),
    "slip": ("slipped", "knot slipped", "join slipped", "the knot slipped", "the join slipped",
             "slipped out", "pulled out"),
    "line": ("line broke", "line break", "line parted", "broke in line", "broke in the line",
             "in the line", "mid line"),
    "grip": ("at grip", "at the grip", "in the grip", "broke in grip", "broke at grip",
             "broke in the grip", "broke at the grip", "grip break"),
    "none": ("held", "it held", "did not break", "no break", "not broken", "unbroken"),
}  # fmt: skip
"""Plain English for where a pull ended, each with one meaning; a judgement, no source."""
_MODES = {written: mode for mode, words in _OTHER_MODES.items() for written in words}
_DAYS = ("pulled_on",)


class Formula(str):
    """What a formula in a cell came to when its workbook was last computed."""

    __slots__ = ()


class Measure(float):
    """A number whose format in the workbook shows words beside it, such as its unit."""

    __slots__ = ("shows",)
    shows: str

    def showing(self, words: str) -> Measure:
        self.shows = words
        return self


def text(cell: object) -> str:
    """A cell as its reader would copy it, without blanks around; numbers to 15 digits."""
    if isinstance(cell, str):
        return cell.translate(_BLANKS).strip()
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return f"{cell:.15g}"
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == datetime.min.time() else cell.isoformat()
    if isinstance(cell, date):
        return cell.isoformat()
    return str(cell)


def seen(cell: object) -> str:
    """The same with what its format shows beside it."""
    return f"{text(cell)} {cell.shows}" if isinstance(cell, Measure) else text(cell)


def is_formula(cell: str) -> bool:
    """Whether a spreadsheet would compute this text rather than show it."""
    return _FORMULA.match(cell) is not None


def is_error(cell: str) -> bool:
    """Whether a spreadsheet shows this where it could not compute a value, as #N/A."""
    return _ERROR.fullmatch(cell) is not None


def is_number(cell: str) -> bool:
    """Whether a cell is one number and nothing else."""
    return _NUMBER.fullmatch(cell) is not None


def is_of_a_pull(cell: str) -> bool:
    """Whether a cell says of which kind a pull was, or how it ended."""
    if len(cell) > LONGEST_WORD:
        return False
    mode = member("failure_mode", text(cell))
    return folded(cell) in KINDS or mode in MODES


def folded(name: str) -> str:
    """A name as it is compared: without regard to case, blanks, or the shape of apostrophes."""
    plain = unicodedata.normalize("NFKC", name).replace("\u2019", "'")
    return "".join(plain.split()).casefold()


def member(name: str, cell: str, order: str = "") -> object:
    """The value of a cell for this member of a document; the text itself if it has none.

    A day that can mean two comes back as written; ``order`` is as of ``days_meant``.
    """
    if name in _WHOLE:
        counted = _COUNTED.fullmatch(cell)
        return int(counted[1]) if counted else cell
    if name in _DECIMAL:
        return float(cell.replace(",", ".")) if _NUMBER.fullmatch(cell) else cell
    if name in _ANSWERS:
        return _YES_NO.get(cell.casefold(), cell)
    if name in _WORDS:
        words = " ".join(cell.casefold().split())
        if name == "failure_mode":
            words = _MODES.get(words.replace("-", " ").rstrip("."), words)
        return words if words in _WORDS[name] else cell
    if name in _DAYS:
        days = days_meant(cell, order)
        return days[0].isoformat() if len(days) == 1 else cell
    return cell


def forgiven(name: str, value: object) -> object:
    """A member of a JSON document as the cell of a sheet would be read: ``"Dry"``, ``"6"``, 1.0."""
    if isinstance(value, str) and name == "parameters":
        found, wrong = parameters(text(value))
        return value if wrong else found
    if isinstance(value, str):
        return member(name, text(value))
    if isinstance(value, float) and name in _WHOLE and value.is_integer():
        return int(value)
    return value


def parameter(written: str) -> bool | int | float | str:
    """The value of a tie parameter: a number, yes or no, or else its text."""
    if _NUMBER.fullmatch(written):
        number = float(written.replace(",", "."))
        return int(number) if number.is_integer() else number
    return _YES_NO.get(written.casefold(), written)


def parameters(cell: str) -> tuple[dict[str, Any], list[str]]:
    """Tie parameters as people write them, and the pieces that are not so.

    A piece is ``turns main=6``, ``turns main: 6``, ``6 turns main`` or ``turns main 6``; semicolons
    stand between them. What gives a parameter a second value is none.
    """
    found: dict[str, Any] = {}
    named: dict[str, Any] = {}
    wrong = []
    for piece in filter(None, (piece.strip() for piece in cell.split(";"))):
        forms = (_ASSIGNED, _NUMBER_FIRST, _NUMBER_LAST)
        said = next((match for form in forms if (match := form.fullmatch(piece))), None)
        name, value = (said["name"].strip(), said["value"].strip()) if said else ("", "")
        meant = parameter(value)
        if name and value and named.setdefault(folded(name.replace("_", " ")), meant) == meant:
            found[name] = meant
        else:
            wrong.append(piece)
    return found, wrong


def as_parameters_are_written() -> str:
    """What is expected where a piece of them can't be read."""
    return gettext("name=value, as 'turns main=6'")
