"""`python -m deploy.observing.probe URL [SECONDS]`: exit code 0 if the address answers 200.

For a container's health check: the image has no other HTTP client. With seconds it asks again and
again for as long, which is how a unit waits until its process serves.
"""

from __future__ import annotations

import sys
import time
from urllib.error import URLError
from urllib.request import urlopen

TIMEOUT_S = 9


def main() -> int:
    """Print the answer, or why there is none."""
    url, patience_s = sys.argv[1], float(sys.argv[2]) if len(sys.argv) > 2 else 0.0
    last_moment = time.monotonic() + patience_s
    while True:
        try:
            with urlopen(url, timeout=TIMEOUT_S) as answer:
                print(answer.read().decode())
                return 0
        except (URLError, OSError) as error:
            if time.monotonic() >= last_moment:
                print(error, file=sys.stderr)
                return 1
        time.sleep(0.5)


if __name__ == "__main__":
    sys.exit(main())
