"""What the one erasing verb has blanked, as its audit says."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict

from results.models import Erasure


class Erased:
    """By column, the rows that were erased."""

    def __init__(self) -> None:
        runs: dict[str, list[tuple[int, int]]] = defaultdict(list)
        for columns in Erasure.objects.values_list("columns", flat=True).iterator():
            for label, found in columns.items():
                runs[label] += [(first, last) for first, last in found]
        self._runs = {label: _merged(found) for label, found in runs.items()}

    def has(self, label: str, row: int) -> bool:
        """Whether the column ``label``, as ``results.Pull.note``, was erased in this row."""
        runs = self._runs.get(label, [])
        at = bisect_right(runs, (row, float("inf"))) - 1
        return at >= 0 and runs[at][1] >= row


def _merged(runs: list[tuple[int, int]]) -> list[tuple[float, float]]:
    merged: list[tuple[float, float]] = []
    for first, last in sorted(runs):
        if merged and first <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(last, merged[-1][1]))
        else:
            merged.append((first, last))
    return merged
