"""The figures of a session's sets, from its pulls: no queries, so a dry run gets the same ones."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from results.models import Pull, PullSet
from results.normalising.reference_line import (
    NoReference,
    Reference,
    Specimen,
    pulled_straight,
    reference_of,
)
from results.normalising.scales import Floats, Scale
from results.statistics.censored import Strength, strength
from results.statistics.efficiency import Efficiency, efficiency
from results.statistics.errors import StatisticsError
from results.statistics.failure_modes import (
    EXACT,
    counted,
    exact_for_assembly,
    exact_for_join,
    exact_for_line,
)
from results.statistics.join_strength import JoinStrength, join_strength
from results.statistics.pull_classes import places_of
from results.statistics.tolerance import CONFIDENCE, NINE_IN_TEN
from rigs.metrology.validity import LEAST_STRAIGHT_PULLS

Pulls: TypeAlias = Sequence[Pull]
T = TypeVar("T")

MOST_CV = 100.0
"""Scatter over mean above which pulls have no strength: the mean of such a lognormal hangs on pulls
that was never made; common practice, no source."""
VAGUEST = 3.0
"""Standard error of ln(efficiency) above which a set says nothing, a factor of twenty either way;
common practice, no source."""

CONTESTED = (
    "The two lines part too near one another for this session to say which is the weaker; the "
    "reference is the one that is weaker in the other sessions that pulled both, if there are any."
)
TOO_WIDE = "they scatter too widely for one"


class TooWideScatter(StatisticsError):
    """Pulls scatter so widely, or are so often only 'at least', that their mean says nothing."""


@dataclass(frozen=True)
class Shares:
    """Loads of single pulls over the mean straight line, and how each pull ended."""

    of: list[float]
    modes: list[str]

    @property
    def places(self) -> dict[str, list[int]]:
        """By failure mode the class of each pull."""
        return places_of(self.of, self.modes)

    @property
    def lowest(self) -> float | None:
        """The lowest exact load as a share; None if there is none."""
        exact = [of for of, mode in zip(self.of, self.modes, strict=True) if mode in EXACT]
        return min(exact, default=None)


@dataclass(frozen=True)
class SetFigures:
    """The figures of a set and its reference line.

    ``join`` is the strength of the whole assembly. ``join_itself`` is that of the join apart, where
    breaks elsewhere say only 'at least', and ``join_efficiency`` that over the straight line: both
    are None where the failures of the join are too few or too alike. The shares are of the set's
    pulls and of the straight pulls of its baseline; ``modes`` counts all pulls, voids too.
    """

    reference: Reference
    join: Strength
    baseline: Strength
    efficiency: Efficiency
    outlasted: int
    join_itself: JoinStrength | None
    join_efficiency: Efficiency | None
    shares: Shares
    straight_shares: Shares
    modes: Counter[str]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class NoFigures:
    """Why a set has no efficiency, in a sentence for its tester."""

    why: str


def compute_figures(
    scale: Scale,
    straight: Mapping[Specimen, Pulls],
    sets: Sequence[tuple[PullSet, Pulls]],
    fixed: Mapping[tuple[int, int], int],
    borrowed: Mapping[Specimen, str],
) -> list[SetFigures | NoFigures]:
    """Figures of each set of one session, in order.

    ``straight`` holds the baseline pulls of each specimen, ``fixed`` the reference line of each
    pair of line ids that has one, ``borrowed`` a note on each specimen of another session.
    """
    strengths = straight_strengths(scale, straight)
    return [
        _figures(scale, pull_set, pulls, straight, strengths, fixed, borrowed)
        for pull_set, pulls in sets
    ]


def straight_strengths(
    scale: Scale, straight: Mapping[Specimen, Pulls]
) -> dict[Specimen, Strength | NoFigures]:
    """Straight strength of each specimen, breaks at the grip counted as 'at least'."""
    return {specimen: _straight(scale, specimen, pulls) for specimen, pulls in straight.items()}


def contested_pairs(
    sets: Sequence[PullSet], strengths: Mapping[Specimen, Strength | NoFigures]
) -> dict[tuple[int, int], int]:
    """Reference line, by this session, of each pair of lines that chance could swap in it."""
    straight = _given_strengths(strengths)
    pairs: dict[tuple[int, int], int] = {}
    for pull_set in sets:
        main, leader = specimens(pull_set)
        if leader is None:
            continue
        try:
            reference = reference_of(main, leader, straight, {})
        except NoReference:
            continue
        if reference.contested:
            pairs.setdefault((main.line.pk, leader.line.pk), reference.specimen.line.pk)
    return pairs


def specimens_without_reference(
    sets: Sequence[PullSet], strengths: Mapping[Specimen, Strength | NoFigures]
) -> set[Specimen]:
    """The lines of those sets that no straight line of the session can be the reference of."""
    straight = _given_strengths(strengths)
    lines: set[Specimen] = set()
    for pull_set in sets:
        main, leader = specimens(pull_set)
        try:
            pulled_straight(main, leader, straight)
        except NoReference:
            lines |= {each for each in (main, leader) if each and each not in straight}
    return lines


def specimens(pull_set: PullSet) -> tuple[Specimen, Specimen | None]:
    """Main line of a set, and its leader if it has one."""
    main = Specimen(pull_set.main_line, pull_set.main_spool)
    if pull_set.leader_line is None:
        return main, None
    return main, Specimen(pull_set.leader_line, pull_set.leader_spool)


def _straight(scale: Scale, specimen: Specimen, pulls: Pulls) -> Strength | NoFigures:
    kept = _counted(pulls)
    exact = exact_for_line([pull.failure_mode for pull in kept])
    if exact.sum() < LEAST_STRAIGHT_PULLS:
        return NoFigures(
            f"the baseline of {specimen} has {int(exact.sum())} pulls that parted in the free "
            f"length; at least {LEAST_STRAIGHT_PULLS} are needed"
        )
    try:
        return _strength(scale.loads_N(kept), ~exact, scale)
    except StatisticsError as error:
        return NoFigures(f"the baseline of {specimen} gives no strength: {error}")


def _strength(loads_N: Floats, at_least: NDArray[np.bool_], scale: Scale) -> Strength:
    """As ``strength``; raises TooWideScatter where it says nothing."""
    found = strength(loads_N, at_least, scale.resolution_N)
    if not found.cv <= MOST_CV:
        raise TooWideScatter(TOO_WIDE)
    return found


def _figures(
    scale: Scale,
    pull_set: PullSet,
    pulls: Pulls,
    straight: Mapping[Specimen, Pulls],
    strengths: Mapping[Specimen, Strength | NoFigures],
    fixed: Mapping[tuple[int, int], int],
    borrowed: Mapping[Specimen, str],
) -> SetFigures | NoFigures:
    try:
        reference = reference_of(*specimens(pull_set), _given_strengths(strengths), fixed)
    except NoReference as missing:
        reasons = [found.why for found in strengths.values() if isinstance(found, NoFigures)]
        return NoFigures("; ".join([str(missing), *reasons]))
    baseline = strengths[reference.specimen]
    assert isinstance(baseline, Strength)
    kept = _counted(pulls)
    modes = [pull.failure_mode for pull in kept]
    loads_N, beyond_join = scale.loads_N(kept), ~exact_for_join(modes)
    try:
        join = _strength(loads_N, ~exact_for_assembly(modes), scale)
        found = efficiency(join, baseline, scale.u_offset_N(baseline.mean_N))
    except StatisticsError as error:
        return NoFigures(f"these pulls give no strength: {error}")
    if not _is_finite((join, found)) or found.own_variance + found.shared_variance > VAGUEST**2:
        return NoFigures(f"these pulls give no strength: {TOO_WIDE}")
    return SetFigures(
        reference=reference,
        join=join,
        baseline=baseline,
        efficiency=found,
        outlasted=int(beyond_join.sum()),
        join_itself=_given(lambda: join_strength(loads_N, beyond_join, NINE_IN_TEN, CONFIDENCE)),
        join_efficiency=_given(
            lambda: efficiency(_strength(loads_N, beyond_join, scale), baseline)
        ),
        shares=shares_of(scale, pulls, baseline.mean_N),
        straight_shares=shares_of(scale, straight[reference.specimen], baseline.mean_N),
        modes=Counter(pull.failure_mode for pull in pulls),
        notes=tuple(_notes(scale, reference, borrowed, len(pulls) - len(kept), len(pulls))),
    )


def shares_of(scale: Scale, pulls: Pulls, straight_N: float) -> Shares:
    """Loads of all but void pulls, as shares of the mean straight-line strength in newtons."""
    counted = [pull for pull in pulls if pull.failure_mode != Pull.FailureMode.VOID]
    shares = (scale.loads_N(counted) / straight_N).tolist()
    return Shares(shares, [pull.failure_mode for pull in counted])


def _given(compute: Callable[[], T]) -> T | None:
    try:
        found = compute()
    except StatisticsError:
        return None
    return found if _is_finite(found) else None


def _is_finite(found: object) -> bool:
    """Whether no figure in it is infinite or not a number, which no column could hold."""
    if isinstance(found, float):
        return math.isfinite(found)
    if is_dataclass(found):
        return all(_is_finite(getattr(found, field.name)) for field in fields(found))
    return not isinstance(found, tuple) or all(map(_is_finite, found))


def _notes(
    scale: Scale, reference: Reference, borrowed: Mapping[Specimen, str], voids: int, pulls: int
) -> Iterator[str]:
    if scale.note:
        yield scale.note
    if reference.specimen in borrowed:
        yield borrowed[reference.specimen]
    if reference.note:
        yield reference.note[0].upper() + reference.note[1:] + "."
    if reference.contested:
        yield CONTESTED
    if voids:
        yield f"{voids} of {pulls} pulls are void and not counted."


def _counted(pulls: Pulls) -> list[Pull]:
    counts = counted([pull.failure_mode for pull in pulls])
    return [pull for pull, counts_too in zip(pulls, counts, strict=True) if counts_too]


def _given_strengths(
    strengths: Mapping[Specimen, Strength | NoFigures],
) -> dict[Specimen, Strength]:
    return {specimen: found for specimen, found in strengths.items() if isinstance(found, Strength)}
