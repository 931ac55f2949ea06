"""The embedded web process, which a power cut ends at a statement that the benchmark names.

The product knows nothing of it: the statements of its draining thread pass through a wrapper of
Django's. The file ``CUT`` names a pattern, and whether the cut comes before or after the statement
that it fits; it is gone before the cut, so that each comes once.
"""

from __future__ import annotations

import json
import os
import re
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.db.backends.signals import connection_created

CUT = Path(os.environ["SAMESPOOL_CUT"])


def cutting(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
    """Execute a statement, and end all processes of this server where it is the one named."""
    cut = _cut()
    here = cut is not None and re.search(cut["pattern"], sql) is not None
    if here and cut is not None and cut["before"]:
        _power_cut()
    answer = execute(sql, *rest)
    if here:
        _power_cut()
    return answer


def _cut() -> dict[str, Any] | None:
    try:
        return dict(json.loads(CUT.read_text()))
    except (FileNotFoundError, json.JSONDecodeError):
        return None


def _power_cut() -> None:
    CUT.unlink()
    os.killpg(os.getpgid(0), signal.SIGKILL)


def watch(connection: Any, **_sent: Any) -> None:
    """Pass the worker thread's statements through ``cutting``."""
    in_worker_thread = threading.current_thread().name == "embedded-worker"
    if in_worker_thread and cutting not in connection.execute_wrappers:
        connection.execute_wrappers.append(cutting)


connection_created.connect(watch)

from deploy.wsgi import application  # noqa: E402, F401  (starts the worker thread)
