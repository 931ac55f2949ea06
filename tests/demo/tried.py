"""A running `deploy/try`, with the whole demo league in it."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from deploy.tools.processes import free_port, running, wait_until

ROOT = Path(__file__).parents[2]
SERVERS = ("DATABASE_URL", "REDIS_URL")


@dataclass(frozen=True)
class Tried:
    """A running `deploy/try`: its port, its environment and what it printed."""

    port: int
    environment: dict[str, str]
    printed: str


@contextmanager
def trying(command: list[str], folder: Path, **more: str) -> Iterator[Tried]:
    """`deploy/try` on an empty folder, from its last line on; ``more`` joins its environment."""
    environment = {name: value for name, value in os.environ.items() if name not in SERVERS}
    environment |= {"SAMESPOOL_VAR": str(folder), **more}
    port, output = free_port(), folder / "output"
    with (
        output.open("wb") as out,
        running(
            [*command, "--port", str(port)],
            stop_by=signal.SIGINT,
            cwd=ROOT,
            env=environment,
            stdout=out,
            stderr=out,
        ) as process,
    ):
        wait_until(
            lambda: process.poll() is not None or "Ctrl-C" in output.read_text(),
            "The demo",
        )
        assert process.poll() is None, output.read_text()
        yield Tried(port, environment, output.read_text())
