"""End every password, token, second factor and signed-in browser: ``manage.py end_access``.

For when a backup has leaked. Everyone sets a new password by mail afterwards.
"""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from results.accounts.end_access import end_access


class Command(BaseCommand):
    """Does so for all accounts at once, and says how many of each there were."""

    help = __doc__

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--of-everyone", action="store_true", help="has to be given")

    def handle(self, *_arguments: Any, **options: Any) -> None:
        """Refuse where it might be a slip."""
        if not options["of_everyone"]:
            raise CommandError("This signs out everyone: say so by --of-everyone.")
        for what, count in end_access().items():
            self.stdout.write(f"{what}: {count}")
