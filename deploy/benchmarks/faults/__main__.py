"""What breaks, and what holds: `deploy/bench faults`.

Runs the service as it is deployed, PostgreSQL, Redis, two web processes, a worker and its sweeper,
and lets one fault after another strike while testers send sessions. After each it audits, in a
process of its own: every session answered 202 is in its pools or marked as failed, none twice, and
every pooled figure equals the one recomputed from the pulls. Ends with 1 where one is not so.
Needs root, for the disks that it fills and the hosts whose links it cuts.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from deploy.benchmarks.faults.bench import Ground, bench
from deploy.benchmarks.faults.embedded import embedded
from deploy.benchmarks.faults.several import several
from deploy.benchmarks.faults.strikes import EMBEDDED, FAULTS, SEVERAL
from deploy.benchmarks.faults.table import COLUMNS, ResultRow, cells, markdown
from deploy.tools.processes import exit_on_sigterm


def main() -> int:
    """Let the faults strike, and print the table."""
    options = _options()
    exit_on_sigterm()
    rows: list[ResultRow] = []
    folder = Path(tempfile.mkdtemp(prefix="samespool-faults-"))
    folder.chmod(0o755)
    print(f"Logs are kept in {folder}\n\n{' | '.join(COLUMNS)}", flush=True)
    for faults, ground, place in (
        (EMBEDDED, embedded, folder / "embedded"),
        (FAULTS, bench, folder),
        (SEVERAL, several, folder / "several"),
    ):
        wanted = {name: fault for name, fault in faults.items() if _is_wanted(name, options.only)}
        if wanted:
            with ground(place, options.repeats, options.random_state) as made:
                _strike(made, wanted, rows, options.save)
    unclean = [row.fault for row in rows if not row.is_clean]
    print(f"\n{len(rows)} faults, {len(unclean)} not borne: {', '.join(unclean) or 'none'}")
    return 1 if unclean or not rows else 0


def _strike(
    ground: Ground,
    faults: Mapping[str, Callable[[Any], None]],
    rows: list[ResultRow],
    save: Path | None,
) -> None:
    for name, fault in faults.items():
        row = ground.run(name, fault)
        rows.append(row)
        print(" | ".join(cells(row)), flush=True)
        if save:
            _save(save, rows)
        for complaint in row.audit.complaints[:5]:
            print(f"    {complaint}", flush=True)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/bench faults", description=__doc__)
    parser.add_argument("--repeats", type=int, default=2, help="times that each fault strikes")
    parser.add_argument(
        "--only", nargs="*", default=[], help="faults with one of these in the name"
    )
    parser.add_argument("--random-state", type=int, default=1, help="of readings and moments")
    parser.add_argument("--save", type=Path, help="a file to write the table to as well")
    return parser.parse_args()


def _is_wanted(name: str, only: list[str]) -> bool:
    return not only or any(part in name for part in only)


def _save(file: Path, rows: list[ResultRow]) -> None:
    when = f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    file.write_text("\n".join([f"Run on {when}.", "", *markdown(rows), ""]))


if __name__ == "__main__":
    sys.exit(main())
