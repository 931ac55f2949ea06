"""Cells of a recording: numbers with or without their unit, and times as clocks write them."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from typing import TypeAlias

from results.intake.cells import Measure
from rigs.metrology.units import UnitError, force_unit

Moment: TypeAlias = datetime | float
"""A day and time, or seconds since midnight."""

LONGEST = 80
_NUMBER = re.compile(
    r"(?:[^\W\d_][\w .]*+[:=]\s*+)?"
    r"(?P<number>[+-]?(?:\d++(?:[.,]\d*+)?|[.,]\d++)(?:[eE][+-]?\d++)?)"
    r"\s*+(?P<unit>[^\W\d_]{0,10})\.?"
)
_GROUPED = re.compile(
    r"(?<![\w.,'\u2019])[1-9]\d{0,2}"
    r"(?P<mark>[.,'\u2019 \u00a0\u2007\u2009\u202f])\d{3}(?:(?P=mark)\d{3})*+(?!\d)"
    r"(?P<point>[.,]\d*+)?"
)
_NUMBER_IN = re.compile(r"(?<!\w)\d[\d.,'\u2019]*(?:[eE][+-]?\d+)?|(?<![\w])[.,]\d+")
_DECIMAL = re.compile(r"\d*(?P<mark>[.,])\d*(?:[eE][+-]?\d+)?")
_OF_DAY = re.compile(r"(?:(\d{1,2}):)?(\d{1,2}):(\d{1,2}(?:[.,]\d{1,9})?)")
_HALF_OF_DAY = re.compile(r"\s*([ap])\.?m\.?\Z", re.IGNORECASE)
_DAY = re.compile(r"(?:(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{1,2})[./-](\d{1,2})[./-](\d{4}))")
_ZONE = re.compile(r"(?:Z|[+-]\d{2}:?\d{2})\Z")


def number(cell: object, decimal: str) -> float | None:
    """The number in a cell; a unit behind it, or a word and a colon before it, may stand.

    Thousands may be parted by blanks, apostrophes, or whichever of point and comma is not the
    decimal mark.
    """
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return float(cell)
    if not isinstance(cell, str):
        return None
    if decimal == "." or "." not in cell:
        text = cell.replace(",", ".") if decimal == "," else cell
        try:
            return float(text) if "_" not in text else None
        except ValueError:
            pass
    return _in_words(cell, decimal) if len(cell) <= LONGEST else None


def _in_words(cell: str, decimal: str) -> float | None:
    text = _together(cell, decimal)
    found = _NUMBER.fullmatch((text.replace(",", ".") if decimal == "," else text).strip())
    if found is None or "," in found["number"] or not _is_unit(found["unit"]):
        return None
    return float(found["number"])


def _together(cell: str, decimal: str) -> str:
    """The cell without the marks between thousands."""
    found = _GROUPED.search(cell)
    if found is None or found["mark"] == decimal or (found["point"] or decimal)[0] != decimal:
        return cell
    return cell[: found.start()] + found[0].replace(found["mark"], "") + cell[found.end() :]


def mark_shown(cell: object) -> str:
    """Whether a cell shows which of point and comma is the decimal mark.

    That mark; 'open' where one mark stands before the last three digits, so that 1,234 may be more
    than a thousand or little more than one; nothing where the cell has no such mark.
    """
    written = _NUMBER_IN.search(cell) if isinstance(cell, str) and len(cell) <= LONGEST else None
    if written is None:
        return ""
    grouped = _GROUPED.fullmatch(written[0])
    if grouped is None or grouped["mark"] not in ".,":
        found = _DECIMAL.fullmatch(written[0]) if grouped is None else None
        return found["mark"] if found else ""
    if grouped["point"]:
        return grouped["point"][0]
    several = written[0].count(grouped["mark"]) > 1
    return ("," if grouped["mark"] == "." else ".") if several else "open"


def unit_in(cell: object) -> str:
    """The unit that stands behind the number of a cell, or that its format shows there."""
    if isinstance(cell, Measure):
        return next(filter(_is_named, cell.shows.split()), cell.shows)
    if not isinstance(cell, str) or len(cell) > LONGEST:
        return ""
    found = filter(None, (_NUMBER.fullmatch(_together(cell, mark).strip()) for mark in ".,"))
    return next((each["unit"] for each in found), "")


def _is_named(text: str) -> bool:
    return bool(text) and _is_unit(text)


def _is_unit(text: str) -> bool:
    if text.casefold() in ("", "s", "ms", "us", "µs", "μs", "sec", "v", "mv"):
        return True
    try:
        force_unit(text)
    except UnitError:
        return False
    return True


def moment(cell: object) -> Moment | None:
    """The time of day, or day and time, that a cell shows; None where it is no such thing.

    The day itself only tells one sample from the next, so that the order of day and month in it is
    of no account unless it is given (`datetime` with a zone).
    """
    if isinstance(cell, datetime):
        return cell
    if isinstance(cell, time):
        return _seconds(cell.hour, cell.minute, cell.second + cell.microsecond / 1e6)
    if isinstance(cell, timedelta):
        return cell.total_seconds()
    if not isinstance(cell, str) or not 4 <= len(cell) <= LONGEST or ":" not in cell:
        return None
    text = cell.strip()
    half = _HALF_OF_DAY.search(text)
    if half:
        text = text[: half.start()]
    if found := _OF_DAY.fullmatch(text):
        hours, minutes, seconds = found.groups()
        return _seconds(_hour(hours, half), int(minutes), float(seconds.replace(",", ".")))
    return _day_and_time(text, half)


def _hour(written: str | None, half: re.Match[str] | None) -> int:
    """The hour of the day; ``half`` is 'am' or 'pm' behind it."""
    hour = int(written or 0)
    return hour if half is None else hour % 12 + (12 if half[1] in "pP" else 0)


def _seconds(hours: int, minutes: int, seconds: float) -> float:
    return 3600.0 * hours + 60.0 * minutes + seconds


def _day_and_time(text: str, half: re.Match[str] | None) -> datetime | None:
    day = _DAY.match(text)
    if day is None:
        return None
    rest = text[day.end() :].lstrip(" T")
    zone = _ZONE.search(rest)
    of_day = _OF_DAY.fullmatch(rest[: zone.start()].strip() if zone else rest)
    if of_day is None:
        return None
    try:
        on = _date(day)
        seconds = float(of_day[3].replace(",", "."))
        since = _seconds(_hour(of_day[1], half), int(of_day[2]), seconds)
        midnight = datetime.fromisoformat(f"{on.isoformat()}T00:00:00{zone[0] if zone else ''}")
        return midnight + timedelta(seconds=since)
    except (ValueError, OverflowError):
        return None


def _date(day: re.Match[str]) -> date:
    if day[1]:
        return date(int(day[1]), int(day[2]), int(day[3]))
    first, second, year = int(day[4]), int(day[5]), int(day[6])
    return date(year, second, first) if second <= 12 else date(year, first, second)
