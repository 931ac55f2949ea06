"""Faults of random strength, planted in one honest session: what screening should find.

Each takes a random state and a session document and returns a spoilt copy. The strengths cover
what a fault can do from barely to grossly; `deploy.benchmarks.screening` measures how much is
found.
"""

from __future__ import annotations

import copy
from collections.abc import Callable

import numpy as np

from deploy.demo.scenario import Document
from rigs.metrology.units import FORCE_UNITS

Fault = Callable[[np.random.Generator, Document, float], Document]

INVENTED_CV = (0.001, 0.015)
"""Scatter of people who write figures down from imagination: under 1.5 percent (common practice,
no source)."""

BASELINE_SHARE = (0.45, 0.75)
SLIGHT_SHARE = (0.75, 0.92)
"""Straight line pulled from another spool, or slipping: its share of the line's true strength,
grossly and slightly wrong."""


def invent(rng: np.random.Generator, session: Document, step: float) -> Document:
    """Every set is written down around one value, the straight line as well."""
    spoilt = copy.deepcopy(session)
    for part in [*spoilt["baselines"], *spoilt["pull_sets"]]:
        mean = float(np.mean([pull["reading"] for pull in part["pulls"]]))
        cv = rng.uniform(*INVENTED_CV)
        for pull in part["pulls"]:
            pull["reading"] = _on_scale(mean * (1 + cv * rng.normal()), step)
    return spoilt


def copy_sets(rng: np.random.Generator, session: Document, step: float) -> Document:  # noqa: ARG001
    """The pulls of one set stand under every other join as well, some of them changed by hand."""
    spoilt = copy.deepcopy(session)
    first = [pull["reading"] for pull in spoilt["pull_sets"][0]["pulls"]]
    kept = rng.integers(max(4, len(first) // 2), len(first) + 1)
    for part in spoilt["pull_sets"][1:]:
        for pull, reading in zip(part["pulls"][:kept], first, strict=False):
            pull["reading"] = reading
    return spoilt


def mix_units(rng: np.random.Generator, session: Document, step: float) -> Document:  # noqa: ARG001
    """Readings of one unit, said to be of another."""
    spoilt = copy.deepcopy(session)
    others = [unit for unit in ("N", "kgf", "lbf") if unit != session["unit"]]
    true_unit = others[rng.integers(len(others))]
    factor = FORCE_UNITS[session["unit"]] / FORCE_UNITS[true_unit]
    for part in [*spoilt["baselines"], *spoilt["pull_sets"]]:
        for pull in part["pulls"]:
            pull["reading"] = round(pull["reading"] * factor, 2)
    return spoilt


def weaken_baseline(rng: np.random.Generator, session: Document, step: float) -> Document:
    """Straight line from another spool, recorded as the same."""
    return _with_baseline(session, rng.uniform(*BASELINE_SHARE), step)


def weaken_baseline_slightly(rng: np.random.Generator, session: Document, step: float) -> Document:
    """The same, by so little that honest rigs and hands differ as much."""
    return _with_baseline(session, rng.uniform(*SLIGHT_SHARE), step)


def _with_baseline(session: Document, share: float, step: float) -> Document:
    spoilt = copy.deepcopy(session)
    for part in spoilt["baselines"]:
        for pull in part["pulls"]:
            pull["reading"] = _on_scale(pull["reading"] * share, step)
    return spoilt


def _on_scale(reading: float, step: float) -> float:
    return round(max(1, round(reading / step)) * step, 3)


FAULTS: dict[str, Fault] = {
    "invented": invent,
    "copied": copy_sets,
    "units": mix_units,
    "baseline": weaken_baseline,
    "baseline, slightly": weaken_baseline_slightly,
}
