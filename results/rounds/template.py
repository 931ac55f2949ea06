"""A sheet for a participant's results: their codes and the round's spools already written."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext

from results.intake.template import csv_of, session_of, straight_rows
from results.intake.template_workbook import workbook_of
from results.models import Round, RoundParticipant
from results.rounds.codes import readable
from results.rounds.selectors import lots_of, own_codes
from rigs.refusals import Conflict

COLUMNS = (
    "rig", "revision", "date", "state", "unit", "kind", "sample", "main line", "main spool",
    "discarded ties", "position", "reading", "failure mode", "place",
)  # fmt: skip


def template(own: RoundParticipant) -> str:
    """CSV text, rows that lack readings and failure modes alone. Raises Conflict."""
    return csv_of(COLUMNS, _session(own), _rows(own))


def template_workbook(own: RoundParticipant) -> bytes:
    """The same as an XLSX workbook with drop-downs. Raises Conflict."""
    return workbook_of(own.contributor, COLUMNS, _session(own), _rows(own))


def _session(own: RoundParticipant) -> dict[str, str]:
    if own.round.state != Round.State.OPEN:
        raise Conflict(gettext("There are codes to send results of while the round is open."))
    return session_of(own.contributor) | {"state": own.round.line_state, "loading": ""}


def _rows(own: RoundParticipant) -> Iterator[dict[str, str]]:
    yield from straight_rows((lot.line.name, lot.spool) for lot in lots_of(own.round))
    for one in own_codes(own):
        if not one.sent:
            for _ in range(one.ties):
                yield {"kind": "joined", "sample": readable(one.code)}
