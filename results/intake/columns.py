"""The columns of a sheet, and which of them a heading in somebody's own words means."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from results.intake.limits import MOST_COLUMNS
from rigs.metrology.units import UnitError, force_unit

SESSION_COLUMNS = {
    "rig": "rig", "revision": "revision", "date": "pulled_on", "state": "state",
    "loading": "loading", "unit": "unit", "temperature": "temperature_C", "soak": "soak_hours",
}  # fmt: skip
TIE_COLUMNS = (
    "connection", "doubled", "main line", "main spool", "leader line", "leader spool", "terminal",
    "parameters", "tyer",
)  # fmt: skip
SET_COLUMNS = ("sample", *TIE_COLUMNS, "discarded ties", "time to tie", "join diameter")
PULL_COLUMNS = ("reading", "failure mode", "place", "slipped first", "time to break", "note")
COLUMNS = (*SESSION_COLUMNS, "kind", "label", *SET_COLUMNS, "position", *PULL_COLUMNS)
REQUIRED = ("rig", "revision", "date", "state", "kind", "main line", "reading", "failure mode")

KINDS = {
    "straight": "straight", "straightline": "straight", "baseline": "straight",
    "joined": "joined", "join": "joined", "knot": "joined",
}  # fmt: skip
UNITS_OF = {
    "temperature": ("c", "°c", "celsius"), "soak": ("h", "hours", "hrs"),
    "time to break": ("s", "sec", "seconds"), "time to tie": ("s", "sec", "seconds"),
    "join diameter": ("mm",),
}  # fmt: skip
OTHER_NAMES = {
    "rig": ("rig name", "bench", "name of rig"),
    "revision": ("rev", "rig revision", "revision number", "revision no", "rig rev"),
    "date": ("day", "pulled on", "date pulled", "pull date", "test date", "date of test", "tested"),
    "state": (
        "wet or dry", "wet dry", "dry wet", "dry or wet", "line state", "condition", "line is",
        "dry wetted or soaked",
    ),
    "loading": ("load type", "static or shock", "static shock", "kind of loading"),
    "unit": ("units", "force unit", "unit of force", "unit of reading", "unit of the scale"),
    "temperature": ("temp", "air temperature", "air temp"),
    "soak": ("soak time", "soaked", "soaked for", "soak hours", "hours soaked"),
    "kind": ("type", "straight or joined", "straight joined", "kind of pull", "pull type"),
    "label": ("set", "set label", "set name", "pull set", "name of set"),
    "sample": (
        "sample code", "code of sample", "code of the sample", "blind code", "code",
        "code on the label",
    ),
    "connection": ("knot", "join", "knot name", "join name", "name of join", "knot or join"),
    "doubled": ("double line", "doubled line", "main doubled", "line doubled", "main line doubled"),
    "main line": ("main", "line", "mainline", "name of main line"),
    "main spool": ("spool", "mainspool", "main line spool", "line spool", "spool of main line"),
    "leader line": ("leader", "leaderline", "name of leader"),
    "leader spool": ("leaderspool", "leader line spool", "spool of leader"),
    "terminal": ("hook", "hook or ring", "terminal end", "tied to", "or terminal"),
    "parameters": (
        "tie parameters", "parameters of tie", "how it was tied", "how it is tied", "how tied",
        "how was it tied", "turns finish",
    ),
    "tyer": ("tied by", "who tied", "who tied it"),
    "discarded ties": (
        "discarded", "ties discarded", "thrown away", "ties thrown away",
        "ties discarded before pulling",
    ),
    "time to tie": ("tying time", "seconds to tie"),
    "join diameter": ("diameter of join", "knot diameter", "diameter at the thickest"),
    "position": ("before or after", "before after", "when pulled"),
    "reading": (
        "readings", "peak", "peak reading", "peak load", "peak force", "load", "force", "pull",
        "breaking load", "breaking strength", "break load", "scale reading", "scale", "max load",
    ),
    "failure mode": (
        "failure", "mode", "how it failed", "how it ended", "what failed", "it ended",
        "how did it end",
    ),
    "place": ("where", "where it broke", "broke where", "place of break"),
    "slipped first": ("slipped", "slipped before", "slip first"),
    "time to break": ("pull time", "seconds to break"),
    "note": ("notes", "remark", "remarks", "comment", "comments"),
}  # fmt: skip
"""Words of testers for the columns: common practice, no source."""

NUMBERING = "pull"
"""The heading of a reading that also heads a column in which pulls are numbered."""

LONGEST_HEADING = 60
TIE_WORDS = {"turn", "turns", "wrap", "wraps", "pass", "passes", "hitch", "hitches", "twists"}
"""Words of a heading above what belongs into the column of parameters."""

_BRACKETS = re.compile(r"(?P<name>[^()\[\]]+)[(\[](?P<inside>[^()\[\]]*)[)\]]")
_WITH_UNIT = re.compile(r"(?P<number>[+-]?\d{1,15}(?:[.,]\d{1,15})?)\s?(?P<unit>[^\W\d]\w*|°C)")
_SIGNS = re.compile(r"[\W_]+")
_ORDER = re.compile(r"[dmyt]{1,4}(?:[-./ ]+[dmyt]{1,4}){1,2}")
_NEAR = 0.8
"""Likeness from which an unknown heading may be a misspelt one (difflib's ratio)."""


@dataclass(frozen=True)
class Heading:
    """A heading: the column it names, or nothing, and what it says of unit or order of days."""

    written: str
    name: str = ""
    unit: str = ""

    @property
    def says_wrong_unit(self) -> bool:
        """Whether it gives a measure in units that the column doesn't take."""
        taken = UNITS_OF.get(self.name)
        return taken is not None and bool(self.unit) and self.unit.casefold() not in taken


@lru_cache(maxsize=4096)
def heading(written: str) -> Heading:
    """What a heading such as ``Reading lbs``, ``main-line`` or ``time to tie [s]`` means."""
    text = " ".join(written.split())
    if len(text) > LONGEST_HEADING:
        return Heading(text)
    bracketed = _BRACKETS.fullmatch(text)
    if bracketed and (name := _known(bracketed["name"])):
        return Heading(text, name, bracketed["inside"].strip())
    if name := _known(text):
        return Heading(text, name)
    words = re.split(r"[\s/,_:]+", text)
    for end in (words[-1:], words[-2:]):
        unit = end[-1].strip("().[]")
        start = words[: -len(end)]
        if start[-1:] == ["in"]:
            start.pop()
        name = _known(" ".join(start))
        if name and _measures(name, unit):
            return Heading(text, name, unit)
    return Heading(text)


def without_unit(name: str, text: str) -> str:
    """The number of a cell such as ``1,4 mm``, where the column takes that very unit."""
    found = _WITH_UNIT.fullmatch(text)
    own = found is not None and found["unit"].casefold() in UNITS_OF.get(name, ())
    return found["number"] if found is not None and own else text


def its_spool(written: str, before: str) -> str:
    """The spool that a heading such as 'its spool' means behind the column ``before``."""
    is_one = _folded(written) in ("itsspool", "spool")
    return {"main line": "main spool", "leader line": "leader spool"}.get(before, "") * is_one


def order_of_days(unit: str) -> str:
    """'d' or 'm' where a heading such as ``date (dd/mm/yyyy)`` says what comes first, else ''."""
    text = unit.casefold()
    return text[0] if _ORDER.fullmatch(text) and text[0] in "dm" else ""


def recognised(cells: Sequence[str]) -> int:
    """How many different columns a row names, where it is a row of headings."""
    short = (cell for cell in cells[:MOST_COLUMNS] if len(cell) <= LONGEST_HEADING)
    return len({name for cell in short if (name := heading(cell).name)})


def meant_by(written: str) -> str:
    """The column that an unknown heading is a misspelling of; empty where it is none."""
    close = difflib.get_close_matches(_folded(written[:120]), _MISSPELT, 1, _NEAR)
    return _BY_FOLDED[close[0]] if close else ""


def is_of_a_tie(written: str) -> bool:
    """Whether a heading is that of a tie parameter, as ``turns main``."""
    return bool(TIE_WORDS & set(_SIGNS.sub(" ", written.casefold()).split()))


def _known(name: str) -> str:
    return _BY_FOLDED.get(_folded(name), "")


def _folded(name: str) -> str:
    return _SIGNS.sub("", unicodedata.normalize("NFKC", name).casefold())


def _measures(name: str, unit: str) -> bool:
    """Whether the column may have this unit: any force for a reading, its own for another."""
    if name != "reading":
        return unit.casefold() in UNITS_OF.get(name, ())
    try:
        force_unit(unit)
    except UnitError:
        return False
    return True


_BY_FOLDED = {_folded(name): name for name in COLUMNS} | {
    _folded(other): name for name, others in OTHER_NAMES.items() for other in others
}
_MISSPELT = [folded for folded, name in _BY_FOLDED.items() if name != "sample"]
"""Not what is near to 'sample': people number their own, and few take part in a round."""
