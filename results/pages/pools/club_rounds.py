"""The clubs' rounds that a pool's figure rests on, as its page says them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from results.models import NormalisedSet, PoolVersion, Round
from results.pools.estimate import CLUB_ROUND
from results.pools.figures import figures_of, findings_of

OF_A_SET = "club_round"


@dataclass(frozen=True)
class ClubRound:
    """A round, and what of the pool is from it."""

    of: Round
    testers: int
    sets: int


@dataclass(frozen=True)
class ClubRounds:
    """The rounds listed, of ``number`` in all, and the variance between them if it was fitted.

    ``sets`` of the pool's ``of`` sets are from them.
    """

    listed: list[ClubRound]
    number: int
    sets: int
    of: int
    between: float | None

    @property
    def unlisted(self) -> int:
        """How many more there are."""
        return self.number - len(self.listed)

    @property
    def is_all(self) -> bool:
        """Whether no set is from elsewhere."""
        return self.sets == self.of


def club_rounds_of(version: PoolVersion) -> ClubRounds | None:
    """None where no set is from a round, and for a version from before rounds were listed."""
    found = findings_of(version).get("club_rounds")
    if not found or not found["number"]:
        return None
    rounds = _by_number(each["round"] for each in found["rounds"])
    crossed = (figures_of(version).get("crossed") or {}).get(CLUB_ROUND)
    return ClubRounds(
        [
            ClubRound(rounds[each["round"]], each["testers"], each["sets"])
            for each in found["rounds"]
            if each["round"] in rounds
        ],
        found["number"],
        found["sets"],
        version.sets,
        crossed["tau2"] if crossed else None,
    )


def with_rounds(sets: Iterable[NormalisedSet]) -> list[NormalisedSet]:
    """The sets of a page, each with the round that it was pulled in as ``club_round``, or None."""
    found = list(sets)
    numbers = {number for one in found if (number := getattr(one, "round_number", None))}
    rounds = _by_number(numbers)
    for one in found:
        setattr(one, OF_A_SET, rounds.get(getattr(one, "round_number", None)))
    return found


def _by_number(numbers: Iterable[int]) -> dict[int | None, Round]:
    """The rows themselves, since who reads their titles is not known here."""
    wanted = list(numbers)
    return {**Round.objects.select_related("club").in_bulk(wanted)} if wanted else {}
