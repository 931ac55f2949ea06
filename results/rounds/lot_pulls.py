"""The organiser's own pulls of a lot, which show whether it is alike all through, and stays so."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

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
    by: Contributor,
    lot: RoundLot,
    occasion: str,
    unit: str,
    pieces: Sequence[Sequence[float | Decimal]],
) -> None:
    """Store the readings of each piece of a lot, in place of those of the same occasion.

    Once the round is closed, those after it are stored where there are none yet, and then stay:
    its report gets a new version. Only pulls that parted in the line. One transaction. Locks the
    contributor, then the round. Raises Forbidden, Invalid, Conflict where nothing is stored any
    more, and AccountClosed.
    """
    try:
        newtons = [[force_newtons(float(each), unit) for each in piece] for piece in pieces]
    except UnitError:
        expected = gettext("a unit of force: %(units)s") % {"units": ", ".join(FORCE_UNITS)}
        raise Invalid(
            gettext("The pulls can't be stored."), [Finding("", "unit", unit[:20], expected)]
        ) from None
    _check(occasion, newtons)
    with transaction.atomic():
        now = lock_round_of(lock_contributor(by), lot.round)
        if occasion not in occasions_left(now, lot):
            raise Conflict(
                gettext("The round is closed: its pulls after it are stored already, and stay.")
                if occasion == LotPull.Occasion.AFTER
                else gettext("The round is closed: the pulls before it stay as they are.")
            )
        lot.pulls.filter(occasion=occasion).delete()
        LotPull.objects.bulk_create(
            LotPull(
                lot=lot,
                occasion=occasion,
                piece=piece,
                number=number,
                reading_written=_written(reading),
                unit=unit,
                reading_N=newtons[piece - 1][number - 1],
            )
            for piece, readings in enumerate(pieces, start=1)
            for number, reading in enumerate(readings, start=1)
        )


def _written(reading: float | Decimal) -> str:
    """A decimal as it was written, its last zeros too."""
    return str(reading) if isinstance(reading, Decimal) else f"{reading:.12g}"


def occasions_left(of: Round, lot: RoundLot) -> tuple[LotPull.Occasion, ...]:
    """Those of which pulls of a lot of this round can still be stored."""
    before, after = LotPull.Occasion.BEFORE, LotPull.Occasion.AFTER
    if of.state != Round.State.CLOSED:
        return before, after
    return () if lot.pulls.filter(occasion=after).exists() else (after,)


def _check(occasion: str, newtons: Sequence[Sequence[float]]) -> None:
    findings = []
    if occasion not in LotPull.Occasion.values:
        findings.append(Finding("", "occasion", occasion[:20], gettext("before or after")))
    if not 1 <= len(newtons) <= MOST_PIECES:
        expected = gettext("1 to %(most)d pieces") % {"most": MOST_PIECES}
        findings.append(Finding("", "pieces", str(len(newtons)), expected))
    findings += [
        Finding(
            f"pieces[{number}]",
            "pulls",
            str(len(piece)),
            gettext("1 to %(most)d of a piece") % {"most": MOST_OF_A_PIECE},
        )
        for number, piece in enumerate(newtons)
        if not 1 <= len(piece) <= MOST_OF_A_PIECE
    ]
    findings += [
        Finding(f"pieces[{number}]", "reading", f"{each:g} N", f"{READING_N} N")
        for number, piece in enumerate(newtons)
        for each in piece
        if not READING_N.holds(each)
    ]
    if findings:
        raise Invalid(gettext("The pulls can't be stored."), findings)
