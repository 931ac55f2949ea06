"""Days as people and spreadsheets write them.

Numbers alone leave open whether the day or the month comes first; where both can be, both are
given back and the sender is asked.
"""

from __future__ import annotations

import re
from datetime import date, timedelta

from django.utils import timezone

from rigs.metrology.bounds import latest_day

_LONGEST = 40
_TIME = re.compile(r"(?:[T ]+\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?(?:Z|[+-]\d{2}:?\d{2})?)\Z")
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-. ]+([a-z]{3,9})[-., ]+(\d{4})")
_MONTH_DAY = re.compile(r"([a-z]{3,9})[-. ]+(\d{1,2})(?:st|nd|rd|th)?[-., ]+(\d{4})")
_WEEKDAY = re.compile(r"(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[., ]+(?=\S)")
_MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip

SERIAL_ZERO = date(1899, 12, 30)
"""Day 0 of spreadsheets that count days: ECMA-376 part 1, 18.17.4.1, from March 1900 on."""
SERIALS = range(20_000, 80_000)
"""Numbers that are taken for a day: 1954 to 2119."""


def days_meant(written: str, order: str = "") -> tuple[date, ...]:
    """Each day that the text can mean, the likelier first; none where it is no day.

    ``order`` is 'd' or 'm' where a heading says which of the two comes first.
    """
    text = " ".join(written.casefold().split())
    if len(text) > _LONGEST:
        return ()
    text = _WEEKDAY.sub("", _TIME.sub("", text.upper()).casefold().strip(), count=1)
    if found := _YEAR_FIRST.fullmatch(text):
        return _days([(found[1], found[3], found[4])])
    if found := _YEAR_LAST.fullmatch(text):
        return _year_last(found[1], found[2], found[3], found[4], order)
    if found := _DAY_MONTH.fullmatch(text):
        return _days([(found[3], _month(found[2]), found[1])])
    if found := _MONTH_DAY.fullmatch(text):
        return _days([(found[3], _month(found[1]), found[2])])
    return (SERIAL_ZERO + timedelta(int(text[:5])),) if is_serial(text) else ()


def is_serial(written: str) -> bool:
    """Whether the text is the number of a day, as a spreadsheet counts them."""
    text = written.removesuffix(".0")
    return len(text) == 5 and text.isascii() and text.isdigit() and int(text) in SERIALS


def _year_last(first: str, sign: str, second: str, year: str, order: str) -> tuple[date, ...]:
    """With full stops the day comes first wherever days are written so: common practice, no
    source. A year of two figures may as well be a day; what is still to come is not meant then.
    """
    day_first, month_first = (year, second, first), (year, first, second)
    if len(year) == 2:
        century = f"20{year}"
        both = [(century, second, first), (century, first, second), (f"20{first}", second, year)]
        return tuple(day for day in _days(both) if day <= latest_day(timezone.now()))
    if order:
        return _days([day_first if order == "d" else month_first])
    return _days([day_first] if sign == "." else [day_first, month_first])


def _month(name: str) -> str:
    """The number of a month by its English name or the first letters of it; 0 if it is none."""
    alike = [number for number, month in enumerate(_MONTHS, start=1) if month.startswith(name[:3])]
    is_short = len(name) == 3 or name == "sept"
    matches = [n for n in alike if is_short or _MONTHS[n - 1] == name]
    return str(matches[0]) if matches else "0"


def _days(candidates: list[tuple[str, str, str]]) -> tuple[date, ...]:
    found = []
    for year, month, day in candidates:
        try:
            found.append(date(int(year), int(month), int(day)))
        except ValueError:
            continue
    return tuple(dict.fromkeys(found))
