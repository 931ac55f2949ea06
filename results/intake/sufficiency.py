"""Whether there is enough of everything: pulls in a set, and straight line to measure it by."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from results.intake.parts import Joined, Straight
from results.referencing import NoReference, Specimen, reference_of
from results.working_out import LEAST_BASELINE_PULLS, specimens
from rigs.refusals import Finding

LEAST_PULLS = 2
"""Pulls of a set that were read; one has no scatter."""


def set_findings(joined: Sequence[Joined]) -> Iterator[Finding]:
    """Sets with too few pulls to have a scatter."""
    for part in joined:
        read = int(part.counted.sum())
        if read < LEAST_PULLS:
            void = len(part.pulls) - read
            found = f"{read} {'pull' if read == 1 else 'pulls'}" + (
                f" and {void} void" if void else ""
            )
            yield Finding(part.place, "pulls", found, f"at least {LEAST_PULLS} that were read")


def baseline_findings(straight: Sequence[Straight]) -> Iterator[Finding]:
    """Straight line with too few pulls to be a strength; those before and after count together."""
    for specimen, parts in by_specimen(straight).items():
        parted = sum(int(part.parted_in_line.sum()) for part in parts)
        if parted < LEAST_BASELINE_PULLS:
            yield Finding(
                parts[0].place,
                "pulls",
                f"{parted} of {specimen} that parted in the free length",
                f"at least {LEAST_BASELINE_PULLS} pulls parted in the free length",
            )


def reference_findings(
    straight: Sequence[Straight], joined: Sequence[Joined], rig: str
) -> Iterator[Finding]:
    """Sets whose reference line was not pulled straight in this session."""
    straight_N = {
        specimen: float(np.mean(np.concatenate([part.readings.newtons for part in parts])))
        for specimen, parts in by_specimen(straight).items()
    }
    for part in joined:
        if part.row is None:
            continue
        try:
            reference_of(*specimens(part.row), straight_N, {})
        except NoReference as missing:
            expected = f"a baseline of it in this session, on {rig}"
            yield Finding(part.place, "baselines", str(missing), expected)


def by_specimen(straight: Sequence[Straight]) -> dict[Specimen, list[Straight]]:
    """Baselines of one line from one spool together."""
    found: dict[Specimen, list[Straight]] = defaultdict(list)
    for part in straight:
        if part.specimen is not None:
            found[part.specimen].append(part)
    return found
