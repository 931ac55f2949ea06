"""Child processes: start them, wait for them, and leave none behind."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any

TIMEOUT_S = 300.0
"""For what has to come on a machine however busy; what will never come is known by its process."""
STOPS_WITHIN_S = 30.0


def free_port() -> int:
    """A free TCP port of this machine."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(
    ready: Callable[[], bool],
    what: str,
    timeout_s: float = TIMEOUT_S,
    *,
    by: subprocess.Popen[bytes] | None = None,
) -> None:
    """Ask again and again until it is ready; raises TimeoutError that names what was not.

    Raises ChildProcessError as soon as the process ``by`` has ended.
    """
    last_moment = time.monotonic() + timeout_s
    while not ready():
        if by is not None and by.poll() is not None:
            raise ChildProcessError(f"{what}: its process ended with {by.returncode}")
        if time.monotonic() > last_moment:
            raise TimeoutError(f"{what} was not ready within {timeout_s:.0f} s")
        time.sleep(0.05)


def exit_on_sigterm() -> None:
    """Make SIGTERM and a closed terminal end this process in order, and what it runs with it."""

    def leave(signal_number: int, _frame: FrameType | None) -> None:
        raise SystemExit(128 + signal_number)

    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, leave)


@contextlib.contextmanager
def running(
    command: list[str], *, stop_by: signal.Signals = signal.SIGTERM, **options: Any
) -> Iterator[subprocess.Popen[bytes]]:
    """A process that is ended when the block is left, whichever way it is left.

    It leads a session of its own, so that Ctrl-C is left to the block and no child outlives it.
    """
    process = subprocess.Popen(command, start_new_session=True, **options)
    try:
        yield process
    finally:
        process.send_signal(stop_by)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(timeout=STOPS_WITHIN_S)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
