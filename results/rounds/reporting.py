"""What a closed round came to: from its sets to the report, and one participant's part of it.

Samples and participants go by their numbers in the round, never by name.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.db.models import QuerySet

from results.models import LotPull, Round, RoundLot, RoundParticipant, RoundReport, RoundSet
from results.models.sessions import Session
from results.statistics.failure_modes import counted, exact_for_assembly
from results.statistics.rounds.observations import Observations, Sample, SpoolPulls
from results.statistics.rounds.round_report import report

DUPLICATES = 100
"""A hidden duplicate of sample 3 is sample 103, and a second one 203."""


@dataclass(frozen=True)
class ReadSet:
    """Loads of a set's pulls in newtons, and how they ended.

    ``reading_uncertainty`` is the relative standard uncertainty that the calibration of the scale
    leaves them; None where it was not calibrated.
    """

    load_N: Sequence[float]
    modes: Sequence[str]
    reading_uncertainty: float | None


Loads = Mapping[int, ReadSet]


def sets_of(of: Round) -> QuerySet[RoundSet]:
    """The sets that count in a round: of current sessions of testers who have not withdrawn."""
    return RoundSet.objects.filter(
        specimen__participant__round=of,
        specimen__participant__withdrawn_at=None,
        pull_set__session__standing=Session.Standing.CURRENT,
    ).select_related("specimen__participant", "specimen__sample", "pull_set__session__revision")


def figures_of(of: Round, loads: Loads) -> dict[str, Any]:
    """The report of a round as it is stored. ``loads`` has each set of `sets_of`."""
    entered = of.participants.exclude(number=None).order_by("number")
    rows = _rows(of, loads)
    return asdict(
        report(
            Observations(
                samples=_samples(of),
                participants=tuple(each.number or 0 for each in entered),
                spools=tuple(_spool(lot) for lot in of.lots.all() if lot.pulls.exists()),
                participant=[row[0] for row in rows],
                sample=[row[1] for row in rows],
                load_N=[row[2] for row in rows],
                at_least=[row[3] for row in rows],
                reading_uncertainty=_uncertainties(of, loads),
            )
        )
    )


def own_part(made: RoundReport, participant: RoundParticipant) -> dict[str, Any]:
    """One participant's part of a report that is made: their effects, scores and flags."""
    number, found = participant.number, made.report or {}
    samples = [
        {
            "sample": sample["sample"],
            "tied_centrally": sample["tied_centrally"],
            "assigned": sample["assigned"],
            "why_not_assigned": sample["why_not_assigned"],
            "results": [one for one in sample["results"] if one["participant"] == number],
            "scores": [one for one in sample["scores"] if one["participant"] == number],
            "flags": [one for one in sample["flags"] if number in one["participants"]],
        }
        for sample in found.get("samples", [])
    ]
    own = next((one for one in found.get("participants", []) if one["participant"] == number), None)
    return {"participant": number, "version": made.number, "own": own, "samples": samples}


def _samples(of: Round) -> tuple[Sample, ...]:
    return tuple(
        Sample(
            _number(sample.number, copy),
            sample.is_hidden,
            duplicate_of=sample.number if copy > 1 else None,
        )
        for sample in of.samples.all()
        for copy in range(1, sample.codes + 1)
    )


def _number(sample: int, copy: int) -> int:
    return sample + DUPLICATES * (copy - 1)


def _rows(of: Round, loads: Loads) -> list[tuple[int, int, float, bool]]:
    """Participant, sample, load and whether it is a lower bound, of every pull that counts."""
    rows: list[tuple[int, int, float, bool]] = []
    for one in sets_of(of):
        read, specimen = loads[one.pull_set_id], one.specimen
        for load, is_counted, exact in zip(
            read.load_N, counted(read.modes), exact_for_assembly(read.modes), strict=True
        ):
            if is_counted:
                sample = _number(specimen.sample.number, specimen.copy)
                rows.append((specimen.participant.number or 0, sample, float(load), not exact))
    return rows


def _uncertainties(of: Round, loads: Loads) -> dict[int, float]:
    """By participant the largest relative uncertainty of readings, where all sets have one."""
    found: dict[int, list[float | None]] = defaultdict(list)
    for one in sets_of(of):
        number = one.specimen.participant.number or 0
        found[number].append(loads[one.pull_set_id].reading_uncertainty)
    known = {number: [u for u in each if u is not None] for number, each in found.items()}
    return {number: max(each) for number, each in known.items() if len(each) == len(found[number])}


def _spool(lot: RoundLot) -> SpoolPulls:
    pieces: dict[int, list[float]] = {}
    at_end: list[float] = []
    for pull in lot.pulls.order_by("occasion", "piece", "number"):
        if pull.occasion == LotPull.Occasion.AFTER:
            at_end.append(pull.reading_N)
        else:
            pieces.setdefault(pull.piece, []).append(pull.reading_N)
    return SpoolPulls(lot.number, tuple(map(tuple, pieces.values())), tuple(at_end))
