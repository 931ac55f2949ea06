"""The one reader of a version's figures and findings, which an older version may lack some of.

What there is to read is declared in `results/models/declared/`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from results.models import PoolVersion
from results.models.declared import Figure, Kept, kept_in


class NotComputed(KeyError):
    """A figure that this version was computed without; the next one will have it."""


class Undeclared(LookupError):
    """No figure of this name is declared, so that no version will ever have it."""


class Figures(Mapping[str, Any]):
    """Figures by name, those inside figures too; NotComputed where this version has none.

    Where ``kept`` says what they are kept as, Undeclared for a name that is not declared there.
    """

    def __init__(self, stored: Mapping[str, Any], kept: Kept | None = None) -> None:
        self._stored = stored
        self._kept = kept

    def __getitem__(self, name: str) -> Any:
        try:
            found = self._stored[name]
        except KeyError as error:
            self._need_declared(name)
            raise NotComputed(name) from error
        return Figures(found) if isinstance(found, dict) else found

    def __iter__(self) -> Iterator[str]:
        return iter(self._stored)

    def __len__(self) -> int:
        return len(self._stored)

    def has(self, *names: str) -> bool:
        """Whether all of these are there and not empty."""
        missing = [name for name in names if self._stored.get(name) is None]
        for name in missing:
            self._need_declared(name)
        return not missing

    def _need_declared(self, name: str) -> None:
        if self._kept and all(name not in each.names for each in kept_in(self._kept)):
            raise Undeclared(f"no member of a version's {self._kept} is declared as {name!r}")


def figures_of(version: PoolVersion | None) -> Figures:
    """The figures of a version; empty if none is pooled."""
    return Figures(version.figures if version else {}, Kept.FIGURES)


def findings_of(version: PoolVersion) -> Figures:
    """What a version says beside its figures."""
    return Figures(version.findings, Kept.FINDINGS)


def values_of(version: PoolVersion, figure: Figure) -> list[Any]:
    """A version's values of a figure, by name; None if it has none."""
    kept = figure.kept
    if kept is Kept.COLUMN:
        return [getattr(version, name) for name in figure.names]
    return [getattr(version, kept).get(name) for name in figure.names]
