"""Whose scores moved from one version of a round's report to the next, and by how much.

Scores are of single participants: those in the round read whose moved, and no one else does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

SCORE = "score"
SHOWN_DIGITS = 2


@dataclass(frozen=True)
class Deciding:
    """The score that decides, z or z', and what it calls for."""

    value: float
    outcome: str


def moved_scores(was: Mapping[str, Any], now: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Each score that reads otherwise than before, by participant and sample.

    ``was`` and ``is`` are None where there was or is none, ``was_outcome`` and ``is_outcome`` what
    they call for. A score that is the same to two decimals has not moved.
    """
    then, after = _deciding(was), _deciding(now)
    return [
        {
            "what": SCORE,
            "participant": participant,
            "sample": sample,
            "was": before and before.value,
            "is": found and found.value,
            "was_outcome": before and before.outcome,
            "is_outcome": found and found.outcome,
        }
        for participant, sample in sorted(then.keys() | after.keys())
        for before, found in [(then.get((participant, sample)), after.get((participant, sample)))]
        if _as_read(before) != _as_read(found)
    ]


def of_participant(
    changes: Sequence[Mapping[str, Any]], number: int | None
) -> list[Mapping[str, Any]]:
    """One participant's scores among the changes of a version."""
    return [one for one in changes if one["what"] == SCORE and one["participant"] == number]


def _as_read(score: Deciding | None) -> tuple[float, str] | None:
    return None if score is None else (round(score.value, SHOWN_DIGITS), score.outcome)


def _deciding(figures: Mapping[str, Any]) -> dict[tuple[int, int], Deciding]:
    return {
        (one["participant"], sample["sample"]): Deciding(one[one["used"]], one["outcome"])
        for sample in figures.get("samples", [])
        for one in sample["scores"]
    }
