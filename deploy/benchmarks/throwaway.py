"""A store of a benchmark's own, in a folder: SQLite, nothing mailed, hardly a log."""

from __future__ import annotations

import logging
import os
import warnings
from pathlib import Path


def set_up(folder: Path) -> None:
    """Point this process at the store of a folder and load Django, before what needs it."""
    os.environ.update(
        SAMESPOOL_VAR=str(folder), DJANGO_SETTINGS_MODULE="deploy.settings", OMP_NUM_THREADS="1"
    )
    for name in ("DATABASE_URL", "REDIS_URL"):
        os.environ.pop(name, None)
    import django  # noqa: PLC0415
    import structlog  # noqa: PLC0415

    django.setup()
    warnings.simplefilter("ignore")
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))


def migrate() -> None:
    """Bring the store's tables up to date."""
    from django.core.management import call_command  # noqa: PLC0415

    call_command("migrate", verbosity=0)
