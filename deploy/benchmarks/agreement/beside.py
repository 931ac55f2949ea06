"""Ours of what files of any kind may expect beside their pool: see `series` and covariates."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.stats import chi2
from scipy.stats import t as student_t

from deploy.benchmarks.agreement import three_level
from deploy.benchmarks.agreement.series import asks_for_covariates, covariates_of, series
from deploy.benchmarks.agreement.two_level import METHODS
from deploy.benchmarks.agreement.two_level_pool import (
    Adjustment,
    Method,
    cochran_q,
    pool_two_level,
)
from results.statistics.heterogeneity import homogeneity

Named = dict[str, Any]
CR_FORMS = ("CR0", "CR1", "CR2", "CR3")


def beside(data: Named, expected: Named) -> Named:
    """Cumulative pools, pools without one, and pools on covariates, of values yi with vi.

    Where rows stand in clusters, three levels are pooled and whole clusters come and go.
    """
    if "yi" not in data or not isinstance(expected, dict):
        return {}
    cluster = next((data[name] for name in three_level.CLUSTERS if name in data), None)
    clustered = cluster is not None and len(set(cluster)) < len(cluster)
    units = cluster if cluster is not None and clustered else list(range(len(data["yi"])))
    pooled = _three_levels if clustered else _two_levels
    return {
        **series(data, expected, units, lambda rows, method: pooled(_some(data, rows), method)),
        **{
            name: _on_covariates(data, name, asked, clustered and "two_level" not in name)
            for name, asked in expected.items()
            if asks_for_covariates(name) and isinstance(asked, dict)
        },
    }


def _some(data: Named, rows: Any) -> Named:
    k = len(data["yi"])
    return {
        name: [column[row] for row in rows]
        if isinstance(column, list) and len(column) == k
        else column
        for name, column in data.items()
    }


def _two_levels(data: Named, named: str) -> Named:
    y, v = np.asarray(data["yi"], float), np.asarray(data["vi"], float)
    method: Method = next((each for each in METHODS if named.startswith(each)), "REML")
    adjustment: Adjustment = "knapp-hartung" if "knapp_hartung" in named else "normal"
    if y.size == 1:
        return {"mu": float(y[0]), "se": float(v[0] ** 0.5), "tau2": 0.0, "Q": 0.0}
    pool, q = pool_two_level(y, v, method, adjustment), cochran_q(y, v)
    return {
        "k": y.size,
        "mu": pool.mu,
        "se": pool.se,
        "ci": [pool.ci_low, pool.ci_high],
        "df": pool.df,
        "tau2": pool.tau2,
        "I2_percent": 100 * pool.I2,
        "H2": pool.H2,
        "Q": q,
        "Q_p": float(chi2.sf(q, y.size - 1)),
    }


def _three_levels(data: Named, _named: str) -> Named:
    model = three_level.model_of(data)
    best = three_level.best_of(model, three_level.THREE_LEVELS)
    common = homogeneity(model)
    se = float(best.likelihood.covariance[0, 0] ** 0.5)
    robust = three_level.robust(model, best, "CR2")
    return {
        "k": model.sets,
        "mu": float(best.likelihood.beta[0]),
        "se": se,
        "se_model": se,
        "CR2_se": robust["se"],
        "satterthwaite_df": robust["satterthwaite_df"],
        **three_level.by_level("sigma2_", best.theta.tolist()),
        "restricted_loglik": best.likelihood.value,
        "Q": common.Q,
        "Q_df": common.df,
    }


def _on_covariates(data: Named, name: str, asked: Named, clustered: bool) -> Named:
    """Restricted likelihood on an intercept and covariates, in the order of the data."""
    columns = covariates_of(data, name, asked)
    levels = np.array([clustered, False, True])
    model = three_level.model_of(data, list(columns.values()))
    best = three_level.best_of(model, levels)
    without = three_level.best_of(three_level.model_of(data), levels)
    likelihood, common = best.likelihood, homogeneity(model)
    k, p = model.sets, likelihood.beta.size
    square = likelihood.misfit / (k - p)
    se = np.sqrt(np.diag(likelihood.covariance) * square)
    t = student_t.ppf(0.975, k - p)
    coefficients = three_level.coefficients(best)
    qm = coefficients["QM"]
    left = 1 - best.theta.sum() / without.theta.sum() if without.theta.sum() > 0 else 0.0
    found = {
        **coefficients,
        **three_level.by_level("sigma2_", best.theta.tolist()),
        "mu": likelihood.beta.tolist(),
        "se": coefficients["se_model"],
        "restricted_loglik": likelihood.value,
        "QE": common.Q,
        "QE_df": common.df,
        "QE_p": float(chi2.sf(common.Q, common.df)),
        "QM_df": p - 1,
        "QM_p": None if qm is None else float(chi2.sf(qm, p - 1)),
        "R2_percent": 100 * max(0.0, float(left)),
        "knapp_hartung": {
            "se": se.tolist(),
            "df": k - p,
            "p": (2 * student_t.sf(np.abs(likelihood.beta / se), k - p)).tolist(),
            "ci": np.column_stack((likelihood.beta - t * se, likelihood.beta + t * se)).tolist(),
        },
        **{form: three_level.robust(model, best, form) for form in CR_FORMS},
    }
    for place, column in enumerate(("intercept", *columns)):
        one = {
            "estimate": float(likelihood.beta[place]),
            "coefficient": float(likelihood.beta[place]),
            "se": coefficients["se_model"][place],
            "se_knapp_hartung": float(se[place]),
        }
        found[column] = one if isinstance(asked.get(column), dict) else one["estimate"]
    return found
