"""`python -m deploy.observing.probe URL`: exit code 0 if the address answers 200.

For a container's health check: the image has no other HTTP client.
"""

from __future__ import annotations

import sys
from urllib.error import URLError
from urllib.request import urlopen

TIMEOUT_S = 9


def main() -> int:
    """Ask once, and print the answer."""
    try:
        with urlopen(sys.argv[1], timeout=TIMEOUT_S) as answer:
            print(answer.read().decode())
    except (URLError, OSError) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
