"""Gathering what is wrong with an upload, and saying it in words that fit on a screen."""

from __future__ import annotations

import difflib
import math
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from results.intake.cells import folded
from results.intake.limits import MOST_FINDINGS
from rigs.refusals import Finding


@dataclass
class Findings:
    """Findings in the order they came; past ``MOST_FINDINGS`` they are only counted."""

    kept: list[Finding] = field(default_factory=list)
    number: int = 0

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

    def summary(self) -> str:
        """How many there are, as the detail of a refusal."""
        if self.number > MOST_FINDINGS:
            return (
                f"{self.number} to correct, of which the first {MOST_FINDINGS} follow. "
                "Nothing was stored."
            )
        return f"{self.number} to correct. Nothing was stored."


def shown(value: object, *, quoted: bool = True) -> str:
    """A value as a finding shows it: short, and with what can't be printed escaped."""
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "a list"
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        if isinstance(value, float) and math.isnan(value):
            return "not a number (NaN)"
        return f"{value:.12g}" if abs(value) < 1e300 else "an infinite or huge number"
    text = str(value)
    short = text if len(text) <= 60 else f"{text[:57]}..."
    escaped = "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode("ascii")
        for letter in short
    )
    return f"'{escaped}'" if quoted else escaped


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
        return f"perhaps {' or '.join(names[:3])}"
    return f"one of {', '.join(list(known)[:12])}{', ...' if len(known) > 12 else ''}"
