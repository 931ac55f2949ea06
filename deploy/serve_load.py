"""Clients that ask for one address again and again: a process of its own with kept connections.

`python -m deploy.serve_load PORT PATH CLIENTS SECONDS [ETAG]` prints requests a second and the
median and 99th percentile in ms. It has one of the machine's cores, the server another.
"""

from __future__ import annotations

import asyncio
import sys
import time

import numpy as np


async def ask(
    port: int, path: str, until: float, wanted: bytes, header: str, taken: list[float]
) -> None:
    """One client: the next request goes out once the last answer is in."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    request = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n{header}\r\n".encode()
    while (begun := time.perf_counter()) < until:
        writer.write(request)
        head = await reader.readuntil(b"\r\n\r\n")
        if not head.startswith(wanted):
            raise RuntimeError(f"{path}: {head[:200]!r}")
        await reader.readexactly(_length(head))
        taken.append(time.perf_counter() - begun)
    writer.close()


def _length(head: bytes) -> int:
    _, found, rest = head.lower().partition(b"content-length:")
    return int(rest.split(b"\r\n", 1)[0]) if found else 0


async def measure(port: int, path: str, clients: int, seconds: float, etag: str) -> str:
    """Ask for so long with so many clients."""
    header = f"If-None-Match: {etag}\r\n" if etag else ""
    wanted = b"HTTP/1.1 304" if etag else b"HTTP/1.1 200"
    taken: list[float] = []
    until = time.perf_counter() + seconds
    await asyncio.gather(*(ask(port, path, until, wanted, header, taken) for _ in range(clients)))
    half, nearly_all = 1000 * np.percentile(taken, [50, 99])
    return f"{len(taken) / seconds:.1f} {half:.2f} {nearly_all:.2f}"


if __name__ == "__main__":
    _, port_, path_, clients_, seconds_, *etag_ = sys.argv
    tag = etag_[0] if etag_ else ""
    print(asyncio.run(measure(int(port_), path_, int(clients_), float(seconds_), tag)))
