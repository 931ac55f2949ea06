"""Options of `deploy/try`. Standard library alone: `deploy/try` runs this file before
anything is installed, so that a taken port is found at once.
"""

from __future__ import annotations

import argparse
import socket
import sys
from dataclasses import dataclass

USUAL_PORT = 8000


@dataclass(frozen=True)
class Options:
    """A port to serve on, 0 for any that is free, and whether to stop after the table."""

    port: int
    no_serve: bool


def parse() -> Options:
    """Read the options; a port that can't be had ends the program with how to go on."""
    parser = argparse.ArgumentParser(
        prog="deploy/try",
        description="Samespool on your own machine: prepare, send the demo league, show its "
        "pools, serve.",
    )
    parser.add_argument(
        "--port", type=int, help=f"port on 127.0.0.1 (default {USUAL_PORT}, if it serves)"
    )
    parser.add_argument("--no-serve", action="store_true", help="stop after the table")
    given = parser.parse_args()
    port = given.port
    if port is None:
        port = 0 if given.no_serve else USUAL_PORT
    elif not 1 <= port <= 65535:
        parser.error(f"--port takes a number from 1 to 65535, not {port}")
    if not _is_free(port):
        sys.exit(
            f"Port {port} is taken. Stop what listens there, or choose another port: "
            f"deploy/try --port {port + 1 if port < 65535 else USUAL_PORT}"
        )
    return Options(port, given.no_serve)


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


if __name__ == "__main__":
    parse()
