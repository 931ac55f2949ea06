"""Have pools computed again that older formulae computed or that lack a figure of today.

The sweeper does so by itself; this waits for it. Only so many pools wait at once, so that uploads
are not held up. A pool gets a new version only where it says something else.
"""

from __future__ import annotations

import time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from results.pools import outdated
from results.worker.embedded import drain

PAUSE_S = 1.0


class Command(BaseCommand):
    """Ends once none is left; with an error where some can't be computed."""

    help = __doc__ or ""

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--every", action="store_true", help="not only what is outdated")
        parser.add_argument(
            "--at-once", type=int, default=outdated.AT_ONCE, help="pools that may wait at once"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        marked = self._every(options["at_once"]) if options["every"] else 0
        while outdated.outdated() or outdated.waiting():
            marked += outdated.mark_outdated(options["at_once"])
            _work()
        if broken := outdated.failed():
            raise CommandError(f"{broken} pools could not be computed; the log says why.")
        self.stdout.write(f"{marked} pools were computed again; none is outdated.")

    def _every(self, at_once: int) -> int:
        last, marked = 0, 0
        while outdated.any_after(last):
            found = outdated.mark_after(last, at_once)
            last, marked = max(found, default=last), marked + len(found)
            _work()
        return marked


def _work() -> None:
    """Do what waits, or where there are workers, give them time to."""
    if settings.EMBEDDED:
        drain()
    else:
        time.sleep(PAUSE_S)
