"""What affects the efficiency within a pool: how sets were tied, when, and how they were loaded."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from results.pools.circumstances import Circumstances
from results.pools.estimate import Outcome
from results.pools.pool_data import Members
from results.statistics.errors import Collinear, StatisticsError
from results.statistics.meta_regression import (
    SETS_PER_COVARIATE,
    MetaRegression,
    fit_meta_regression,
)
from results.statistics.pool_fit import LEAST_TESTERS

DATE, RATE = "date, years", "loading rate, doublings"
LEAST_RECORDED = 0.5
"""Share of the sets in which a covariate has to be recorded; a rarer one would leave out too many
sets of the others."""

Values: TypeAlias = dict[str, NDArray[np.float64]]


def meta_regression(
    members: Members,
    outcome: Outcome,
    of_ties: Sequence[Mapping[str, float]],
    circumstances: Circumstances | None,
) -> dict[str, Any]:
    """Fit all eligible covariates at once, and say why the others were left out.

    ``of_ties`` are the covariates of each set's tie. Sets in which one is not recorded are left
    out; ``sets`` then says how many are in.
    """
    if outcome.pooled is None or outcome.ratios is None:
        return {"tried": [], "left_out": {}}
    values = _of_ties(of_ties) | _of_circumstances(members, circumstances)
    tried, rows, left_out = _candidates(values, members)
    ratios, tyers = outcome.ratios, members.tyers
    while tried:
        try:
            found = fit_meta_regression(
                ratios.y[rows],
                ratios.own_variance[rows],
                ratios.shared_variance[rows],
                tyers.tyer[rows],
                tyers.session[rows],
                tyers.baseline[rows],
                {name: values[name][rows] for name in tried},
                zero=members.errors[rows],
                scale=tyers.scale[rows],
            )
        except Collinear as error:
            left_out[tried.pop()] = str(error)
        except StatisticsError as error:
            return {"tried": [], "left_out": left_out | dict.fromkeys(tried, str(error))}
        else:
            unsure = {name: why for name, why in found.not_estimable.items() if name in tried}
            counted = {} if rows.all() else {"sets": int(rows.sum())}
            return {"tried": _as_columns(found), "left_out": left_out | unsure} | counted
    return {"tried": [], "left_out": left_out}


def _of_ties(of_sets: Sequence[Mapping[str, float]]) -> Values:
    """By name one value a set, not a number where it isn't recorded; what most have first."""
    recorded = Counter(name for properties in of_sets for name in properties)
    return {
        name: np.array([properties.get(name, np.nan) for properties in of_sets])
        for name in sorted(recorded, key=lambda name: (-recorded[name], name))
    }


def _of_circumstances(members: Members, circumstances: Circumstances | None) -> Values:
    """Date, loading rate, and yes or no for each way of loading and of reading but the usual.

    Those that differ between sets; a rate in twice the newtons a second is one more.
    """
    if circumstances is None:
        return {}
    rate = [
        math.log2(mean / seconds) if seconds else math.nan
        for mean, seconds in zip(
            members.mean_N.tolist(), circumstances.time_to_break_s, strict=True
        )
    ]
    found = {DATE: np.array(circumstances.years), RATE: np.array(rate)}
    for said, words in (
        ("load generation", circumstances.load_generation),
        ("peak capture", circumstances.peak_capture),
    ):
        for other in [word for word, _ in Counter(filter(None, words)).most_common()][1:]:
            found[f"{said}: {other}"] = np.array(
                [float(word == other) if word else np.nan for word in words]
            )
    return {
        name: values
        for name, values in found.items()
        if np.unique(values[np.isfinite(values)]).size > 1
    }


def _candidates(
    values: Values, members: Members
) -> tuple[list[str], NDArray[np.bool_], dict[str, str]]:
    """Covariates that differ between sets, as many as these support; and the sets that have all."""
    tried: list[str] = []
    rows = np.ones(len(members), dtype=bool)
    left_out = {}
    for name, column in values.items():
        recorded = np.isfinite(column)
        together = rows & recorded
        if _too_few(recorded, together, [values[each] for each in tried], members):
            left_out[name] = f"told of {recorded.sum()} of {len(members)} sets"
        elif np.ptp(column[together]) == 0:
            left_out[name] = "the same in all sets"
        elif (len(tried) + 1) * SETS_PER_COVARIATE > together.sum():
            left_out[name] = f"{together.sum()} sets carry {together.sum() // SETS_PER_COVARIATE}"
        else:
            tried.append(name)
            rows = together
    return tried, rows, left_out


def _too_few(
    recorded: NDArray[np.bool_],
    together: NDArray[np.bool_],
    before: Sequence[NDArray[np.float64]],
    members: Members,
) -> bool:
    """Whether the sets that have a covariate are too few to leave out the others."""
    if recorded.all():
        return False
    return bool(
        recorded.mean() < LEAST_RECORDED
        or np.unique(members.tester[together]).size < LEAST_TESTERS
        or any(np.ptp(values[together]) == 0 for values in before)
    )


def _as_columns(found: MetaRegression) -> list[dict[str, Any]]:
    return [asdict(each) | {"mean": found.centre[each.name]} for each in found.covariates]
