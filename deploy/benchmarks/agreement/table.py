"""The table of agreement that is kept beside the statistics."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from deploy.benchmarks.agreement.comparing import read
from deploy.benchmarks.agreement.kinds import agreement

MOST_DIGITS = 9
HEAD = """# Agreement with outside values

Made by `tests/statistics/test_agreement.py` from the reference files kept in `tests/data`; each
file names its source. Digits are those of the worst figure of a file, shown up to nine; a figure
printed with fewer digits counts where ours rounds to it.

`one-stage-censored` is computed by exact sums; `tests/statistics/test_one_stage.py` holds how near
the service's own model comes to them.

| reference | kind | computed with | figures | digits of the worst |
|---|---|---|---|---|
"""


def table(paths: Iterable[Path]) -> str:
    """Markdown, one row a file."""
    return HEAD + "".join(_row(path) for path in paths)


def _row(path: Path) -> str:
    document = read(path)
    figures = agreement(document)
    digits = [figure.digits for figure in figures if not figure.as_printed]
    worst = str(min(*digits, MOST_DIGITS)) if digits else "as printed"
    programs = ", ".join(
        f"{name} {version}" for name, version in document.get("computed_with", {}).items()
    )
    return f"| {path.stem} | {document['kind']} | {programs} | {len(figures)} | {worst} |\n"
