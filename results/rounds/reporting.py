"""What a closed round came to: from its sets to the report, and one participant's part of it.

Samples and participants go by their numbers in the round, never by name. Who took part reads the
report whole, with the handles behind the numbers: sets of a closed round are public under them, so
that a number would hide no one from a reader who compares means. Everyone else reads what is of
all together (`public_part`), in which no figure of one participant stands.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from results.models import (
    LotPull,
    Round,
    RoundLot,
    RoundParticipant,
    RoundReport,
    RoundSet,
    SealedSession,
)
from results.models.sessions import Session
from results.rounds.moved_scores import SCORE
from results.rounds.selectors import came_late_to
from results.statistics.failure_modes import counted, exact_for_assembly
from results.statistics.rounds.observations import Observations, Sample, SpoolPulls
from results.statistics.rounds.round_report import report
from results.statistics.rounds.spools import SpoolReport, spool_report

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
    uncertainties = _uncertainties(of, loads)
    found = asdict(
        report(
            Observations(
                samples=_samples(of),
                participants=tuple(each.number or 0 for each in entered),
                spools=tuple(_spool(lot) for lot in of.lots.all() if lot.pulls.exists()),
                participant=[row[0] for row in rows],
                sample=[row[1] for row in rows],
                load_N=[row[2] for row in rows],
                at_least=[row[3] for row in rows],
                reading_uncertainty=uncertainties,
                sigma_relative=of.sigma_relative,
            )
        )
    )
    remarks, withdrawn = _remarks(of), _withdrawn(of)
    for one in found["participants"]:
        number = one["participant"]
        one["reading_uncertainty"] = uncertainties.get(number)
        one |= {name: number in who for name, who in remarks.items()}
        one["samples_withdrawn"] = withdrawn.get(number, [])
        one["withdrawn"] = bool(one["samples_withdrawn"])
    return found


def _withdrawn(of: Round) -> dict[int | None, list[int]]:
    """By participant the samples whose results came and don't count any more, duplicates too."""
    sets = RoundSet.objects.filter(specimen__participant__round=of).select_related(
        "specimen__participant", "specimen__sample", "pull_set__session"
    )
    counts = {one.specimen_id for one in sets_of(of)}
    gone = {one.specimen_id: one.specimen for one in sets if one.specimen_id not in counts}
    found: dict[int | None, list[int]] = defaultdict(list)
    for specimen in gone.values():
        sample = _number(specimen.sample.number, specimen.copy)
        found[specimen.participant.number].append(sample)
    return {number: sorted(samples) for number, samples in found.items()}


def _remarks(of: Round) -> dict[str, set[int | None]]:
    """By remark the numbers of the participants of which it is true.

    Looking at the packing list after the close makes no participant less blind.
    """
    entered = of.participants.exclude(number=None)
    sent_late = came_late_to(of).filter(state=SealedSession.State.STORED)
    saw = of.sights.filter(at__lte=of.closed_at or timezone.now()).values("contributor")
    corrected = sets_of(of).filter(pull_set__session__replaces__isnull=False)
    return {
        "late": set(sent_late.values_list("participant__number", flat=True)),
        "entered_late": set(entered.filter(late=True).values_list("number", flat=True)),
        "not_blind": set(entered.filter(contributor__in=saw).values_list("number", flat=True)),
        "corrected": set(corrected.values_list("specimen__participant__number", flat=True)),
    }


REMARKS = ("late", "entered_late", "not_blind", "corrected", "withdrawn")
OF_ALL = ("entered", "sent", "pulls", "lower_bounds", "sigma_relative", "spools")
OF_A_SAMPLE = (
    "sample", "duplicates", "tied_centrally", "pulls", "lower_bounds", "scatter_percent",
    "why_no_precision", "assigned", "why_not_assigned",
)  # fmt: skip
OF_PRECISION = (
    "participants", "results", "mean_N", "repeatability_sd_N", "between_sd_N",
    "reproducibility_sd_N", "unequal",
)  # fmt: skip
OF_A_KIND = ("spread", "why_no_spread", "caution")


def public_part(found: Mapping[str, Any]) -> dict[str, Any]:
    """What everyone reads of a report: figures of all participants together, of one by one none.

    Members are named here one by one, so that a new one is not public before somebody says so.
    """
    apart = found["hands_and_rigs"]
    return {
        **_only(OF_ALL, found),
        "samples": [
            _only(OF_A_SAMPLE, one)
            | {"precision": one["precision"] and _only(OF_PRECISION, one["precision"])}
            for one in found["samples"]
        ],
        "hands_and_rigs": {
            "rigs": _only(OF_A_KIND, apart["rigs"]),
            "hands": _only(OF_A_KIND, apart["hands"]),
            **_only(("repeats", "why_no_repeats"), apart),
        },
        **{
            remark: sum(bool(one.get(remark)) for one in found["participants"])
            for remark in REMARKS
        },
    }


def public_changes(changes: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What everyone reads of why there is a new version: without the tester, and no scores."""
    shown = (one for one in changes if one["what"] != SCORE)
    return [_only(("what", "sample", "spool", "was_N", "is_N"), one) for one in shown]


def _only(names: Sequence[str], of: Mapping[str, Any]) -> dict[str, Any]:
    return {name: of[name] for name in names if name in of}


def handles_of(of: Round) -> dict[int, str]:
    """By number the handle of each participant, for those who took part."""
    entered = of.participants.exclude(number=None).select_related("contributor")
    return {one.number or 0: one.contributor.handle for one in entered.order_by("number")}


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


def verdict_of(lot: RoundLot) -> SpoolReport:
    """Whether a lot is alike all through and stayed so, by the organiser's pulls up to now.

    Before the close by the declared standard deviation for assessment alone.
    """
    report_ = lot.round.reports.filter(state=RoundReport.State.MADE).first()
    of_results = (report_.report or {}).get("sigma_relative") if report_ is not None else None
    declared = lot.round.sigma_relative
    return spool_report(_spool(lot), of_results if declared is None else declared)


def _spool(lot: RoundLot) -> SpoolPulls:
    pieces: dict[int, list[float]] = {}
    at_end: list[float] = []
    for pull in lot.pulls.order_by("occasion", "piece", "number"):
        if pull.occasion == LotPull.Occasion.AFTER:
            at_end.append(pull.reading_N)
        else:
            pieces.setdefault(pull.piece, []).append(pull.reading_N)
    return SpoolPulls(lot.number, tuple(map(tuple, pieces.values())), tuple(at_end))
