"""What the reports of an auditor say together: which packages are weak, and which nobody looked up.

Each argument is a report as pip-audit writes it in JSON; a source of advisories that did not answer
has left none. The exit code is 0 only where every package was looked up and none is weak.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any


def summary(reports: Iterable[dict[str, Any]]) -> tuple[set[str], set[str], set[str]]:
    """The packages looked up by any of the sources, those by none, and the weak ones."""
    asked, answered, weak = set(), set(), set()
    for package in (each for report in reports for each in report["dependencies"]):
        name = f"{package['name']} {package.get('version', '')}".strip()
        asked.add(package["name"])
        if "skip_reason" in package:
            continue
        answered.add(package["name"])
        weak |= {f"{name}: {found['id']}" for found in package["vulns"]}
    return answered, asked - answered, weak


def main() -> int:
    written = [Path(path) for path in sys.argv[1:]]
    reports = [json.loads(path.read_text()) for path in written if path.exists()]
    answered, unknown, weak = summary(reports)
    print(*sorted(weak), sep="\n", end="\n" if weak else "")
    if not answered:
        print("No source of advisories answered: nothing was looked up, so nothing is known.")
    else:
        print(f"{len(answered)} packages looked up, {len(weak)} weaknesses known.")
        if unknown:
            print(f"Nobody knew of {len(unknown)}: {', '.join(sorted(unknown))}.")
    return 0 if answered and not unknown and not weak else 1


if __name__ == "__main__":
    sys.exit(main())
