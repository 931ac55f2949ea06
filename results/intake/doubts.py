"""Warnings: what is unusual in an upload but possible. Its sender is warned; it is stored."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np
from django.utils.translation import gettext

from results.intake.parts import JoinedPart, Pulled, StraightPart
from results.intake.sufficiency import by_specimen
from rigs.metrology.units import FORCE_UNITS
from rigs.models import Line
from rigs.refusals import Finding

MIXED_UNITS = {
    "pounds-force and newtons": FORCE_UNITS["lbf"],
    "kilograms-force and newtons": FORCE_UNITS["kgf"],
}
NEAR = 0.15
"""How near, on the log scale, a factor has to be to one of ``MIXED_UNITS``: joins on the same
lines differ by less than a factor of two; common practice, no source."""


def warnings_of(
    straight: Sequence[StraightPart], joined: Sequence[JoinedPart], unit: str
) -> list[Finding]:
    """Every warning of one session; ``unit`` is the symbol of its unit."""
    return [
        *_other_units([*straight, *joined], unit),
        *_below_label(straight),
        *_factor_between_sets(joined),
    ]


def _other_units(parts: Sequence[Pulled], unit: str) -> Iterator[Finding]:
    """Readings that show another unit than their session has, named once."""
    for part in parts:
        if set(part.readings.units) <= {unit}:
            continue
        for index, (pull, shown) in enumerate(zip(part.pulls, part.readings.units, strict=True)):
            if pull.unit is None and shown != unit:
                yield Finding(
                    f"{part.place}.pulls[{index}]",
                    "reading",
                    gettext("a reading in %(shown)s, taken as such") % {"shown": shown},
                    gettext("%(unit)s, the unit of the session; which is right?") % {"unit": unit},
                )
                return


def _below_label(straight: Sequence[StraightPart]) -> Iterator[Finding]:
    for specimen, parts in by_specimen(straight).items():
        label_N = specimen.line.label_strength_N
        parted = np.concatenate([part.readings.newtons[part.parted_in_line] for part in parts])
        if label_N is not None and parted.mean() < label_N:
            yield Finding(
                parts[0].place,
                "reading",
                gettext("%(specimen)s parts at %(parted)s N")
                % {"specimen": specimen, "parted": f"{parted.mean():.4g}"},
                gettext("at least its label strength, %(label_strength_written)s")
                % {"label_strength_written": specimen.line.label_strength_written or label_N},
            )


def _factor_between_sets(joined: Sequence[JoinedPart]) -> Iterator[Finding]:
    """Sets on the same lines whose means differ as two units do."""
    same_lines: dict[tuple[Line, Line | None], list[JoinedPart]] = defaultdict(list)
    for part in joined:
        if part.row is not None:
            same_lines[part.row.main_line, part.row.leader_line].append(part)
    for parts in same_lines.values():
        unsorted = np.log([part.readings.newtons[part.counted].mean() for part in parts])
        order = np.argsort(unsorted)
        logs = unsorted[order]
        for units, factor in MIXED_UNITS.items():
            sought = logs - np.log(factor)
            first, after = np.searchsorted(logs, [sought - NEAR, sought + NEAR])
            for high in np.flatnonzero(after > first):
                low = first[high]
                yield Finding(
                    parts[order[high]].place,
                    "reading",
                    gettext("%(logs)s times '%(parts)s'")
                    % {
                        "logs": f"{np.exp(logs[high] - logs[low]):.3g}",
                        "parts": _label(parts[order[low]]),
                    },
                    gettext("sets on the same lines to be nearer; were %(units)s mixed?")
                    % {"units": units},
                )


def _label(part: JoinedPart) -> str:
    return part.row.label if part.row is not None else part.place
