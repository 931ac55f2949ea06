"""Several hosts, each a network namespace of its own on one bridge, whose links can be cut."""

from __future__ import annotations

import contextlib
import os
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass

NETWORK = "10.213.77"
"""Of addresses for private use (RFC 1918); the first is this machine's own."""


@dataclass(frozen=True)
class Host:
    """A host by its name and its place in the network."""

    name: str
    place: int

    @property
    def address(self) -> str:
        """Where the others reach it."""
        return f"{NETWORK}.{self.place}"

    @property
    def _namespace(self) -> str:
        return f"{_bridge()}-{self.name}"

    @property
    def _port(self) -> str:
        """Its end of the cable at the bridge."""
        return f"{_bridge()}-{self.place}"

    def inside(self, command: list[str]) -> list[str]:
        """The command, as a process of this host."""
        return ["ip", "netns", "exec", self._namespace, *command]

    def attach(self) -> None:
        """Make the host, with its cable in the bridge."""
        _ip(f"netns add {self._namespace}")
        _ip(f"link add {self._port} type veth peer name eth0 netns {self._namespace}")
        _ip(f"-n {self._namespace} addr add {self.address}/24 dev eth0")
        for device in ("lo", "eth0"):
            _ip(f"-n {self._namespace} link set {device} up")
        _ip(f"link set {self._port} up")
        self.join()

    def cut(self) -> None:
        """Take the cable out of the bridge: what is sent is lost, and nothing says so."""
        _ip(f"link set {self._port} nomaster")

    def join(self) -> None:
        """Put the cable into the bridge."""
        _ip(f"link set {self._port} master {_bridge()}")

    def remove(self) -> None:
        """Take the host away."""
        _ip(f"netns delete {self._namespace}")


@contextlib.contextmanager
def hosts(*names: str) -> Iterator[list[Host]]:
    """Hosts of these names. Needs root."""
    made = [Host(name, place) for place, name in enumerate(names, start=2)]
    with contextlib.ExitStack() as stack:
        _ip(f"link add {_bridge()} type bridge")
        stack.callback(_ip, f"link delete {_bridge()}")
        _ip(f"addr add {NETWORK}.1/24 dev {_bridge()}")
        _ip(f"link set {_bridge()} up")
        for host in made:
            host.attach()
            stack.callback(host.remove)
        yield made


def _bridge() -> str:
    """A name of at most 15 letters, with what is put behind it."""
    return f"smsp{os.getpid()}"


def _ip(arguments: str) -> None:
    subprocess.run(["ip", *arguments.split()], check=True)
