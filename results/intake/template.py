"""A sheet to fill in, with a contributor's own rig, lines and joins already written."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence

from results.intake.columns import COLUMNS
from results.models import PullSet
from results.public.csv_cells import safe
from rigs.models import Contributor, RigRevision

STRAIGHT_ROWS = 5
"""Baseline pulls advised; common practice, no source."""
JOINED_ROWS = 5
MOST_SETS = 12
LEFT_OUT = ("sample", "temperature", "soak", "slipped first", "time to break", "note")
EXAMPLE_SET = {
    "connection": "Double uni",
    "main line": "(your main line)",
    "leader line": "(your leader)",
}


def template(contributor: Contributor | None) -> str:
    """CSV text: the header, and rows that lack only their readings and failure modes.

    Rows are made for the joins and lines of the contributor's past sets, newest first, on the
    newest revision of their newest rig; for a stranger, or before the first session, one example.
    """
    return csv_of(template_columns(), session_of(contributor), template_rows(contributor))


def csv_of(
    columns: Sequence[str], session: Mapping[str, str], rows: Iterable[Mapping[str, str]]
) -> str:
    """CSV text: the header, and rows under it, of which the first says ``session`` besides."""
    sheet = io.StringIO()
    writer = csv.DictWriter(sheet, columns, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        said = {**session, **row}
        writer.writerow({name: safe(said.get(name, "")) for name in columns})
        session = {}
    return sheet.getvalue()


def template_columns() -> list[str]:
    """The columns of the sheet, without those that few fill in."""
    return [name for name in COLUMNS if name not in LEFT_OUT]


def template_rows(contributor: Contributor | None) -> Iterator[dict[str, str]]:
    """Rows of straight line and of joins, as of ``template``."""
    return _rows(_past_ties(contributor) or [EXAMPLE_SET])


def session_of(contributor: Contributor | None) -> dict[str, str]:
    """What the first row says of the session: the newest rig, and the unit used last."""
    newest = (
        RigRevision.objects.filter(rig__owner=contributor)
        .select_related("rig")
        .order_by("-rig__created_at", "-number")
        .first()
        if contributor
        else None
    )
    last = contributor.sessions.first() if contributor else None
    return {
        "rig": newest.rig.name if newest else "(your rig)",
        "revision": str(newest.number) if newest else "1",
        "date": "",
        "state": "dry",
        "loading": "static",
        "unit": last.unit if last else "lbf",
    }


def _rows(ties: list[dict[str, str]]) -> Iterator[dict[str, str]]:
    lines = {(tie["main line"], tie.get("main spool", "")): None for tie in ties}
    lines |= {
        (tie["leader line"], tie.get("leader spool", "")): None
        for tie in ties
        if tie.get("leader line")
    }
    yield from straight_rows(lines)
    for number, tie in enumerate(ties, start=1):
        for pull in range(JOINED_ROWS):
            yield {"kind": "joined", "label": f"set {number}", **(tie if pull == 0 else {})}


def straight_rows(lines: Iterable[tuple[str, str]]) -> Iterator[dict[str, str]]:
    """Rows of straight line, of each line and spool."""
    for line, spool in lines:
        for _ in range(STRAIGHT_ROWS):
            yield {
                "kind": "straight",
                "main line": line,
                "main spool": spool,
                "position": "before",
            }


def _past_ties(contributor: Contributor | None) -> list[dict[str, str]]:
    if contributor is None:
        return []
    past = (
        PullSet.objects.filter(session__contributor=contributor)
        .select_related("connection", "main_line", "leader_line")
        .order_by("-session__received_at", "pk")[: 4 * MOST_SETS]
    )
    ties = {tuple(tie.items()): tie for tie in map(_tie, past)}
    return list(ties.values())[:MOST_SETS]


def _tie(pull_set: PullSet) -> dict[str, str]:
    return {
        "connection": pull_set.connection.name,
        "doubled": "yes" if pull_set.doubled else "no",
        "main line": pull_set.main_line.name,
        "main spool": pull_set.main_spool,
        "leader line": pull_set.leader_line.name if pull_set.leader_line else "",
        "leader spool": pull_set.leader_spool,
        "terminal": pull_set.terminal,
        "parameters": "; ".join(
            f"{name.replace('_', ' ')}={_said(value)}"
            for name, value in pull_set.parameters.items()
        ),
    }


def _said(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
