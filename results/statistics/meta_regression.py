"""Meta-regression: how turns, line size ratio, rate and the like affect a pool's efficiency.

Within one pool: y = X beta + tester + session + set + e by restricted likelihood,
the coefficients' intervals by CR2 with Satterthwaite degrees of freedom, testers as clusters
(Tipton 2015, Psychological Methods 20:375-393; Pustejovsky & Tipton 2018). All covariates tried
stand in one model and are reported together, their p values adjusted by Holm's method; at most
one for every ten sets (Borenstein et al. 2009, Introduction to Meta-Analysis, chapter 20).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student_t

from results.statistics.cluster_robust import cluster_robust
from results.statistics.components import likelihood_at, maximise
from results.statistics.errors import (
    Collinear,
    NotFinite,
    ShapeMismatch,
    TooFewSets,
    TooManyCovariates,
)
from results.statistics.heterogeneity import homogeneity
from results.statistics.multiplicity import holm
from results.statistics.nesting import identifiable
from results.statistics.pool_fit import nested_errors
from results.statistics.quantiles import t_quantile

Floats = NDArray[np.float64]

SETS_PER_COVARIATE = 10
RESTS_ON_ONE = "it rests on the sets of one tester alone, so nothing says how sure it is"


@dataclass(frozen=True)
class Covariate:
    """Change of y (log efficiency) for one unit more; 95 percent interval; p plain and by Holm."""

    name: str
    coefficient: float
    se: float
    df: float
    ci_low: float
    ci_high: float
    p: float
    p_adjusted: float


@dataclass(frozen=True)
class MetaRegression:
    """A pool with covariates: `mu` is y where every covariate is at its mean (`centre`).

    tau2 of each level is what the covariates leave; QE on `QE_df` tests what is left.
    `not_estimable` says of a covariate whose coefficient has no robust error why; 'mu' is that of
    the mean, whose error is then not a number.
    """

    mu: float
    se: float
    df: float
    covariates: tuple[Covariate, ...]
    centre: dict[str, float]
    tau2_tester: float
    tau2_session: float
    tau2_set: float
    restricted_loglik: float
    QE: float
    QE_df: int
    QE_p: float
    not_estimable: dict[str, str]


def fit_meta_regression(
    y: ArrayLike,
    own_variance: ArrayLike,
    shared_variance: ArrayLike,
    tester: ArrayLike,
    session: ArrayLike,
    baseline: ArrayLike,
    covariates: Mapping[str, ArrayLike],
    *,
    zero: ArrayLike = 0.0,
    scale: ArrayLike = 0,
) -> MetaRegression:
    """Fit all `covariates` (name to values (k,)) at once; the other arguments as for `pool`.

    Raises what `pool` raises, and TooFewSets (none can be carried), TooManyCovariates,
    Collinear, NotFinite, ShapeMismatch.
    """
    model, centre = nested_errors(
        y, own_variance, shared_variance, tester, session, baseline, zero=zero, scale=scale
    )
    named = _checked(covariates, model.sets)
    means = {name: float(values.mean()) for name, values in named.items()}
    spread = {name: float(values.std()) for name, values in named.items()}
    scaled = [(values - means[name]) / spread[name] for name, values in named.items()]
    model = replace(
        model, columns=np.column_stack((model.columns[:, 0], *scaled, model.columns[:, -1]))
    )
    if np.linalg.matrix_rank(model.design) < model.design.shape[1]:
        raise Collinear(f"{', '.join(named)}: one of them can be written by the others")
    fitted = identifiable(model.nesting)
    start = float(np.var(model.columns[:, -1])) / fitted.sum()
    best = maximise(likelihood_at(model), np.where(fitted, start, 0.0), fitted)
    beta = best.likelihood.beta
    robust = cluster_robust(
        model.blocks(best.theta),
        model.design,
        model.columns[:, -1] - model.design @ beta,
        best.likelihood.covariance,
    )
    left = homogeneity(model)
    se, df = robust.standard_error, robust.degrees_of_freedom
    answer = np.asarray((se > 0) & np.isfinite(t_quantile(0.975, df) * se))
    names = zip(("mu", *named), answer, strict=True)
    unsure = {name: RESTS_ON_ONE for name, estimated in names if not estimated}
    return MetaRegression(
        mu=centre + float(beta[0]),
        se=float(np.where(answer, se, np.nan)[0]),
        df=float(np.where(answer, df, np.nan)[0]),
        covariates=_report(
            {name: spread[name] for name in spread if name not in unsure},
            *(column[1:][answer[1:]] for column in (beta, se, df)),
        ),
        centre=means,
        tau2_tester=float(best.theta[0]),
        tau2_session=float(best.theta[1]),
        tau2_set=float(best.theta[2]),
        restricted_loglik=best.likelihood.value,
        QE=left.Q,
        QE_df=left.df,
        QE_p=left.p,
        not_estimable=unsure,
    )


def _checked(covariates: Mapping[str, ArrayLike], sets: int) -> dict[str, Floats]:
    allowed = sets // SETS_PER_COVARIATE
    if not allowed:
        raise TooFewSets(f"a covariate needs {SETS_PER_COVARIATE} sets; there are {sets}")
    if len(covariates) > allowed:
        raise TooManyCovariates(f"{len(covariates)} covariates; {sets} sets carry {allowed}")
    named = {name: np.asarray(values, dtype=np.float64) for name, values in covariates.items()}
    for name, values in named.items():
        if values.shape != (sets,):
            raise ShapeMismatch(f"covariate {name} has {values.size} values for {sets} sets")
        if not np.isfinite(values).all():
            raise NotFinite(f"covariate {name} is missing for a set")
        if np.ptp(values) == 0:
            raise Collinear(f"covariate {name} is the same for all sets")
    return named


def _report(
    spread: Mapping[str, float], beta: Floats, se: Floats, df: Floats
) -> tuple[Covariate, ...]:
    p = np.asarray(2 * student_t.sf(np.abs(beta / se), df))
    reach = np.asarray(t_quantile(0.975, df) * se)
    columns = zip(spread.items(), beta, se, df, reach, p, holm(p), strict=True)
    return tuple(
        Covariate(
            name=name,
            coefficient=float(b / unit),
            se=float(error / unit),
            df=float(freedom),
            ci_low=float((b - half) / unit),
            ci_high=float((b + half) / unit),
            p=float(plain),
            p_adjusted=float(adjusted),
        )
        for (name, unit), b, error, freedom, half, plain, adjusted in columns
    )
