"""The figures of a pool, each declared once.

Reading, the API and its document, the open data, the pages, what is taken down with a figure, and
which pools lack one and are computed again, all take them from here
(`tests/results/test_declared_figures.py` holds them to it).
"""

from __future__ import annotations

from dataclasses import replace

from results.models.declared.columns import COLUMNS, COUNTS
from results.models.declared.figure import Figure, Form, Kept, Kind, Scale, Sentence
from results.models.declared.findings import FINDINGS
from results.models.declared.methods import METHODS
from results.models.declared.pooled import FIGURES

__all__ = ["Figure", "Form", "Kept", "Kind", "Scale", "Sentence"]

DECLARED = tuple(
    replace(each, method=METHODS[each.path]) for each in (*COUNTS, *COLUMNS, *FIGURES, *FINDINGS)
)


def kept_in(kept: Kept) -> tuple[Figure, ...]:
    """Everything that is kept there."""
    return tuple(each for each in DECLARED if each.kept is kept)


def names(kept: Kept) -> tuple[str, ...]:
    """The columns, or the members, that hold what every version has."""
    return tuple(name for each in kept_in(kept) if each.always for name in each.names)


def withheld() -> tuple[str, ...]:
    """Columns that are emptied where a pool's figures were taken down."""
    of = (each for each in kept_in(Kept.COLUMN) if not each.stays)
    return tuple(name for each in of for name in each.names)


def figure_at(path: str) -> Figure:
    """The figure of a path, as ``efficiency`` or ``figures.mu``. Raises KeyError."""
    for each in DECLARED:
        if each.path == path:
            return each
    raise KeyError(path)


def help_of(column: str) -> str:
    """What a column of a version holds."""
    for each in kept_in(Kept.COLUMN):
        if column in each.described:
            return each.described[column]
    raise KeyError(column)
