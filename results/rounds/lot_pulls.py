"""The organiser's own pulls of a lot, which show whether it is alike all through, and stays so."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils.translation import gettext

from results.models import LotPull, Round, RoundLot
from results.rounds.set_up import lock_round_of
from rigs.locks import lock_contributor
from rigs.metrology.bounds import READING_N
from rigs.metrology.units import FORCE_UNITS, UnitError, force_newtons
from rigs.models import Contributor
from rigs.refusals import Conflict, Finding, Invalid

MOST_PIECES, MOST_OF_A_PIECE = 60, 20


def record(
    by: Contributor, lot: RoundLot, occasion: str, unit: str, pieces: Sequence[Sequence[float]]
) -> None:
    """Store the readings of each piece of a lot, in place of those of the same occasion.

    Only pulls that parted in the line, as many of each piece. One transaction. Locks the
    contributor, then the round. Raises Forbidden, Invalid, Conflict once it is closed, and
    AccountClosed.
    """
    try:
        newtons = [[force_newtons(each, unit) for each in piece] for piece in pieces]
    except UnitError:
        expected = gettext("a unit of force: %(units)s") % {"units": ", ".join(FORCE_UNITS)}
        raise Invalid(
            gettext("The pulls can't be stored."), [Finding("", "unit", unit[:20], expected)]
        ) from None
    _check(occasion, newtons)
    with transaction.atomic():
        now = lock_round_of(lock_contributor(by), lot.round)
        if now.state == Round.State.CLOSED:
            raise Conflict(gettext("The round is closed: its report stays as it is."))
        lot.pulls.filter(occasion=occasion).delete()
        LotPull.objects.bulk_create(
            LotPull(
                lot=lot,
                occasion=occasion,
                piece=piece,
                number=number,
                reading_written=f"{reading:.12g}",
                unit=unit,
                reading_N=newtons[piece - 1][number - 1],
            )
            for piece, readings in enumerate(pieces, start=1)
            for number, reading in enumerate(readings, start=1)
        )


def _check(occasion: str, newtons: Sequence[Sequence[float]]) -> None:
    findings = []
    if occasion not in LotPull.Occasion.values:
        findings.append(Finding("", "occasion", occasion[:20], gettext("before or after")))
    sizes = {len(piece) for piece in newtons}
    if not 1 <= len(newtons) <= MOST_PIECES or len(sizes) != 1 or max(sizes) > MOST_OF_A_PIECE:
        expected = gettext("1 to %(most)d pieces with as many pulls of each")
        found = ", ".join(str(len(piece)) for piece in newtons[:20])
        findings.append(Finding("", "pieces", found, expected % {"most": MOST_PIECES}))
    findings += [
        Finding(f"pieces[{number}]", "reading", f"{each:g} N", f"{READING_N} N")
        for number, piece in enumerate(newtons)
        for each in piece
        if not READING_N.holds(each)
    ]
    if findings:
        raise Invalid(gettext("The pulls can't be stored."), findings)
