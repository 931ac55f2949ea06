"""Whether there is enough of everything: pulls in a set, and straight line to measure it by."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence

from django.utils.translation import gettext

from results.intake.document import SessionDocument
from results.intake.limits import MOST_SUGGESTIONS
from results.intake.parts import JoinedPart, StraightPart
from results.models import PullSet, Session
from results.normalising.borrowed_baselines import Lent, borrow, why_not
from results.normalising.reference_line import NoReference, Specimen, pulled_straight
from results.normalising.set_figures import specimens
from rigs.metrology.validity import LEAST_STRAIGHT_PULLS
from rigs.models import RigRevision
from rigs.refusals import Finding

LEAST_PULLS = 2
"""Pulls of a set that were read; one has no scatter."""


def unsaved(said: SessionDocument, revision: RigRevision) -> Session:
    """The session before it is stored: what its scale and borrowing depend on."""
    return Session(
        revision=revision, pulled_on=said.pulled_on, state=said.state, loading=said.loading
    )


def set_findings(joined: Sequence[JoinedPart]) -> Iterator[Finding]:
    """Sets with too few pulls to have a scatter."""
    for part in joined:
        read = int(part.counted.sum())
        if read < LEAST_PULLS:
            void = len(part.pulls) - read
            found = f"{read} {'pull' if read == 1 else 'pulls'}" + (
                f" and {void} void" if void else ""
            )
            yield Finding(
                part.place,
                "pulls",
                found,
                gettext("at least %(least_pulls)s that were read") % {"least_pulls": LEAST_PULLS},
            )


def baseline_findings(straight: Sequence[StraightPart]) -> Iterator[Finding]:
    """Straight line with too few pulls to be a strength; those before and after count together."""
    for specimen, parts in by_specimen(straight).items():
        parted = sum(int(part.parted_in_line.sum()) for part in parts)
        if parted < LEAST_STRAIGHT_PULLS:
            yield Finding(
                parts[0].place,
                "pulls",
                gettext("%(parted)s of %(specimen)s that parted in the free length")
                % {"parted": parted, "specimen": specimen},
                gettext("at least %(least_straight_pulls)s pulls parted in the free length")
                % {"least_straight_pulls": LEAST_STRAIGHT_PULLS},
            )


def reference_findings(
    straight: Sequence[StraightPart],
    joined: Sequence[JoinedPart],
    rig: str,
    session: Session | None,
    warnings: list[Finding],
) -> Iterator[Finding]:
    """Sets whose reference line was not pulled straight, that day or near enough to borrow.

    ``session`` is the one to be stored, None if its revision is not known. What is borrowed is
    said in ``warnings``.
    """
    pulled = {
        specimen
        for specimen, parts in by_specimen(straight).items()
        if any(part.counted.any() for part in parts)
    }
    missing = [(part, row) for part in joined if (row := part.row) and _lacks(row, pulled)]
    wanted = {
        specimen
        for _, row in missing
        for specimen in specimens(row)
        if specimen and specimen not in pulled
    }
    if session is not None:
        lent = borrow(session, wanted)
        pulled |= set(lent)
        warnings += _borrowed(missing, lent)
    reasons: dict[Specimen, str] = {}
    for part, row in missing:
        if found := _lacks(row, pulled):
            expected = gettext("a baseline of it in this session, on %(rig)s") % {"rig": rig}
            against = _not_lent(session, row, reasons) if session is not None else ()
            yield Finding(part.place, "baselines", found, "; ".join([expected, *against]))


def _borrowed(
    sets: Sequence[tuple[JoinedPart, PullSet]], lent: Mapping[Specimen, Lent]
) -> Iterator[Finding]:
    """Whose straight line a set is measured by, said at the first set that borrows it."""
    for specimen, borrowed in lent.items():
        part = next(
            part
            for part, row in sets
            if any(each and each.line == specimen.line for each in specimens(row))
        )
        source = borrowed.baselines[0].session
        found = gettext(
            "no straight line of %(specimen)s on this day: that of session %(session)s, "
            "of %(day)s, is borrowed"
        ) % {"specimen": specimen, "session": source.pk, "day": source.pulled_on}
        expected = gettext("straight line pulled on the day, which fits it best")
        yield Finding(part.place, "baselines", found, expected)


def _lacks(row: PullSet, pulled: Collection[Specimen]) -> str:
    """Which baseline a set lacks; empty where none."""
    try:
        pulled_straight(*specimens(row), pulled)
    except NoReference as missing:
        return str(missing)
    return ""


def _not_lent(session: Session, row: PullSet, reasons: dict[Specimen, str]) -> Iterator[str]:
    """Why no baseline can be borrowed; looked up once for each line."""
    for specimen in specimens(row):
        if specimen is not None and specimen not in reasons and len(reasons) < MOST_SUGGESTIONS:
            reasons[specimen] = why_not(session, specimen)
        if specimen is not None and reasons.get(specimen):
            yield reasons[specimen]


def by_specimen(straight: Sequence[StraightPart]) -> dict[Specimen, list[StraightPart]]:
    """Baselines of one line from one spool together."""
    found: dict[Specimen, list[StraightPart]] = defaultdict(list)
    for part in straight:
        if part.specimen is not None:
            found[part.specimen].append(part)
    return found
