"""`python -m deploy.port_is_free PORT`: 1 where something on this machine answers there already.

The web server shares its port with whatever else asks to share it, so that a second one starts
in silence and takes half of the requests.
"""

from __future__ import annotations

import socket
import sys


def main() -> int:
    """Say so, and return 1, where the port is taken."""
    port = int(sys.argv[1])
    with socket.socket() as asking:
        asking.settimeout(1)
        if asking.connect_ex(("127.0.0.1", port)):
            return 0
    sys.stderr.write(f"Port {port} is taken: is another Samespool running on this machine?\n")
    return 1


if __name__ == "__main__":
    sys.exit(main())
