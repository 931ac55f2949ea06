"""`python -m deploy.web --port PORT`: the web process, which hands over before it stops.

On SIGTERM it goes on until the proxy must have seen what the process before it, just restarted,
says; then it says to the proxy that it takes no more requests (`/readyz?for=requests` answers 503)
and serves until the proxy sends none, so that another web process takes them and none is refused.
Two on one port of a machine would share its requests in silence, so a second one is refused.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import FrameType

SETTLES_S = 3.0
DRAINS_S = 5.0
"""The proxy asks every second whether requests are taken."""


def main() -> int:
    """Serve until a signal says to stop; returns the exit code of the web server."""
    options = _options()
    with contextlib.ExitStack() as stack:
        if not _is_alone(options.port, stack):
            sys.stderr.write(
                f"Port {options.port} is taken: is another Samespool running on this machine?\n"
            )
            return 1
        folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="samespool-web-"))
        return _serve(options, Path(folder) / "draining")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m deploy.web", description=__doc__)
    parser.add_argument("--host", default="127.0.0.1", help="the address to listen at")
    parser.add_argument("--port", type=int, default=8000)
    parser.add_argument("--workers", type=int, default=2, help="processes that answer")
    return parser.parse_args()


def _is_alone(port: int, stack: contextlib.ExitStack) -> bool:
    """Whether no other serves the port, nor begins to: this holds its name until it ends."""
    held = stack.enter_context(socket.socket(socket.AF_UNIX))
    try:
        held.bind(f"\0samespool-web-{port}")
    except OSError:
        return False
    return not _answers(port)


def _answers(port: int) -> bool:
    with socket.socket() as asking:
        asking.settimeout(1)
        return asking.connect_ex(("127.0.0.1", port)) == 0


def _serve(options: argparse.Namespace, draining: Path) -> int:
    command = [str(Path(sys.executable).with_name("granian")), "--interface", "wsgi"]
    command += ["--host", options.host, "--port", str(options.port)]
    command += ["--workers", str(options.workers), "--blocking-threads", "8"]
    command += ["--workers-kill-timeout", "20", "deploy.wsgi:application"]
    stopping = False

    def stop(_number: int, _frame: FrameType | None) -> None:
        nonlocal stopping
        stopping = True

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)
    environment = {**os.environ, "SAMESPOOL_DRAINING": str(draining)}
    with subprocess.Popen(command, env=environment) as server:
        while server.poll() is None and not stopping:
            time.sleep(0.1)
        if server.poll() is None:
            _drain(server, draining, options.port)
            server.terminate()
        return server.wait()


def _drain(server: subprocess.Popen[bytes], draining: Path, port: int) -> None:
    """Say that no more requests are taken, and wait; not where it never began to serve."""
    if not _answers(port):
        return
    with contextlib.suppress(subprocess.TimeoutExpired):
        server.wait(SETTLES_S)
        return
    draining.touch()
    with contextlib.suppress(subprocess.TimeoutExpired):
        server.wait(DRAINS_S)


if __name__ == "__main__":
    sys.exit(main())
