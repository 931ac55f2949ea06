"""The true efficiencies behind the scenario's pools."""

from dataclasses import dataclass
from math import exp, log, log1p, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from deploy.demo.bench import SLIP_FACTOR
from deploy.demo.scenario import LINES, MODEL, TARGETS, Document, Target, line_strength

EFFECTS, EFFECT_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
SLIPS = np.linspace(*SLIP_FACTOR, 21)


@dataclass(frozen=True)
class TrueEfficiency:
    """`join` is the join's own; `assembly` counts pulls in which a line parted before it.

    Both are the exponential of a mean, over testers and sessions, of the logarithm.
    """

    join: float
    assembly: float


def truth() -> dict[tuple[str, str, str], TrueEfficiency]:
    """True efficiency by connection, line pair or terminal line, and state (dry or soaked)."""
    return {
        (join["name"], target.id, "soaked" if wet else "dry"): _true_efficiency(target, join, wet)
        for target in TARGETS.values()
        for join in target.joins
        for wet in (False, True)
    }


def _true_efficiency(target: Target, join: Document, wet: bool) -> TrueEfficiency:
    reference = line_strength(target.reference, wet)
    own = target.efficiency(join, wet)
    spread = sqrt(MODEL["tester_effect_sd_log"] ** 2 + MODEL["session_effect_sd_log"] ** 2)
    assembly = [
        log(_mean_of_weakest(target, join, reference * own * exp(spread * effect), wet) / reference)
        for effect in EFFECTS
    ]
    weighted = float(EFFECT_WEIGHTS @ assembly) / float(EFFECT_WEIGHTS.sum())
    return TrueEfficiency(join=own, assembly=exp(weighted))


def _mean_of_weakest(target: Target, join: Document, mean_N: float, wet: bool) -> float:
    """Mean of the weakest of join and lines: the integral of the product of survivals."""
    force = np.linspace(0.0, 2 * max(mean_N, line_strength(target.reference, wet)), 4001)[1:]
    slips = join.get("slip_share", {}).get(target.id, 0.0)
    held = _survival(force, mean_N, join["cv_join"])
    slipped = np.mean(
        [_survival(force, mean_N * share, join["cv_join"]) for share in SLIPS], axis=0
    )
    survival = (1 - slips) * held + slips * slipped
    for line in target.lines:
        survival = survival * _survival(force, line_strength(line, wet), LINES[line]["cv_line"])
    return float(np.trapezoid(survival, force) + force[0])


def _survival(force: NDArray[np.float64], mean: float, cv: float) -> NDArray[np.float64]:
    """P(lognormal of this mean and coefficient of variation > force)."""
    variance = log1p(cv**2)
    return np.asarray(ndtr(-(np.log(force / mean) + variance / 2) / sqrt(variance)))
