"""Rigs and hands apart: effects of each participant, and how much each kind scatters."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from results.statistics.errors import StatisticsError
from results.statistics.rounds.cells import Cell, CellsOfSample
from results.statistics.rounds.effects import Effect, Levels, SetMeans, effects, levels
from results.statistics.rounds.observations import Sample
from results.statistics.rounds.spread import (
    BlindRepeats,
    Spread,
    between_participants,
    blind_repeats,
)

Found = TypeVar("Found")

NO_CENTRAL = "No centrally tied sample was pulled, so rigs can't be separated from hands."
NO_OWN = "No sample was tied by the participants, so the round says nothing of hands."
ONE_SET = (
    "One set each: the intervals rest on the scatter of pulls alone, and leave out that a rig or "
    "hand may do better on one sample than on another."
)


@dataclass(frozen=True)
class Kind:
    """Effects of one kind (rigs, or hands), and their scatter; ``why_none`` where there are none.

    ``caution`` is empty unless the intervals rest on less than they should.
    """

    effects: tuple[Effect, ...]
    why_none: str
    spread: Spread | None
    why_no_spread: str
    caution: str

    def of(self, participant: int) -> Effect | None:
        return next((one for one in self.effects if one.participant == participant), None)


@dataclass(frozen=True)
class HandsAndRigs:
    """Rigs, hands, and what blind repeats of one sample scatter."""

    rigs: Kind
    hands: Kind
    repeats: BlindRepeats | None
    why_no_repeats: str


def hands_and_rigs(samples: tuple[Sample, ...], sets: tuple[CellsOfSample, ...]) -> HandsAndRigs:
    """From the cells of each material, a cell for each participant and sample as handed out."""
    central = {one.material for one in samples if one.tied_centrally}
    of_rigs = _levels([one for one in sets if one.material in central], NO_CENTRAL)
    of_both = _levels([one for one in sets if one.material not in central], NO_OWN)
    repeats = _or_why(lambda: blind_repeats(*_pairs(samples, sets)), "Hidden duplicates")
    return HandsAndRigs(
        rigs=_kind(of_rigs),
        hands=_kind(of_both, of_rigs),
        repeats=None if isinstance(repeats, str) else repeats,
        why_no_repeats=repeats if isinstance(repeats, str) else "",
    )


def _or_why(compute: Callable[[], Found], what: str) -> Found | str:
    try:
        return compute()
    except StatisticsError as error:
        return f"{what}: {error}."


def _levels(sets: list[CellsOfSample], none: str) -> Levels | str:
    if not any(one.cells for one in sets):
        return none
    return _or_why(lambda: levels(_set_means(sets)), "Participants can't be compared")


def _set_means(sets: list[CellsOfSample]) -> SetMeans:
    """Sets of materials whose scatter is unknown (a pull each) take that of the others."""
    rows = [(one, cell) for one in sets for cell in one.cells]
    known = [one.log_sd for one in sets if one.log_sd is not None]
    usual = float(np.sqrt(np.mean(np.square(known)))) if known else 1.0
    return SetMeans(
        participant=np.array([cell.participant for _, cell in rows], dtype=np.int64),
        material=np.array([one.material for one, _ in rows], dtype=np.int64),
        log_mean=np.array([cell.log_mean for _, cell in rows]),
        variance=np.array([(one.log_sd or usual) ** 2 / cell.worth for one, cell in rows]),
        freedom=sum(one.freedom for one in sets),
    )


def _pairs(
    samples: tuple[Sample, ...], sets: tuple[CellsOfSample, ...]
) -> tuple[SetMeans, SetMeans]:
    """Sets of samples and of their hidden duplicates, by the participants who have both."""
    hidden = {one.id: one.duplicate_of for one in samples if one.duplicate_of is not None}
    first, second = [], []
    for one in sets:
        if one.log_sd is None:
            continue
        by_key = {(cell.participant, cell.sample): cell for cell in one.cells}
        for (person, sample), cell in by_key.items():
            original = by_key.get((person, hidden.get(sample, sample)))
            if sample in hidden and original is not None:
                first.append((one, original))
                second.append((one, cell))
    return _sets_of(first), _sets_of(second)


def _sets_of(rows: list[tuple[CellsOfSample, Cell]]) -> SetMeans:
    return _set_means([replace(one, cells=(cell,)) for one, cell in rows])


def _kind(*found: Levels | str) -> Kind:
    """Rigs from their levels; hands from levels of rig and hand together less those of rigs."""
    missing = [one for one in found if isinstance(one, str)]
    if missing:
        return Kind((), missing[0], None, missing[0], "")
    both = [one for one in found if isinstance(one, Levels)]
    signed = tuple(zip((1, -1), both, strict=False))
    each = _or_why(lambda: effects(*signed), "Too few to compare")
    spread = _or_why(lambda: between_participants(*signed), "Scatter between participants")
    return Kind(
        effects=() if isinstance(each, str) else each,
        why_none=each if isinstance(each, str) else "",
        spread=None if isinstance(each, str) or isinstance(spread, str) else spread,
        why_no_spread=each if isinstance(each, str) else spread if isinstance(spread, str) else "",
        caution="" if all(one.from_sets for one in both) else ONE_SET,
    )
