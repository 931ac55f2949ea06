"""All that a round says, in plain values: a figure, or None and the reason in words beside it."""

from dataclasses import dataclass, replace

import numpy as np

from results.statistics.rounds.cells import Cell, CellsOfSample, cells_of
from results.statistics.rounds.consistency import SamplePrecision, sample_precision
from results.statistics.rounds.effects import Effect
from results.statistics.rounds.flags import Flag, flags
from results.statistics.rounds.hands_and_rigs import HandsAndRigs, hands_and_rigs
from results.statistics.rounds.observations import Observations, Pulls, Sample, pulls_of
from results.statistics.rounds.scores import Score
from results.statistics.rounds.scoring import Assigned, assigned_value, scores
from results.statistics.rounds.spools import SpoolReport, spool_report

NO_RIG = (
    "No pull of a centrally tied sample parted in the join or the line, so the rig isn't known."
)
NO_HAND = (
    "The hand is the difference between own-tied and centrally tied samples on one rig, and pulls "
    "of one or the other are missing."
)


@dataclass(frozen=True)
class SampleReport:
    """One sample, its hidden duplicates with it; participants by their numbers.

    ``results`` has a cell for everybody with a level; ``only_lower_bounds`` are those whose every
    pull parted elsewhere, ``missing`` those who sent nothing of it. ``scatter_percent`` is of
    single pulls within a participant.
    """

    sample: int
    duplicates: tuple[int, ...]
    tied_centrally: bool
    pulls: int
    lower_bounds: int
    results: tuple[Cell, ...]
    only_lower_bounds: tuple[int, ...]
    missing: tuple[int, ...]
    scatter_percent: float | None
    precision: SamplePrecision | None
    why_no_precision: str
    assigned: Assigned | None
    why_not_assigned: str
    scores: tuple[Score, ...]
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class ParticipantReport:
    """One participant: what came, and how far rig and hand lie from the round's."""

    participant: int
    pulls: int
    lower_bounds: int
    samples_missing: tuple[int, ...]
    rig: Effect | None
    why_no_rig: str
    hand: Effect | None
    why_no_hand: str


@dataclass(frozen=True)
class RoundReport:
    """A closed round; tuples are in the order of `Observations`, cells in that of participants.

    ``sigma_relative`` is the standard deviation for assessment used for the spools: the declared
    one, or the middle one of the samples' robust ones over their values.
    """

    entered: int
    sent: int
    pulls: int
    lower_bounds: int
    samples: tuple[SampleReport, ...]
    participants: tuple[ParticipantReport, ...]
    hands_and_rigs: HandsAndRigs
    sigma_relative: float | None
    spools: tuple[SpoolReport, ...]

    def of(self, participant: int) -> ParticipantReport:
        return next(one for one in self.participants if one.participant == participant)


def report(observed: Observations) -> RoundReport:
    """Everything that the observations of a closed round allow to be said.

    Raises `ShapeMismatch`, `NotFinite` and `NotPositive` for what can't be a round, `NotEstimable`
    and `NoConvergence` where loads are beyond computing.
    """
    pulls = pulls_of(observed)
    materials = {one.id: one.material for one in observed.samples}
    merged = np.array([materials[sample] for sample in pulls.sample.tolist()], dtype=np.int64)
    samples = tuple(
        _sample(observed, sample, replace(pulls, sample=merged).where(merged == sample.id))
        for sample in observed.samples
        if sample.duplicate_of is None
    )
    sets = tuple(
        cells_of(pulls.where(merged == one.sample), one.sample) for one in samples if one.pulls
    )
    apart = hands_and_rigs(observed.samples, sets)
    sigma = _sigma(observed, samples)
    return RoundReport(
        entered=len(observed.participants),
        sent=int(np.unique(pulls.participant).size),
        pulls=int(pulls.load_N.size),
        lower_bounds=int((~pulls.failed).sum()),
        samples=samples,
        participants=tuple(
            _participant(observed, person, pulls.where(pulls.participant == person), apart)
            for person in observed.participants
        ),
        hands_and_rigs=apart,
        sigma_relative=sigma,
        spools=tuple(spool_report(one, sigma) for one in observed.spools),
    )


def _sample(observed: Observations, sample: Sample, pulls: Pulls) -> SampleReport:
    found = (
        cells_of(pulls, sample.id)
        if pulls.load_N.size
        else CellsOfSample(sample.id, (), (), None, 0)
    )
    precision = sample_precision(found.cells)
    assigned = assigned_value(found, observed.sigma_relative)
    came = set(pulls.participant.tolist())
    return SampleReport(
        sample=sample.id,
        duplicates=tuple(one.id for one in observed.samples if one.duplicate_of == sample.id),
        tied_centrally=sample.tied_centrally,
        pulls=int(pulls.load_N.size),
        lower_bounds=int((~pulls.failed).sum()),
        results=found.cells,
        only_lower_bounds=found.without_level,
        missing=tuple(person for person in observed.participants if person not in came),
        scatter_percent=None if found.log_sd is None else 100.0 * found.log_sd,
        precision=None if isinstance(precision, str) else precision,
        why_no_precision=precision if isinstance(precision, str) else "",
        assigned=None if isinstance(assigned, str) else assigned,
        why_not_assigned=assigned if isinstance(assigned, str) else "",
        scores=()
        if isinstance(assigned, str)
        else scores(found, assigned, observed.reading_uncertainty),
        flags=flags(found.cells),
    )


def _participant(
    observed: Observations, person: int, pulls: Pulls, apart: HandsAndRigs
) -> ParticipantReport:
    came = set(pulls.sample.tolist())
    rig, hand = apart.rigs.of(person), apart.hands.of(person)
    return ParticipantReport(
        participant=person,
        pulls=int(pulls.load_N.size),
        lower_bounds=int((~pulls.failed).sum()),
        samples_missing=tuple(one.id for one in observed.samples if one.id not in came),
        rig=rig,
        why_no_rig="" if rig else apart.rigs.why_none or NO_RIG,
        hand=hand,
        why_no_hand="" if hand else apart.hands.why_none or NO_HAND,
    )


def _sigma(observed: Observations, samples: tuple[SampleReport, ...]) -> float | None:
    if observed.sigma_relative is not None:
        return observed.sigma_relative
    found = [one.assigned.robust_sd_N / one.assigned.value_N for one in samples if one.assigned]
    return float(np.median(found)) if found else None
