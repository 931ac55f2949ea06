"""Compare our statistics with reference files: `deploy/bench agree PATH...`.

Reads each file of the reference form (kind, data, expected), computes every figure it expects
with our functions and prints ours, theirs and the digits that agree. A figure printed with fewer
digits agrees where ours rounds to it. Exits with 1 where fewer than five digits agree (four for
interval ends found by search), with 2 where a file can't be read or its kind is not known.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from deploy.benchmarks.agreement.comparing import Figure, read
from deploy.benchmarks.agreement.kinds import agreement


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH")
    parser.add_argument("--summary", action="store_true", help="one line a file")
    arguments = parser.parse_args()
    return max(_file(path, arguments.summary) for path in arguments.paths)


def _file(path: Path, summary: bool) -> int:
    try:
        found = agreement(read(path))
    except (OSError, ValueError, LookupError, TypeError) as error:
        print(f"{path}: {type(error).__name__}: {error}", file=sys.stderr)
        return 2
    if not summary:
        width = max((len(figure.name) for figure in found), default=0)
        for figure in found:
            print(_line(figure, width))
    short = [figure for figure in found if not figure.agrees]
    exact = [figure.digits for figure in found if not figure.as_printed]
    least = f", least digits {min(exact)}" if exact else ", all to the digits printed"
    print(f"{path}: {len(found)} figures, {len(short)} short of agreement{least}")
    return 1 if short else 0


def _line(figure: Figure, width: int) -> str:
    ours = "not computed" if figure.ours is None else f"{figure.ours:.13g}"
    mark = "" if figure.agrees else "  SHORT"
    digits = "all printed" if figure.as_printed else f"{figure.digits:d}"
    return f"{figure.name:<{width}}  {ours:>20}  {figure.theirs!s:>20}  {digits}{mark}"


if __name__ == "__main__":
    sys.exit(main())
