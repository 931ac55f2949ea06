"""Gathering what is wrong with an upload, and saying it in words that fit on a screen."""

from __future__ import annotations

import difflib
import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.utils.translation import gettext, ngettext

from results.intake.cells import folded
from results.intake.limits import MOST_FINDINGS, MOST_PROPOSED
from results.models import Proposal
from rigs.refusals import Finding, Invalid


@dataclass(frozen=True)
class Missing:
    """A name that the catalogue lacks; a parameter is one of the ``connection`` of this id."""

    kind: Proposal.Kind
    name: str
    connection: int | None = None


class LacksEntries(Invalid):
    """Nothing is wrong with an upload but that the catalogue lacks what it names."""

    def __init__(
        self, detail: str, findings: Sequence[Finding], missing: Sequence[Missing]
    ) -> None:
        super().__init__(detail, findings)
        self.missing = tuple(dict.fromkeys(missing))
        self.as_correction: dict[str, str] = {}
        """Which session it was to correct and why, as the query of the address where it waits."""


@dataclass
class Findings:
    """Findings in the order they came; past ``MOST_FINDINGS`` they are only counted.

    ``missing`` has an entry for each of them that is of a name the catalogue lacks.
    """

    kept: list[Finding] = field(default_factory=list)
    number: int = 0
    missing: list[Missing] = field(default_factory=list)

    @property
    def is_full(self) -> bool:
        return self.number >= MOST_FINDINGS

    def add(self, row: str, field_name: str, found: str, expected: str) -> None:
        self.extend([Finding(row, field_name, found, expected)])

    def extend(self, more: Iterable[Finding]) -> None:
        for finding in more:
            self.number += 1
            if self.number <= MOST_FINDINGS:
                self.kept.append(finding)

    def lacks(self, missing: Missing, row: str, field_name: str, expected: str) -> None:
        """Add that the catalogue lacks a name."""
        self.missing.append(missing)
        self.add(row, field_name, shown(missing.name), expected)

    def refusal(self, findings: Sequence[Finding]) -> Invalid:
        """The refusal with these findings, which says so where all are of missing names."""
        if self.number == len(self.missing) and len(set(self.missing)) <= MOST_PROPOSED:
            return LacksEntries(self.summary(), findings, self.missing)
        return Invalid(self.summary(), findings)

    def summary(self) -> str:
        """How many there are, as the detail of a refusal."""
        if self.number > MOST_FINDINGS:
            return gettext(
                "%(number)d to correct, of which the first %(most)d follow. Nothing was stored."
            ) % {"number": self.number, "most": MOST_FINDINGS}
        return ngettext(
            "%(number)d to correct. Nothing was stored.",
            "%(number)d to correct. Nothing was stored.",
            self.number,
        ) % {"number": self.number}


def shown(value: object, *, quoted: bool = True) -> str:
    """A value as a finding shows it: short, and with a mark for what can't be printed."""
    if isinstance(value, dict | list):
        return gettext("an object") if isinstance(value, dict) else gettext("a list")
    if value is None:
        return gettext("nothing")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        if isinstance(value, float) and math.isnan(value):
            return gettext("not a number (NaN)")
        return f"{value:.12g}" if abs(value) < 1e300 else gettext("an infinite or huge number")
    return _visible(str(value), quoted=quoted)


def _visible(text: str, *, quoted: bool) -> str:
    short = text if len(text) <= 60 else f"{text[:57]}..."
    visible = "".join(letter if letter.isprintable() else "\ufffd" for letter in short)
    if not quoted:
        return visible
    if visible == short:
        return f"'{visible}'"
    return gettext("'%(text)s', with a character that can't be shown") % {"text": visible}


def which_day(days: Sequence[date]) -> str:
    """The question for a day that is written so that it can be several."""
    return gettext("%(days)s: write the one that is meant, so") % {
        "days": gettext(" or ").join(day.isoformat() for day in days)
    }


def nearest(name: str, known: Collection[str]) -> str:
    """The known names that a misspelt one may have meant, as words for a finding; or the first."""
    sought = folded(name[:120])
    by_folded: dict[str, list[str]] = defaultdict(list)
    for each in known:
        by_folded[folded(each)].append(each)
    close = difflib.get_close_matches(sought, by_folded, 3, 0.6)
    close += [each for each in by_folded if len(sought) > 2 and sought in each]
    if close:
        names = [f"'{one}'" for each in dict.fromkeys(close) for one in by_folded[each]]
        return gettext("perhaps %(names)s") % {"names": gettext(" or ").join(names[:3])}
    more = ", ..." if len(known) > 12 else ""
    return gettext("one of %(names)s") % {"names": ", ".join(list(known)[:12]) + more}
