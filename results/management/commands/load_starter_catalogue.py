"""Load the starter catalogue: joins by their trade names, how each is tied, and kinds of line."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from results.catalogue.starter import lay_starter


class Command(BaseCommand):
    """A second time it changes nothing."""

    help = __doc__ or ""

    def handle(self, *_args: Any, **_options: Any) -> None:
        laid = lay_starter()
        self.stdout.write(f"New in the catalogue: {laid.joins} joins and {laid.lines} lines.")
