"""Make a release of the open data here and now, without waiting for a worker."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from results.open_data import releases


class Command(BaseCommand):
    """Ends with an error where the release could not be made; the last one then stays."""

    help = __doc__ or ""

    def handle(self, *_args: Any, **_options: Any) -> None:
        release = releases.request_release()
        releases.make(release.pk)
        release.refresh_from_db()
        if release.number is None:
            raise CommandError(f"Not made: {release.problem or 'a worker is at it already'}")
        counts = ", ".join(f"{rows} {table}" for table, rows in release.rows.items())
        self.stdout.write(
            f"/open-data/{release.number}/archive.zip: {release.bytes} bytes, sha256 "
            f"{release.sha256}\n{counts}\nsnapshot {release.snapshot}"
        )
