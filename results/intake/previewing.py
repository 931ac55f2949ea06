"""A dry run: what an upload would become, with its efficiencies, storing nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext, ngettext

from results.intake.checking import Checked, check
from results.intake.findings import shown
from results.intake.fingerprint import fingerprint
from results.intake.parts import JoinedPart, Pulled
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
READINGS_SHOWN = 12
MOST_TITLES = 5


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
    pulls, which is not stored a second time. ``read_as`` says what was read of each set and each
    straight line, in a line each.
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
    read_as: tuple[str, ...] = ()


def dry_run(contributor: Contributor, body: bytes, content_type: str) -> Preview:
    """Check an upload and compute its sets' figures. Reads only; raises as ``receive`` does."""
    refuse_uploads_of(contributor)
    found = read(body, content_type)
    checked = check(contributor, found)
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
        read_as=as_read(checked, found.titles),
    )


def as_read(
    checked: Checked, titles: Sequence[tuple[int, str]] = (), *, hides_lines: bool = False
) -> tuple[str, ...]:
    """What was read of each straight line and each set, with day, state, unit and readings.

    Then the ``titles``, by their rows, which were not. In a round lines may be hidden.
    """
    session = checked.document
    of_session = [date_format(session.pulled_on, "j M Y"), session.state]
    lines: list[tuple[str, Pulled]] = []
    for part in checked.straight:
        name = gettext("straight line %(line)s") % {"line": part.specimen}
        lines.append((gettext("straight line") if hides_lines else name, part))
    for joined in checked.joined:
        label = joined.row.label if joined.row is not None else joined.place
        lines.append((label, joined))
    said = []
    for name, pulled in lines:
        units = gettext(" and ").join(dict.fromkeys(pulled.readings.units))
        number = len(pulled.pulls)
        said.append(
            ngettext(
                "%(session)s, %(units)s; %(name)s: %(readings)s (%(number)d pull)",
                "%(session)s, %(units)s; %(name)s: %(readings)s (%(number)d pulls)",
                number,
            )
            % {
                "session": ", ".join(of_session),
                "units": units,
                "name": name,
                "readings": _some(pulled.readings.written),
                "number": number,
            }
        )
    for row, title in titles[:MOST_TITLES]:
        said.append(
            gettext("row %(row)s, a title: %(title)s") % {"row": row, "title": shown(title)}
        )
    return tuple(said)


def _some(written: Sequence[str]) -> str:
    """The first readings of a part; a lost one as a dash."""
    some = ", ".join(text or "\u2013" for text in written[:READINGS_SHOWN])
    return f"{some} \u2026" if len(written) > READINGS_SHOWN else some


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
