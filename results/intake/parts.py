"""Parts of a checked upload: rows not yet stored, and the columns of their pulls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from results.intake.document import PullDocument
from results.intake.readings import Readings
from results.models import Baseline, Pull, PullSet
from results.normalising.reference_line import Specimen
from results.statistics.failure_modes import MEANING
from rigs.models import Line

COUNTED = frozenset(str(mode) for mode, meaning in MEANING.items() if meaning.counted)
EXACT_FOR_LINE = frozenset(str(mode) for mode, meaning in MEANING.items() if meaning.exact_for_line)


@dataclass(frozen=True)
class Pulled:
    """Pulls of one part, with the place of the part in the upload."""

    place: str
    pulls: Sequence[PullDocument]
    readings: Readings

    @cached_property
    def counted(self) -> NDArray[np.bool_]:
        """(n,) True where the pull was read at all."""
        return np.array([pull.failure_mode in COUNTED for pull in self.pulls], dtype=bool)

    @cached_property
    def parted_in_line(self) -> NDArray[np.bool_]:
        """(n,) True where the pull gives the strength of straight line."""
        return np.array([pull.failure_mode in EXACT_FOR_LINE for pull in self.pulls], dtype=bool)

    def rows(self, **parent: Baseline | PullSet) -> list[Pull]:
        """The pulls as rows of ``parent`` with their traces, not stored."""
        rows = [
            Pull(
                number=number,
                reading_written=written,
                unit=unit,
                reading_N=force,
                failure_mode=pull.failure_mode,
                place=pull.place.strip(),
                slipped_first=pull.slipped_first,
                time_to_break_s=pull.time_to_break_s,
                note=pull.note,
                **parent,
            )
            for number, (pull, written, unit, force) in enumerate(
                zip(
                    self.pulls,
                    self.readings.written,
                    self.readings.units,
                    self.readings.forces(),
                    strict=True,
                ),
                start=1,
            )
        ]
        for index, traced in self.readings.traces.items():
            traced.row(rows[index])
        return rows


@dataclass(frozen=True)
class StraightPart(Pulled):
    """A baseline; ``line`` is None where its name is not in the catalogue."""

    line: Line | None
    spool: str
    position: str

    @property
    def specimen(self) -> Specimen | None:
        return None if self.line is None else Specimen(self.line, self.spool)


@dataclass(frozen=True)
class JoinedPart(Pulled):
    """A pull set; None where its row could not be made."""

    row: PullSet | None
