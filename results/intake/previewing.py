"""A dry run: what an upload would become, with its efficiencies, storing nothing."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from results.intake.checking import Checked, check
from results.intake.fingerprint import fingerprint
from results.intake.parts import JoinedPart
from results.intake.reading import read
from results.intake.sufficiency import by_specimen, unsaved
from results.models import Session
from results.normalising.borrowed_baselines import borrow
from results.normalising.pair_evidence import evidence, fixed_references
from results.normalising.reference_line import Specimen
from results.normalising.scales import scale_of
from results.normalising.set_figures import (
    NoFigures,
    Pulls,
    SetFigures,
    compute_figures,
    contested_pairs,
    specimens_without_reference,
    straight_strengths,
)
from rigs.locks import refuse_uploads_of
from rigs.models import Contributor
from rigs.refusals import Finding

SAME_DAY_OFFERED = 5


@dataclass(frozen=True)
class SetPreview:
    """One set as it would come out; ``why_not`` says why it would have no efficiency."""

    label: str
    connection: str
    lines: str
    pulls: int
    failure_modes: dict[str, int]
    reference: str = ""
    efficiency: float | None = None
    interval_low: float | None = None
    interval_high: float | None = None
    why_not: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Preview:
    """What would be stored; ``asked`` are the warnings to look at before storing, which come first
    among them, and ``same_day`` one's current sessions of that day on that rig.
    ``sealed_until_the_close_of`` is the round of a session that goes by its codes, and ``late`` is
    whether that would be after its last day. ``stored_as`` is one's current session with the same
    pulls, which is not stored a second time.
    """

    rig: str
    revision: int
    baselines: int
    pull_sets: int
    pulls: int
    sets: tuple[SetPreview, ...]
    warnings: tuple[Finding, ...]
    asked: tuple[Finding, ...] = ()
    same_day: tuple[Session, ...] = ()
    sealed_until_the_close_of: int | None = None
    late: bool = False
    stored_as: Session | None = None


def dry_run(contributor: Contributor, body: bytes, content_type: str) -> Preview:
    """Check an upload and compute its sets' figures. Reads only; raises as ``receive`` does."""
    refuse_uploads_of(contributor)
    checked = check(contributor, read(body, content_type))
    figures = _figures(checked)
    parts = [*checked.straight, *checked.joined]
    return Preview(
        rig=checked.revision.rig.name,
        revision=checked.revision.number,
        baselines=len(checked.straight),
        pull_sets=len(checked.joined),
        pulls=sum(len(part.pulls) for part in parts),
        sets=tuple(map(_set, checked.joined, figures)),
        warnings=checked.warnings,
        asked=checked.asked,
        same_day=tuple(
            contributor.sessions.filter(
                revision__rig=checked.revision.rig_id,
                pulled_on=checked.document.pulled_on,
                standing=Session.Standing.CURRENT,
            )
            .prefetch_related("pull_sets__connection")
            .order_by("pk")[:SAME_DAY_OFFERED]
        ),
        stored_as=contributor.sessions.filter(
            fingerprint=fingerprint(checked), standing=Session.Standing.CURRENT
        ).first(),
    )


def _figures(checked: Checked) -> list[SetFigures | NoFigures]:
    session = unsaved(checked.document, checked.revision)
    scale = scale_of(session)
    straight: dict[Specimen, Pulls] = {
        specimen: [row for part in parts for row in part.rows()]
        for specimen, parts in by_specimen(checked.straight).items()
    }
    sets = [(part.row, part.rows()) for part in checked.joined if part.row is not None]
    rows = [row for row, _ in sets]
    lent = borrow(session, specimens_without_reference(rows, straight_strengths(scale, straight)))
    straight |= {specimen: borrowed.pulls for specimen, borrowed in lent.items()}
    pairs = contested_pairs(rows, straight_strengths(scale, straight))
    notes = {specimen: borrowed.note for specimen, borrowed in lent.items()}
    fixed = fixed_references(pairs, evidence(session, pairs))
    return compute_figures(scale, straight, sets, fixed, notes)


def _set(part: JoinedPart, found: SetFigures | NoFigures) -> SetPreview:
    assert part.row is not None
    said: dict[str, Any] = {
        "label": part.row.label,
        "connection": part.row.connection.name,
        "lines": f"{part.row.main_line} to {part.row.leader_line or part.row.terminal}",
        "pulls": len(part.pulls),
        "failure_modes": Counter(pull.failure_mode for pull in part.pulls),
    }
    if isinstance(found, NoFigures):
        return SetPreview(**said, why_not=found.why)
    return SetPreview(
        **said,
        reference=str(found.reference.specimen),
        efficiency=found.efficiency.ratio,
        interval_low=found.efficiency.fieller_low,
        interval_high=found.efficiency.fieller_high,
        notes=found.notes,
    )
