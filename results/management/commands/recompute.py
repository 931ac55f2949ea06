"""Compute figures and findings again from the pulls, and say whether they are the same.

Ends with 0 where all are equal to 1e-12, 3 where other formulae or libraries are why some are not,
1 where neither is, and 2 where nothing has the snapshot.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from results.pools.differences import NOT_KNOWN
from results.pools.reproduce import (
    Cause,
    Recomputed,
    UnknownSnapshot,
    recompute,
    recompute_all,
)
from results.pools.snapshots import FORMULAE, libraries

NOT_AGAIN = "Not computed again: drawings, and how joins compare."
UNEXPLAINED, UNKNOWN, EXPLAINED = 1, 2, 3
"""Exit codes."""


class Command(BaseCommand):
    """Tells of each version, then of all together."""

    help = __doc__ or ""

    def add_arguments(self, parser: CommandParser) -> None:
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument(
            "--snapshot",
            help="the id shown beside a pooled figure, or that of an open data release",
        )
        what.add_argument("--all", action="store_true", help="every version of every pool")

    def handle(self, *_args: Any, **options: Any) -> None:
        snapshot = options["snapshot"]
        try:
            self._summarise(recompute_all() if options["all"] else recompute(snapshot))
        except UnknownSnapshot as error:
            raise CommandError(str(error), returncode=UNKNOWN) from error

    def _summarise(self, versions: Iterable[Recomputed]) -> None:
        causes: Counter[Cause] = Counter()
        number = differing = not_known = 0
        rounding = 0.0
        for each in versions:
            self._print(each)
            number += 1
            differing += bool(each.differences)
            not_known += bool(each.not_known)
            causes.update({one.cause for one in each.differences})
            rounding = max(rounding, each.rounding)
        if not_known:
            self.stdout.write(
                f"{not_known} of {number} were computed before there were all figures."
            )
        if not differing:
            digits = f"; the largest relative difference is {rounding:.0e}" if rounding else ""
            equal = "all equal to 1e-12" + digits if rounding else "all equal to the digit"
            self.stdout.write(f"{number} recomputed, {equal}. {NOT_AGAIN}")
            return
        why = "; ".join(f"{count} by {cause}" for cause, count in causes.items())
        raise CommandError(
            f"{differing} of {number} versions differ: {why}. Formulae here are {FORMULAE}, "
            f"libraries {libraries()}.",
            returncode=UNEXPLAINED if causes[Cause.DATA] else EXPLAINED,
        )

    def _print(self, each: Recomputed) -> None:
        version = each.version
        place = f"pool {version.pool_id}, version {version.number}"
        if not each.differences:
            figure = version.no_figure if version.efficiency is None else repr(version.efficiency)
            self.stdout.write(f"{place}: equal, {figure}")
        for name in each.not_known:
            self.stdout.write(f"{place}: {name} was not known then")
        for one in each.differences:
            again = "no longer computed"
            if one.recomputed is not NOT_KNOWN:
                again = f"recomputed as {one.recomputed!r}"
            self.stdout.write(
                f"{place}: {one.figure} is stored as {one.stored!r} and {again}, by {one.cause}"
            )
