"""What a pool's page says of groups that share something, of the middle tester, and of time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from results.models import PoolVersion
from results.pools.figures import findings_of
from rigs.models import Contributor

SHARED: Mapping[str, str | Promise] = {
    "line_product": _("the same two lines"),
    "club_round": _("a club's round"),
    "club": _("a club"),
    "club_day": _("a club's day"),
    "rig_name": _("a rig of the same name"),
    "spool": _("a spool of the same name"),
}
NAMED = 10


@dataclass(frozen=True)
class WithoutGroup:
    """The pooled efficiency without sets that share something; ten of their testers are named.

    Testers may have other sets, which stay.
    """

    shared: list[str | Promise]
    handles: list[str]
    testers: int
    sets: int
    efficiency: float | None
    change: float

    @property
    def unnamed(self) -> int:
        """How many more they are."""
        return self.testers - len(self.handles)


def apart_of(version: PoolVersion) -> list[str]:
    """Handles of those who stand apart where testers' effects have heavy tails, by name."""
    found = findings_of(version).get("heavy_tails") or {}
    people = Contributor.objects.in_bulk(found.get("apart", []))
    return sorted(person.handle for person in people.values())


def groups_of(version: PoolVersion) -> list[WithoutGroup]:
    """Those that move the figure most first; none for a version from before they were tried."""
    found = findings_of(version).get("groups_left_out") or []
    ids = {tester for each in found for tester in each["testers"][:NAMED]}
    people = Contributor.objects.in_bulk(ids)
    return [
        WithoutGroup(
            [SHARED[kind] for kind in each["share"]],
            [people[tester].handle for tester in each["testers"][:NAMED]],
            len(each["testers"]),
            each["sets"],
            each["efficiency"],
            each["change"],
        )
        for each in found
    ]
