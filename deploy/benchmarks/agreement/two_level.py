"""Ours for two-level pooling and for log ratios of means."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.stats import chi2

from deploy.benchmarks.agreement.two_level_pool import (
    Method,
    TwoLevel,
    cochran_q,
    leave_one_out,
    pool_two_level,
    q_profile,
    typical_sampling_variance,
)
from results.statistics.ratio import corrected_log_ratio, log_ratio, relative_variance

METHODS: tuple[Method, ...] = ("DL", "PM", "REML", "ML")
Named = dict[str, Any]


def two_level(data: Named, _expected: Named) -> Named:
    """Normal intervals by each method, Knapp-Hartung for REML, Q, Q-profile, leave-one-out."""
    y, v = data["yi"], data["vi"]
    normal: dict[str, TwoLevel] = {
        method: pool_two_level(y, v, method, "normal") for method in METHODS
    }
    adjusted = pool_two_level(y, v, "REML")
    low, high = adjusted.prediction_interval(adjusted.df)
    return {
        **{method: _scatter(found) | _interval(found) for method, found in normal.items()},
        "REML_knapp_hartung": _interval(adjusted)
        | {"prediction_interval": [low, high], "prediction_interval_df": adjusted.df},
        **_heterogeneity(y, v),
    }


def two_level_methods(data: Named, _expected: Named) -> Named:
    """The same with every interval by every method, and cumulative pools where years are given."""
    y, v = data["yi"], data["vi"]
    common = 1 / np.asarray(v)
    by_method: Named = {method: _by_method(y, v, method) for method in METHODS}
    found: Named = {
        "k": len(y),
        **by_method,
        **_heterogeneity(y, v),
        "common_effect": {
            "mu": float(common @ np.asarray(y) / common.sum()),
            "se": float(common.sum() ** -0.5),
        },
    }
    if "year" in data:
        found["cumulative_REML_knapp_hartung"] = _cumulative(y, v, data["year"])
    return found


def ratio_of_means(data: Named, _expected: Named) -> Named:
    """y and its variance, plain and corrected; the plain ones pooled in two levels."""
    join, baseline = (
        relative_variance(
            np.asarray(data[f"sd{arm}"]) / np.asarray(data[f"mean{arm}"]), data[f"n{arm}"]
        )
        for arm in (1, 2)
    )
    plain = log_ratio(data["mean1"], data["mean2"], join, baseline)
    corrected = corrected_log_ratio(data["mean1"], data["mean2"], join, baseline)
    variance = plain.own_variance + plain.shared_variance
    return {
        "log_ratio": plain.y.tolist(),
        "variance": variance.tolist(),
        "log_ratio_small_sample": corrected.y.tolist(),
        "variance_small_sample": (corrected.own_variance + corrected.shared_variance).tolist(),
        "pooled": two_level_methods({"yi": plain.y, "vi": variance}, {}),
    }


def _by_method(y: Any, v: Any, method: Any) -> Named:
    normal, adjusted = (
        pool_two_level(y, v, method, adjustment) for adjustment in ("normal", "knapp-hartung")
    )
    k = len(y)
    return {
        **_scatter(normal),
        "mu": normal.mu,
        "normal": _interval(normal),
        "knapp_hartung": _interval(adjusted),
        "prediction_interval": {
            "model_se_t_k_minus_2": normal.prediction_interval(k - 2),
            "model_se_normal": normal.prediction_interval(np.inf),
            "knapp_hartung_se_t_k_minus_2": adjusted.prediction_interval(k - 2),
            "knapp_hartung_se_t_k_minus_1": adjusted.prediction_interval(k - 1),
        },
    }


def _scatter(found: TwoLevel) -> Named:
    return {"tau2": found.tau2, "I2_percent": 100 * found.I2, "H2": found.H2}


def _interval(found: TwoLevel) -> Named:
    ends = [found.ci_low, found.ci_high]
    return {"mu": found.mu, "se": found.se, "ci": ends, "df": found.df}


def _heterogeneity(y: Any, v: Any) -> Named:
    q, df, ends = cochran_q(y, v), len(y) - 1, q_profile(y, v)
    without = leave_one_out(y, v)
    rest = ~np.eye(len(y), dtype=bool)
    values, variances = np.asarray(y), np.asarray(v)
    return {
        "Q": {"Q": q, "df": df, "p": float(chi2.sf(q, df))},
        "typical_sampling_variance": typical_sampling_variance(v),
        "I2_from_Q_percent": 100 * max(0.0, (q - df) / q),
        "Q_profile_95": {
            "tau2": ends.tau2,
            "I2_percent": [100 * end for end in ends.I2],
            "H2": ends.H2,
        },
        "leave_one_out_REML_knapp_hartung": {
            "mu": [one.mu for one in without],
            "se": [one.se for one in without],
            "tau2": [one.tau2 for one in without],
            "I2_percent": [100 * one.I2 for one in without],
            "Q": [cochran_q(values[kept], variances[kept]) for kept in rest],
        },
    }


def _cumulative(y: Any, v: Any, year: Any) -> Named:
    order = np.argsort(year, kind="stable")
    values, variances = np.asarray(y)[order], np.asarray(v)[order]
    steps = [pool_two_level(values[:n], variances[:n]) for n in range(2, order.size + 1)]
    return {
        "order": (order + 1).tolist(),
        "first_row_has": 2,
        "mu": [step.mu for step in steps],
        "se": [step.se for step in steps],
        "tau2": [step.tau2 for step in steps],
    }
