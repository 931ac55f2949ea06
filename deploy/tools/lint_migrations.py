"""Lint migrations for locks and breaks under load: `python -m deploy.tools.lint_migrations`.

Each migration's SQL is read as PostgreSQL would get it. Code that still runs must bear it, so it
may not drop, rename or narrow anything, nor lock a table for as long as an index takes to build.
"""

from __future__ import annotations

import os
import secrets
import sys
from pathlib import Path

import django

from deploy.tools import throwaway
from deploy.tools.processes import exit_on_sigterm

# Migrations that lock a table, each with the reason why it may.
ALLOWED = {
    "0005_open_data_and_snapshots": "older than the first release: no store had rows to lock",
    "0027_history_is_kept": "its unique indexes are built concurrently, which the linter misses",
}


def main() -> int:
    """Lint our own migrations; the exit code is 0 only if none needs fixing."""
    exit_on_sigterm()
    with throwaway.postgresql() as database:
        os.environ |= {
            "DATABASE_URL": database,
            # Nothing asks Redis here, but the settings want both or neither.
            "REDIS_URL": "redis://127.0.0.1:1/0",
            "SAMESPOOL_SECRET_KEY": secrets.token_urlsafe(50),
            "DJANGO_SETTINGS_MODULE": "deploy.settings",
        }
        django.setup()
        return 1 if faulty() else 0


def faulty() -> bool:
    """Print the verdict on each migration; true where one of them is refused."""
    from django_migration_linter import MigrationLinter  # noqa: PLC0415 - needs the settings

    linter = MigrationLinter(
        str(Path(__file__).resolve().parent.parent),
        include_apps=["rigs", "results"],
        ignore_name=list(ALLOWED),
        all_warnings_as_errors=True,
        no_cache=True,
        quiet=["ignore"],
    )
    linter.lint_all_migrations()
    linter.print_summary()
    return bool(linter.has_errors)


if __name__ == "__main__":
    sys.exit(main())
