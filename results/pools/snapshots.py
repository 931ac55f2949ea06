"""Snapshots: a digest of exactly what a pooled figure was computed from.

Pulls, baselines and calibrations are only ever added, so their ids name their values for good: a
calibration entered wrongly is replaced by another. A revision is corrected in place, so that the
resolution a set was worked out by stands beside it where it is not the first. A
snapshot is the list of a pool's sets with the baseline and the calibration each was worked out by;
its id is taken from that list, from the strengths these came to, and from the release of the
formulae. The same inputs have the same id wherever and whenever they are pooled. Beside them stand,
without part in the id, the libraries it was computed with and the columns known then.
"""

from __future__ import annotations

import hashlib
import json
import math
import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import scipy

from results.models.declared import Kept, kept_in, names
from results.pools.pool_data import Members
from results.statistics.crossed_factors import is_identifiable

FORMULAE = 2
"""Release of normalising and pooling; raised by every change that can move a figure."""


@dataclass(frozen=True)
class Behind:
    """What a version was computed from: its sets, and what is recorded of how each was tied."""

    members: Members
    covariates: Sequence[Mapping[str, float]]

    @property
    def has_several_products(self) -> bool:
        """Line products that the model tells apart."""
        return is_identifiable(self.members.line_product, self.members.tester)

    @property
    def has_several_rounds(self) -> bool:
        """Clubs' rounds that the model tells apart."""
        return is_identifiable(self.members.level_of_round, self.members.tyers.tyer)

    @property
    def has_other_tyers(self) -> bool:
        """Sets that somebody else tied for their tester."""
        return bool(self.members.hand.any())

    @property
    def lacks_covariates(self) -> bool:
        """Sets of which something is not recorded that is recorded of others."""
        return len({frozenset(of_set) for of_set in self.covariates}) > 1

    @property
    def has_unsure_zeros(self) -> bool:
        """Scales whose zero moves a set by more than half a percent."""
        return bool((np.abs(self.members.zero) > UNSURE_ZERO).any())

    @property
    def has_traced_errors(self) -> bool:
        """Pulls whose traces show an error of their readings."""
        return bool(
            (self.members.zero_of_pulls != 0).any() or (self.members.missed_peak != 0).any()
        )


UNSURE_ZERO = 0.005
POOLED = (
    "efficiency",
    "interval_*",
    "prediction_*",
    "held_by_nine",
    "i2",
    "figures.*",
    "findings.moderators.*",
)
"""Everything that follows from the model of a pool."""


@dataclass(frozen=True)
class Moved:
    """Figures that a release of the formulae moved by more than 1e-12, and by how much at most.

    ``figures`` are shell patterns of their paths, as ``figures.tau2_*`` or ``held_by_nine``;
    ``by`` is relative, infinity where what was no number changed. ``where`` names the property of
    `Behind` that the versions have which are concerned; without it all are.
    """

    why: str
    by: float
    figures: tuple[str, ...]
    where: str = ""

    def concerns(self, behind: Behind) -> bool:
        """Whether it moved figures of a version computed from this."""
        return not self.where or bool(getattr(behind, self.where))


MOVED: dict[int, tuple[Moved, ...]] = {
    2: (
        Moved(
            "optima are polished until the score is rounding noise",
            1e-8,
            (
                "figures.mu",
                "figures.ci_*",
                "figures.se_*",
                "figures.df_satterthwaite",
                "figures.tau2_*",
                "figures.H2*",
                "figures.I2_*",
                "figures.prediction_*",
                "figures.tester_effects.*",
                "figures.leave_one_out.*",
                "findings.moderators.tried*",
                "i2",
                "prediction_*",
            ),
        ),
        Moved(
            "sets of one calibration share the error of its zero",
            0.05,
            (
                "efficiency",
                "interval_*",
                "figures.mu",
                "figures.ci_*",
                "figures.se_*",
                "figures.df_satterthwaite",
                "figures.restricted_loglik",
                "figures.Q",
                "figures.typical_sampling_variance",
            ),
        ),
        Moved(
            "sets of one calibration share the error of its zero, so that testers differ by less",
            1.0,
            (
                "figures.tau2_*",
                "figures.H2*",
                "figures.I2_*",
                "figures.Q_p",
                "figures.tester_effects.*",
                "figures.leave_one_out.*",
                "findings.moderators.tried*",
                "i2",
            ),
        ),
        Moved(
            "for three and four testers the prediction averages over how much testers differ",
            10.0,
            ("figures.prediction_*", "prediction_*", "held_by_nine"),
        ),
        Moved(
            "nine ties in ten hold the lower of what lognormal and Weibull pulls would",
            0.05,
            ("held_by_nine",),
        ),
        Moved(
            "the error of a zero that is little known is shared by the sets of its scale",
            math.inf,
            POOLED,
            where="has_unsure_zeros",
        ),
        Moved(
            "what traces show of zeros and of missed peaks is an error that sets of a scale share",
            math.inf,
            POOLED,
            where="has_traced_errors",
        ),
        Moved(
            "line products are a component of the model where it can tell them",
            math.inf,
            POOLED,
            where="has_several_products",
        ),
        Moved(
            "clubs' rounds are a component of the model where it can tell them",
            math.inf,
            POOLED,
            where="has_several_rounds",
        ),
        Moved(
            "what somebody else tied is not its tester's own",
            math.inf,
            POOLED,
            where="has_other_tyers",
        ),
        Moved(
            "a covariate that is missing in one set leaves out that set, and not the covariate",
            math.inf,
            ("findings.moderators.*",),
            where="lacks_covariates",
        ),
    ),
}
"""By release of the formulae; a test holds it to the kept store of the last release."""

NAMED = ("formulae", "pull_sets", "baselines", "calibrations")
"""The inputs that the id is taken from."""
TRACED = ("zero_of_pulls", "missed_peak")
IMPLIED = (
    "resolution_N",
    "main_line",
    "leader_line",
    "hand",
    "revision",
    "club_round",
    "u_offset_N",
    "gain",
    "scale_resolution_N",
    "capacity_N",
    *TRACED,
)
STRENGTHS = tuple(field.name for field in fields(Members) if field.name not in IMPLIED)
"""The columns of the digest: a resolution shows in the strengths, what is known of a scale in the
uncertainty of its zero, and a set names the others. What traces show is in it where there are
traces."""


def columns() -> tuple[str, ...]:
    """Columns in which a version says something."""
    return (*names(Kept.COLUMN), Kept.FIGURES.value, Kept.FINDINGS.value)


def columns_before() -> tuple[str, ...]:
    """Columns of a version from before it kept which ones it knows: those of the first formulae."""
    later = {name for each in kept_in(Kept.COLUMN) if each.since > 1 for name in each.names}
    return tuple(name for name in columns() if name not in later)


def inputs_of(members: Members, columns: Iterable[str]) -> dict[str, Any]:
    """Ids of the sets of a pool, and of the baseline and the calibration of each (0 for none).

    ``columns`` names what a version says beside it, so that later ones aren't missed in it.
    """
    return {
        "formulae": FORMULAE,
        "pull_sets": members.pull_set.tolist(),
        "baselines": members.baseline.tolist(),
        "calibrations": members.calibration.tolist(),
        "resolutions_N": resolutions_of(members),
        "uncalibrated_N": uncalibrated_of(members),
        "libraries": libraries(),
        "columns": sorted(columns),
    }


def resolutions_of(members: Members) -> dict[str, float]:
    """By set, the resolution used if it was corrected since first entered."""
    corrected = np.isfinite(members.resolution_N)
    ids = members.pull_set[corrected].tolist()
    return dict(zip(map(str, ids), members.resolution_N[corrected].tolist(), strict=True))


def uncalibrated_of(members: Members) -> dict[str, list[float]]:
    """By set on a scale of known capacity without calibration: its resolution and that capacity.

    Both may be corrected later, and the zero is as uncertain as they say.
    """
    known = (members.calibration == 0) & np.isfinite(members.capacity_N)
    ids = members.pull_set[known].tolist()
    columns = (members.scale_resolution_N[known], members.capacity_N[known])
    return dict(zip(map(str, ids), np.column_stack(columns).tolist(), strict=True))


def libraries() -> dict[str, str]:
    """What decides about the last digits beside the formulae."""
    return {"numpy": np.__version__, "scipy": scipy.__version__, "machine": platform.machine()}


def snapshot_id(pool_id: int, inputs: Mapping[str, Any], members: Members) -> str:
    """SHA-256 of the inputs and of each set's figures, as 64 hexadecimal digits."""
    named = {name: inputs[name] for name in NAMED if name in inputs}
    columns = {name: vars(members)[name].tolist() for name in STRENGTHS}
    columns["zero_N"] = members.zero_N.tolist()
    columns |= {name: vars(members)[name].tolist() for name in TRACED if vars(members)[name].any()}
    document = json.dumps({"pool": pool_id, **named, "columns": columns}, sort_keys=True)
    return hashlib.sha256(document.encode()).hexdigest()


def snapshot_of_all(snapshots: list[tuple[int, int, str]]) -> str:
    """The id of several pools together, each as (pool, version, snapshot)."""
    return hashlib.sha256(json.dumps(sorted(snapshots)).encode()).hexdigest()
