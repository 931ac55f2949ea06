"""Which computation each kind of reference file checks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from deploy.benchmarks.agreement import one_stage_exact, strength, three_level, two_level
from deploy.benchmarks.agreement.beside import beside
from deploy.benchmarks.agreement.comparing import Figure, figures, plain

Named = dict[str, Any]

KINDS: dict[str, Callable[[Named, Named], Named]] = {
    "two-level": two_level.two_level,
    "two-level-methods": two_level.two_level,
    "ratio-of-means-methods": two_level.ratio_of_means,
    "ratio-of-means": three_level.ratio_of_means_shared,
    "three-level": three_level.three_level,
    "three-level-covariance": three_level.three_level_covariance,
    "cluster-robust": three_level.cluster_robust_forms,
    "multi-arm": three_level.multi_arm,
    "right-censored": strength.right_censored,
    "right-censored-profile": strength.right_censored,
    "interlaboratory": strength.interlaboratory,
    "consistency-tests": strength.consistency_tests,
    "one-stage-censored": one_stage_exact.one_stage_censored,
    "nested-tolerance": strength.nested_tolerance,
    "calibration-line": strength.calibration,
    "units": strength.units,
    "trade-practice": strength.trade_practice,
}

ABOUT = ("kind", "what", "source", "computed_with", "note", "called", "data")


class UnknownKind(ValueError):
    """A file of a kind that nothing here computes."""


def agreement(document: Named) -> list[Figure]:
    """Every expected figure of a reference file beside ours.

    Expected figures stand under a name that begins with 'expected', or, where there is none,
    beside the description. Raises UnknownKind.
    """
    kind = document.get("kind")
    if kind not in KINDS:
        raise UnknownKind(f"kind {kind!r} is not one of {', '.join(sorted(KINDS))}")
    named = [name for name in document if name.startswith("expected")]
    found: list[Figure] = []
    for name in named or [""]:
        expected = (
            document[name]
            if name
            else {key: value for key, value in document.items() if key not in ABOUT}
        )
        data, asked = plain(document.get("data", document)), plain(expected)
        found += figures(expected, {**beside(data, asked), **KINDS[kind](data, asked)})
    return found
