"""The place of a finding on a sheet: its row, and its column by its heading."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from django.utils.translation import gettext

from rigs.refusals import Finding

_HEADINGS = {
    "pulled_on": "date",
    "temperature_C": "temperature",
    "soak_hours": "soak",
    "time_to_break_s": "time to break",
    "time_to_tie_s": "time to tie",
    "join_diameter_mm": "join diameter",
    "leader": "leader line",
    "main": "main line",
}
_ANSWERS = ("doubled", "slipped_first")


def on_sheet(finding: Finding, rows: Mapping[str, str]) -> Finding:
    """The finding with its place in a document turned into a row; as it is without ``rows``."""
    if not rows or (finding.row not in rows and _part(finding.row) not in rows):
        return finding
    heading = _HEADINGS.get(finding.field, finding.field.replace("_", " "))
    end = finding.row.rpartition(".")[2]
    if end in ("main", "leader"):
        heading = f"{end} {heading}"
    elif finding.row.startswith("baselines") and finding.field in ("line", "spool"):
        heading = f"main {heading}"
    of_part = rows.get(finding.row, rows[_part(finding.row)])
    row = rows.get(f"{finding.row}.{finding.field}", of_part)
    expected = gettext("yes or no") if finding.field in _ANSWERS else finding.expected
    return replace(finding, row=row, field=heading, expected=expected)


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Findings about the whole first, then in the order of the rows."""
    return sorted(findings, key=lambda each: int(each.row) if each.row.isdecimal() else 0)


def _part(place: str) -> str:
    """The baseline, pull set or session that a place is in."""
    return place.partition(".")[0]
