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
    """Every interval by each method, Q, Q-profile, and the common effect."""
    y, v = np.asarray(data["yi"]), np.asarray(data["vi"])
    found: Named = {"k": y.size}
    for method in METHODS:
        adjusted = pool_two_level(y, v, method)
        ahead = adjusted.prediction_interval(adjusted.df)
        found[method] = _by_method(y, v, method)
        found[f"{method}_knapp_hartung"] = {
            **_scatter(adjusted),
            **_interval(adjusted),
            "prediction_interval": ahead,
            "prediction_interval_df": adjusted.df,
        }
    common = float((1 / v).sum())
    return {
        **found,
        **_heterogeneity(y, v),
        "common_effect": {"mu": float((y / v).sum() / common), "se": common**-0.5},
    }


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
        "pooled": two_level({"yi": plain.y, "vi": variance}, {}),
    }


def _by_method(y: Any, v: Any, method: Any) -> Named:
    normal, adjusted = (
        pool_two_level(y, v, method, adjustment) for adjustment in ("normal", "knapp-hartung")
    )
    k = len(y)
    return {
        **_scatter(normal),
        **_interval(normal),
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
            "Q": [cochran_q(y[kept], v[kept]) for kept in rest],
        },
    }
