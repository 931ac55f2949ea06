"""Which line a join is measured against: the weaker of its two, as pulled on that rig.

Where the session's own pulls don't say clearly which is the weaker, that of other sessions is taken
(`pair_evidence.py`): to choose by the very pulls that joins are measured against makes every
efficiency too high, because the line that parted lower did so by chance.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from results.statistics.apart import NEARLY_EQUAL, clearly_apart
from results.statistics.censored import Strength
from rigs.models import Line


@dataclass(frozen=True)
class Specimen:
    """A line from one spool; a spool that is not named may be any."""

    line: Line
    spool: str

    def is_same_as(self, other: Specimen) -> bool:
        """Whether pulls of one may serve for the other."""
        unnamed = not self.spool or not other.spool
        return self.line.pk == other.line.pk and (unnamed or self.spool == other.spool)

    def __str__(self) -> str:
        return f"{self.line}, spool {self.spool}" if self.spool else str(self.line)

    @property
    def public_name(self) -> str:
        """Its name in a stored sentence: never one that no moderator has accepted."""
        line = self.line.name if self.line.accepted else f"line {self.line.pk}"
        return f"{line} from that spool" if self.spool else line


@dataclass(frozen=True)
class Reference:
    """The specimen a set is measured against; ``note`` says what was assumed, if anything was.

    ``contested`` is true where both lines were pulled and chance could swap them.
    """

    specimen: Specimen
    note: str = ""
    contested: bool = False


class NoReference(Exception):
    """No baseline of the session can serve as the reference of a set; says which is missing."""


def reference_of(
    main: Specimen,
    leader: Specimen | None,
    straight: Mapping[Specimen, Strength],
    fixed: Mapping[tuple[int, int], int],
) -> Reference:
    """The reference of a set of ``main`` to ``leader``, or to a terminal if that is None.

    ``straight`` holds the straight strength of each specimen pulled in the session; ``fixed`` the
    id of the reference line of each (main, leader) pair of line ids that has one. Raises
    NoReference.
    """
    mains, leaders = pulled_straight(main, leader, straight)
    if mains and leaders and mains != leaders:
        return _weaker(mains, leaders, straight, fixed)
    if mains and mains == leaders:
        return Reference(mains)
    if mains:
        return _alone(mains, unpulled=leader) if leader else Reference(mains)
    assert leaders
    return _alone(leaders, unpulled=main)


def pulled_straight(
    main: Specimen, leader: Specimen | None, pulled: Collection[Specimen]
) -> tuple[Specimen | None, Specimen | None]:
    """Which of those pulled stand for main and leader; raises NoReference where none can."""
    mains = _pulled(main, pulled)
    if leader is None:
        if mains is None:
            raise NoReference(_missing(main))
        return mains, None
    leaders = _pulled(leader, pulled)
    if mains and not leaders:
        _alone(mains, unpulled=leader)
    elif leaders and not mains:
        _alone(leaders, unpulled=main)
    elif not mains:
        raise NoReference(f"{_missing(main)} nor of {leader}")
    return mains, leaders


def _pulled(specimen: Specimen, pulled: Collection[Specimen]) -> Specimen | None:
    if specimen in pulled:
        return specimen
    return next((each for each in pulled if each.is_same_as(specimen)), None)


def _weaker(
    main: Specimen,
    leader: Specimen,
    straight: Mapping[Specimen, Strength],
    fixed: Mapping[tuple[int, int], int],
) -> Reference:
    first, second = straight[main], straight[leader]
    weaker = main if first.mean_N <= second.mean_N else leader
    if clearly_apart(first, second):
        return Reference(weaker)
    line_id = fixed.get((main.line.pk, leader.line.pk), weaker.line.pk)
    return Reference(main if line_id == main.line.pk else leader, contested=True)


def _alone(pulled: Specimen, *, unpulled: Specimen) -> Reference:
    """Only one line was pulled straight: it must be the weaker by the labels."""
    label, other = pulled.line.label_strength_N, unpulled.line.label_strength_N
    if label is None or other is None or other < (1 - NEARLY_EQUAL) * label:
        raise NoReference(_missing(unpulled))
    return Reference(
        pulled, f"{unpulled} was not pulled straight; by its label it is not the weaker line"
    )


def _missing(specimen: Specimen) -> str:
    return f"no straight-line pulls of {specimen}"
