"""What to write instead of a reading that is more, or less, than one number."""

from __future__ import annotations

import re

from django.utils.translation import gettext

from results.intake import cells

_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_ABOUT = re.compile(rf"(?:~|\u2248|ca?\.?|circa|about|approx\.?)\s*({_NUMBER})\D*", re.IGNORECASE)
_ABOVE = re.compile(rf"(?:>|\u2265|>=|over|above|more than)\s*({_NUMBER})\D*|({_NUMBER})\s*\+",
                    re.IGNORECASE)  # fmt: skip
_BELOW = re.compile(rf"(?:<|\u2264|<=|under|below|less than)\s*({_NUMBER})\D*", re.IGNORECASE)
_MARKED = re.compile(
    rf"({_NUMBER})\s*(?:[a-z]{{1,3}}\.?)?\s*[(\[*?!]+\s*([^()\[\]\d]*)[)\]]?", re.IGNORECASE
)
_TWO = re.compile(rf"({_NUMBER})(?:\s*[^\d\s.,]{{1,8}}\s*|\s+)({_NUMBER})\D*")
_LOST = {"-", "--", "\u2013", "\u2014", "?", "n/a", "na", "x", "lost", "none"}
LONGEST = 60


def instead_of(reading: str) -> str:
    """What to write in place of a reading; empty where nothing better than a number is known.

    The words are English, and few: a judgement, no source.
    """
    text = cells.text(reading)
    if len(text) > LONGEST:
        return ""
    if text.casefold() in _LOST:
        return gettext("a number; of a reading that was lost a blank cell and failure mode 'void'")
    if found := _MARKED.fullmatch(text):
        return _apart(found[1], found[2].strip())
    for form, expected in (
        (_ABOUT, gettext("the number that the scale showed, as %(one)s, and doubts in the note")),
        (
            _ABOVE,
            gettext("the highest number reached, as %(one)s, and failure mode 'none' if it held"),
        ),
        (_BELOW, gettext("the number that the scale showed; it may be below %(one)s")),
        (_TWO, gettext("one number: %(one)s and %(two)s are two")),
    ):
        if found := form.fullmatch(text):
            one, two = [*filter(None, found.groups()), ""][:2]
            return expected % {"one": one, "two": two}
    return ""


def _apart(number: str, words: str) -> str:
    """A number with words or a mark behind it, each in a column of its own."""
    mode = cells.member("failure_mode", words)
    if words and mode in cells.MODES:
        return gettext("%(number)s alone, and failure mode '%(mode)s'") % {
            "number": number, "mode": mode,
        }  # fmt: skip
    return gettext("%(number)s alone, and the rest in the note") % {"number": number}
