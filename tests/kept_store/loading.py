"""The kept store of a release, migrated to today's schema, in a test's database."""

from __future__ import annotations

import lzma
import os
import subprocess
import sys
from pathlib import Path

from django.conf import settings
from django.core.management import call_command

KEPT = Path(__file__).parent.parent / "data" / "kept-store"
LEFT_OUT = ("contenttypes", "auth.permission", "admin.logentry", "sessions")
"""Made by the migrations themselves, or nobody's."""


def newest() -> Path:
    """The store of the last release."""
    return max(KEPT.glob("*.sqlite3.xz"), key=lambda path: _number(path.name))


def _number(name: str) -> tuple[int, ...]:
    return tuple(int(part) for part in name.removesuffix(".sqlite3.xz").split("."))


def unpack(folder: Path) -> Path:
    """The store as it was kept, as an embedded service would find it in this folder."""
    store = folder / "samespool.sqlite3"
    store.write_bytes(lzma.decompress(newest().read_bytes()))
    return store


def manage(folder: Path, *command: str) -> None:
    """Run a command of today's code on the store in the folder."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if name not in ("DATABASE_URL", "REDIS_URL")
    }
    subprocess.run(
        [sys.executable, str(Path(settings.BASE_DIR) / "manage.py"), *command],
        env=environment | {"SAMESPOOL_VAR": str(folder)},
        check=True,
        capture_output=True,
        text=True,
    )


def load(folder: Path) -> None:
    """Migrate the store in the folder, and bring its rows into the test's database."""
    rows = folder / "rows.json"
    manage(folder, "migrate", "--verbosity", "0")
    excluded = [part for name in LEFT_OUT for part in ("--exclude", name)]
    manage(folder, "dumpdata", *excluded, "--output", str(rows))
    call_command("loaddata", rows, verbosity=0)
