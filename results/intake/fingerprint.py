"""What makes two uploads the same session, whatever form and key they were sent under."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

import msgspec

from results.intake.checking import Checked
from results.intake.parts import Pulled
from results.models import PullSet


def fingerprint(checked: Checked) -> str:
    """SHA-256 of the facts of a session, in an order of their own.

    Names are taken as the catalogue has them and loads in newtons, to nine digits. Labels, notes
    and the tyer's name are words about the facts and left out.
    """
    said = checked.document
    facts = [
        checked.revision.pk,
        said.pulled_on,
        said.state,
        said.loading,
        sorted(_straight(checked)),
        sorted(_joined(checked)),
    ]
    return hashlib.sha256(msgspec.json.encode(facts)).hexdigest()


def _straight(checked: Checked) -> Iterator[bytes]:
    for part in checked.straight:
        assert part.line is not None
        yield msgspec.json.encode([part.line.pk, part.spool, part.position, _pulls(part)])


def _joined(checked: Checked) -> Iterator[bytes]:
    for part in checked.joined:
        row = part.row
        assert row is not None
        yield msgspec.json.encode(
            [
                row.connection_id,
                row.doubled,
                [row.main_line_id, row.main_spool],
                [row.leader_line_id, row.leader_spool, row.terminal],
                sorted(row.parameters.items()),
                row.discarded_ties,
                _pulls(part),
                *_measured(row),
            ]
        )


def _measured(row: PullSet) -> list[list[float | None]]:
    """Empty if neither was given, so that fingerprints from before these fields still match."""
    measured = [row.time_to_tie_s, row.join_diameter_m]
    return [measured] if any(measured) else []


def _pulls(part: Pulled) -> list[tuple[str, str]]:
    return [
        (f"{force:.9g}", pull.failure_mode)
        for force, pull in zip(part.readings.newtons.tolist(), part.pulls, strict=True)
    ]
