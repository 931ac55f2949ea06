"""Which line a join is measured against: the weaker of its two, as pulled on that rig."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rigs.models import Line

NEARLY_EQUAL = 0.05
"""Lines whose strengths differ by less have a reference fixed for the pair; common practice,
no source."""


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

    ``contested`` is true where both lines were pulled and part so near one another that chance
    could swap them.
    """

    specimen: Specimen
    note: str = ""
    contested: bool = False


class NoReference(Exception):
    """No baseline of the session can serve as the reference of a set; says which is missing."""


def reference_of(
    main: Specimen,
    leader: Specimen | None,
    straight_N: Mapping[Specimen, float],
    fixed: Mapping[tuple[int, int], int],
) -> Reference:
    """The reference of a set of ``main`` to ``leader``, or to a terminal if that is None.

    ``straight_N`` holds the mean straight strength of each specimen pulled in the session, in
    newtons; ``fixed`` the id of the reference line of each (main, leader) pair of line ids that
    has one. Raises NoReference.
    """
    mains = _pulled(main, straight_N)
    if leader is None:
        if mains is None:
            raise NoReference(_missing(main))
        return Reference(mains)
    leaders = _pulled(leader, straight_N)
    if mains and leaders:
        return _weaker(mains, leaders, straight_N, fixed)
    if mains:
        return _alone(mains, unpulled=leader)
    if leaders:
        return _alone(leaders, unpulled=main)
    raise NoReference(f"{_missing(main)} nor of {leader}")


def _pulled(specimen: Specimen, straight_N: Mapping[Specimen, float]) -> Specimen | None:
    if specimen in straight_N:
        return specimen
    return next((pulled for pulled in straight_N if pulled.is_same_as(specimen)), None)


def _weaker(
    main: Specimen,
    leader: Specimen,
    straight_N: Mapping[Specimen, float],
    fixed: Mapping[tuple[int, int], int],
) -> Reference:
    first, second = straight_N[main], straight_N[leader]
    weaker = main if first <= second else leader
    if abs(first - second) >= NEARLY_EQUAL * max(first, second):
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
