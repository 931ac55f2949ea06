"""What a round observed: its samples, who took part, and every counted pull."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.censored import checked
from results.statistics.errors import NotFinite, NotPositive, ShapeMismatch

Floats = NDArray[np.float64]
Ids = NDArray[np.int64]
Booleans = NDArray[np.bool_]


@dataclass(frozen=True)
class Sample:
    """One sample as everybody got it; ``duplicate_of`` is the sample that it hides again."""

    id: int
    tied_centrally: bool
    duplicate_of: int | None = None

    @property
    def material(self) -> int:
        """The sample that this one is, under whichever code."""
        return self.id if self.duplicate_of is None else self.duplicate_of


@dataclass(frozen=True)
class SpoolPulls:
    """The organiser's own pulls of straight line of one spool, in newtons.

    ``lengths`` are cut along the spool, each with its pulls, all of which parted in the line;
    ``at_end`` are pulls of the same spool after the round.
    """

    spool: int
    lengths: tuple[tuple[float, ...], ...]
    at_end: tuple[float, ...] = ()


@dataclass(frozen=True)
class Observations:
    """Samples, participants, and the columns (n,) of all counted pulls.

    ``participants`` are those who stayed entered, sent or not. ``at_least`` marks loads that are
    lower bounds, as when the grip parted first. ``reading_uncertainty`` is the relative standard
    uncertainty of a participant's calibrated forces, where known; ``sigma_relative`` the relative
    standard deviation for assessment that the organiser declared beforehand.
    """

    samples: tuple[Sample, ...]
    participants: tuple[int, ...]
    participant: ArrayLike
    sample: ArrayLike
    load_N: ArrayLike
    at_least: ArrayLike
    reading_uncertainty: Mapping[int, float] = field(default_factory=dict)
    sigma_relative: float | None = None
    spools: tuple[SpoolPulls, ...] = ()


@dataclass(frozen=True)
class Pulls:
    """The columns (n,) as arrays, checked; ``failed`` where the load is the strength itself."""

    participant: Ids
    sample: Ids
    load_N: Floats
    failed: Booleans

    def where(self, kept: Booleans) -> "Pulls":
        return Pulls(
            self.participant[kept], self.sample[kept], self.load_N[kept], self.failed[kept]
        )


def pulls_of(observed: Observations) -> Pulls:
    """The pulls of a round.

    Raises `ShapeMismatch` where columns differ in length or a pull names a participant or a sample
    that the round doesn't have, `NotFinite` and `NotPositive` for loads, uncertainties and sigma.
    """
    load, failed = checked(observed.load_N, ~np.asarray(observed.at_least, dtype=bool))
    participant = np.asarray(observed.participant, dtype=np.int64)
    sample = np.asarray(observed.sample, dtype=np.int64)
    if not participant.shape == sample.shape == load.shape:
        raise ShapeMismatch(
            f"{load.size} loads come with {participant.size} participants and {sample.size} samples"
        )
    known = {one.id for one in observed.samples}
    _need_known("sample", sample, known)
    _need_known("participant", participant, set(observed.participants))
    for one in observed.samples:
        if one.material not in known:
            raise ShapeMismatch(f"sample {one.id} repeats {one.material}, which isn't in the round")
    _need_positive(observed)
    return Pulls(participant, sample, load, failed)


def _need_known(what: str, found: Ids, known: set[int]) -> None:
    strange = [number for number in np.unique(found).tolist() if number not in known]
    if strange:
        raise ShapeMismatch(f"pulls name {what} {strange[0]}, which isn't in the round")


def _need_positive(observed: Observations) -> None:
    figures = list(observed.reading_uncertainty.values())
    if observed.sigma_relative is not None:
        figures.append(observed.sigma_relative)
    if not np.isfinite(figures).all():
        raise NotFinite("an uncertainty or the standard deviation for assessment is not a number")
    if any(figure <= 0 for figure in figures):
        raise NotPositive(
            "an uncertainty or the standard deviation for assessment isn't above zero"
        )
