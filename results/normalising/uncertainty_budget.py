"""Where a set's uncertainty comes from, as the table that says what to improve first."""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.utils.translation import gettext_lazy

from results.models import NormalisedSet, PullSet
from results.normalising.scales import Scale, scale_of
from results.normalising.traced_errors import TracedErrors, traced_errors_of
from rigs.calibration_report import line_of
from rigs.metrology.budget import Budget, Cause, Pulls, efficiency_budget, load_budget

ADVICE = {
    Cause.TYING: gettext_lazy("Pull more of these ties: their scatter is the largest part."),
    Cause.BASELINE: gettext_lazy(
        "Pull more straight line: the scatter of the baseline is the largest part."
    ),
    Cause.ZERO: gettext_lazy(
        "Check the zero of the scale: tare it before each pull, and calibrate with light check "
        "weights as well."
    ),
    Cause.GAIN: gettext_lazy(
        "The gain of the scale is the largest part: use more check weights, or better known ones."
    ),
    Cause.RESOLUTION: gettext_lazy("A scale with finer steps would help most."),
    Cause.SCATTER: gettext_lazy(
        "The scale itself scatters most: hang the check weights again, gently."
    ),
    Cause.CALIBRATION: gettext_lazy(
        "The calibration line is the largest part: use more check weights, or better known ones."
    ),
    Cause.ZERO_OF_PULLS: gettext_lazy(
        "The load cell did not read zero without load: tare it before each pull."
    ),
    Cause.SAMPLING: gettext_lazy(
        "Peaks fall between two samples: sample faster, or record straight line and joins alike."
    ),
}
"""What to do, by the cause that contributes most."""


@dataclass(frozen=True)
class SetBudgets:
    """Budgets of the efficiency and of the mean load of a set.

    ``load`` is None, and ``no_load`` says why, where the rig's calibration can't be used.
    """

    efficiency: Budget
    load: Budget | None
    no_load: str

    @property
    def advice(self) -> str:
        """What to improve first for a surer efficiency."""
        return advice_on(self.efficiency)


def advice_on(budget: Budget) -> str:
    """What to improve first."""
    return str(ADVICE[budget.improve_first.cause])


def budgets_of(pull_set: PullSet) -> SetBudgets | None:
    """Both budgets of a set; None where it has no efficiency."""
    found: NormalisedSet | None = getattr(pull_set, "normalised", None)
    if found is None:
        return None
    scale = scale_of(pull_set.session)
    traced = traced_errors_of(found, pull_set, scale)
    return SetBudgets(_efficiency(found, scale, traced), _load(found, scale), scale.note)


def _efficiency(found: NormalisedSet, scale: Scale, traced: TracedErrors | None) -> Budget:
    """Of the set's own efficiency, whose correction for scatter the plain ratio of means lacks."""
    used = scale.calibration
    budget = efficiency_budget(
        joined=Pulls(found.mean_N, found.cv, found.n_effective, found.degrees_of_freedom),
        straight=Pulls(
            found.baseline_mean_N,
            found.baseline_cv,
            found.baseline_n_effective,
            found.baseline_degrees_of_freedom,
        ),
        u_zero_N=scale.u_offset_N(found.baseline_mean_N),
        resolution_N=scale.resolution_N,
        u_gain=used.u_gain / used.gain if used else 0.0,
        zero_evaluation="A" if used else "B",
        traced=(traced.joined, traced.straight) if traced else None,
        **({"zero_df": float(used.degrees_of_freedom)} if used else {}),
    )
    return replace(budget, value=found.efficiency)


def _load(found: NormalisedSet, scale: Scale) -> Budget | None:
    """Budget of one pull that reads what the set's mean reads."""
    if scale.calibration is None:
        return None
    line = line_of(scale.calibration)
    return load_budget(line, line.gain * found.mean_N + line.offset_N, scale.resolution_N)
