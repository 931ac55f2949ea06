"""The one reader of a version's figures and findings, which an older version may lack some of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from results.models import PoolVersion


class NotComputed(KeyError):
    """A figure that this version was computed without; the next one will have it."""


class Figures(Mapping[str, Any]):
    """Figures by name, those inside figures too; NotComputed where this version has none."""

    def __init__(self, stored: Mapping[str, Any]) -> None:
        self._stored = stored

    def __getitem__(self, name: str) -> Any:
        try:
            found = self._stored[name]
        except KeyError as error:
            raise NotComputed(name) from error
        return Figures(found) if isinstance(found, dict) else found

    def __iter__(self) -> Iterator[str]:
        return iter(self._stored)

    def __len__(self) -> int:
        return len(self._stored)

    def has(self, *names: str) -> bool:
        """Whether all of these are there and not empty."""
        return all(self._stored.get(name) is not None for name in names)


def figures_of(version: PoolVersion | None) -> Figures:
    """What a version computed; nothing where none is pooled."""
    return Figures(version.figures if version else {})


def findings_of(version: PoolVersion) -> Figures:
    """What a version says beside its figures."""
    return Figures(version.findings)
