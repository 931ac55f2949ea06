"""Debian's nginx with `deploy/shared_cache.conf`, in a folder that goes away."""

from __future__ import annotations

import contextlib
import shutil
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path

from deploy.tools.processes import free_port, running, wait_until

CONFIGURATION = Path(__file__).resolve().parents[1] / "shared_cache.conf"


@contextlib.contextmanager
def in_front_of(service: str) -> Iterator[int]:
    """A shared cache in front of ``service``, as ``127.0.0.1:8000``; yields its port."""
    program = shutil.which("nginx") or "/usr/sbin/nginx"
    with tempfile.TemporaryDirectory(prefix="samespool-") as folder:
        # nginx started by root works as another account, which has to get in.
        Path(folder).chmod(0o755)
        port, text = free_port(), CONFIGURATION.read_text()
        for name, value in {"FOLDER": folder, "PORT": str(port), "SERVICE": service}.items():
            text = text.replace(name, value)
        written = Path(folder) / "nginx.conf"
        written.write_text(text)
        command = [program, "-c", str(written), "-p", folder, "-e", f"{folder}/error.log"]
        with running([*command, "-g", "daemon off;"]) as nginx:
            wait_until(lambda: _listens(port), "nginx", by=nginx)
            yield port


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
