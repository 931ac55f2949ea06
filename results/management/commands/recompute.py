"""Compute the figures of a snapshot again from the pulls, and say whether they are the same."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from results.recomputing import Recomputed, UnknownSnapshot, recompute

NOT_AGAIN = (
    "Not computed again: what a version says beside its figures (how pulls ended, worst pulls, "
    "what ties differ in, drawings) and how joins compare."
)


class Command(BaseCommand):
    """Ends with an error where a figure differs or nothing has the snapshot."""

    help = __doc__ or ""

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--snapshot",
            required=True,
            help="the id told beside a pooled figure, or that of an open data release",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            differing = [self._tell(each) for each in recompute(options["snapshot"])]
        except UnknownSnapshot as error:
            raise CommandError(str(error)) from error
        if any(differing):
            raise CommandError(f"{sum(differing)} of {len(differing)} figures differ.")
        self.stdout.write(f"{len(differing)} recomputed, all equal to the digit. {NOT_AGAIN}")

    def _tell(self, each: Recomputed) -> bool:
        version = each.version
        place = f"pool {version.pool_id}, version {version.number}"
        if not each.differences:
            figure = version.no_figure if version.efficiency is None else repr(version.efficiency)
            self.stdout.write(f"{place}: equal, {figure}")
        for one in each.differences:
            self.stdout.write(
                f"{place}: {one.figure} is stored as {one.stored!r} and recomputed as "
                f"{one.recomputed!r}"
            )
        return bool(each.differences)
