"""How good is a force reading: the classes of ISO 7500-1, and what keeps a rig from a better one.

Limits: ISO 7500-1:2018 table 2. Procedure (three rising readings at each of five forces) from
memory of the same standard. Errors are those of the reading as shown: a rig that a calibration
line corrects well can still meet no class.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigs.metrology.errors import NotFinite, NotPositive, TooFewValues, UnequalLengths

LEAST_FORCES, LEAST_READINGS = 5, 3


@dataclass(frozen=True)
class ClassLimits:
    """Largest errors of a class, in percent."""

    force_class: float
    indication: float
    repeatability: float
    reversibility: float
    zero: float
    resolution: float


CLASSES = (
    ClassLimits(0.5, 0.5, 0.5, 0.75, 0.05, 0.25),
    ClassLimits(1, 1.0, 1.0, 1.5, 0.1, 0.5),
    ClassLimits(2, 2.0, 2.0, 3.0, 0.2, 1.0),
    ClassLimits(3, 3.0, 3.0, 4.5, 0.3, 1.5),
)


@dataclass(frozen=True)
class ErrorsAtForce:
    """Relative errors at one force, in percent of it (the zero error of the highest force).

    `reversibility` and `zero` are None where no falling or zero readings were taken.
    `force_class` is the best class whose limits all are kept, None where no class's are.
    """

    force_N: float
    rising_readings: int
    indication: float
    repeatability: float
    reversibility: float | None
    zero: float | None
    resolution: float

    @property
    def force_class(self) -> float | None:
        kept = (limits.force_class for limits in CLASSES if not any(self.beyond(limits)))
        return next(kept, None)

    def beyond(self, limits: ClassLimits) -> Iterator[str]:
        """Each error that is beyond the limits of a class, in words."""
        for name in ("indication", "repeatability", "reversibility", "zero", "resolution"):
            error, limit = getattr(self, name), getattr(limits, name)
            if error is not None and abs(error) > limit:
                yield (
                    f"{name} at {self.force_N:.4g} N is {error:.3g} percent, "
                    f"class {limits.force_class:g} allows {limit:g}"
                )


@dataclass(frozen=True)
class ReadingClass:
    """The class a calibration meets (None where none), force by force, and why not a better one."""

    force_class: float | None
    forces: tuple[ErrorsAtForce, ...]
    why_not_better: tuple[str, ...]


def reading_class(
    force_N: ArrayLike,
    reading_N: ArrayLike,
    resolution_N: float,
    falling: ArrayLike | None = None,
    zero_reading_N: float | None = None,
) -> ReadingClass:
    """The ISO 7500-1 class of n readings under known forces, all in newtons.

    `falling` marks the readings taken while unloading; `zero_reading_N` is what the scale shows
    after unloading. The class is the worst over the forces, and none where fewer than five
    forces were hung or one has fewer than three rising readings.

    Raises NotFinite, NotPositive (a force or the resolution), UnequalLengths, and TooFewValues
    where there is no rising reading.
    """
    force, reading = np.asarray(force_N, float).ravel(), np.asarray(reading_N, float).ravel()
    down = np.zeros(force.size, bool) if falling is None else np.asarray(falling, bool).ravel()
    _check(force, reading, down, resolution_N)
    zero = None if zero_reading_N is None else 100 * zero_reading_N / float(force.max())
    errors = tuple(
        _errors_at(
            at, reading[(force == at) & ~down], reading[(force == at) & down], zero, resolution_N
        )
        for at in np.unique(force[~down]).tolist()
    )
    too_little = tuple(_missing_readings(errors))
    classes = [at.force_class for at in errors]
    met = [c for c in classes if c is not None]
    force_class = None if too_little or len(met) < len(classes) else max(met)
    return ReadingClass(force_class, errors, too_little + tuple(_in_the_way(errors)))


def _errors_at(
    force: float,
    rising: NDArray[np.float64],
    falling: NDArray[np.float64],
    zero: float | None,
    resolution: float,
) -> ErrorsAtForce:
    mean = float(rising.mean())
    return ErrorsAtForce(
        force_N=force,
        rising_readings=rising.size,
        indication=100 * (mean - force) / force,
        repeatability=100 * float(np.ptp(rising)) / force,
        reversibility=100 * (float(falling.mean()) - mean) / force if falling.size else None,
        zero=zero,
        resolution=100 * resolution / force,
    )


def _missing_readings(errors: tuple[ErrorsAtForce, ...]) -> Iterator[str]:
    if len(errors) < LEAST_FORCES:
        yield f"{len(errors)} different forces, a class takes at least {LEAST_FORCES}"
    for at in errors:
        if at.rising_readings < LEAST_READINGS:
            yield (
                f"{at.rising_readings} rising readings at {at.force_N:.4g} N, "
                f"a class takes at least {LEAST_READINGS}"
            )


def _in_the_way(errors: tuple[ErrorsAtForce, ...]) -> Iterator[str]:
    """What exceeds the limits of the class above the one that all forces keep."""
    kept = [not any(reason for at in errors for reason in at.beyond(c)) for c in CLASSES]
    better = kept.index(True) - 1 if any(kept) else len(CLASSES) - 1
    if better >= 0:
        for at in errors:
            yield from at.beyond(CLASSES[better])


def _check(
    force: NDArray[np.float64],
    reading: NDArray[np.float64],
    falling: NDArray[np.bool_],
    resolution_N: float,
) -> None:
    if not force.size == reading.size == falling.size:
        raise UnequalLengths(
            f"{force.size} forces, {reading.size} readings, {falling.size} directions"
        )
    if not (np.isfinite(force).all() and np.isfinite(reading).all() and np.isfinite(resolution_N)):
        raise NotFinite("a force, reading or the resolution is not a finite number")
    if falling.all():
        raise TooFewValues("no rising readings, expected at least one")
    if not (force > 0).all() or resolution_N <= 0:
        raise NotPositive("every force and the resolution must be above zero")
