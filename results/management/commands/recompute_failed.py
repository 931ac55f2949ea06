"""Compute again the pools whose computation failed: ``manage.py recompute_failed``."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from results.pools.recompute import recompute_failed


class Command(BaseCommand):
    """Gives them all their attempts again; the worker, or the web process, computes them."""

    help = __doc__

    def handle(self, *_arguments: Any, **_options: Any) -> None:
        """Say how many were sent."""
        count = recompute_failed()
        self.stdout.write(f"Sent to be computed again: {count}.")
