"""The clubs' rounds that a pool's figure rests on, as its page says them."""

from __future__ import annotations

from dataclasses import dataclass

from results.models import PoolVersion, Round
from results.pools.estimate import CLUB_ROUND
from results.pools.figures import figures_of, findings_of


@dataclass(frozen=True)
class ClubRound:
    """A round, and what of the pool is from it."""

    title: str
    pk: int
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
    rounds = Round.objects.in_bulk([each["round"] for each in found["rounds"]])
    crossed = (figures_of(version).get("crossed") or {}).get(CLUB_ROUND)
    return ClubRounds(
        [
            ClubRound(rounds[pk].title, pk, each["testers"], each["sets"])
            for each in found["rounds"]
            if (pk := each["round"]) in rounds
        ],
        found["number"],
        found["sets"],
        version.sets,
        crossed["tau2"] if crossed else None,
    )
