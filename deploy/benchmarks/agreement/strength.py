"""Ours for censored strengths, precision, outliers, tolerance, calibration and units."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from scipy.stats import norm

from results.statistics.censored import fit
from results.statistics.censored_newton import Family
from results.statistics.censored_profile import CHI_SQUARE_95, profile_end, quantile_shift
from results.statistics.outliers import cochran, cochran_critical, grubbs, grubbs_critical
from results.statistics.precision import h_critical, k_critical, precision
from results.statistics.tolerance import nested_lower_bound, one_sided_factor
from rigs.metrology.calibration import calibration_line
from rigs.metrology.gravity import local_gravity
from rigs.metrology.units import force_newtons

Named = dict[str, Any]

FAMILIES: dict[str, Family] = {
    "weibull": "weibull",
    "gaussian": "normal",
    "lognormal": "lognormal",
}


def right_censored(data: Named, expected: Named) -> Named:
    """Weibull, normal and lognormal maximum likelihood, Wald and profile intervals, quantiles."""
    return {
        name: _family(data, FAMILIES[name], asked)
        for name, asked in expected.items()
        if name in FAMILIES
    }


def _family(data: Named, family: Family, asked: Named) -> Named:
    found = fit(data["value"], data["failed"], family)
    se = np.sqrt(np.diag(found.covariance))
    reach = norm.ppf(0.975) * se[0]
    answer = {
        "intercept": found.location,
        "scale": found.scale,
        "loglik": found.loglik,
        "se_intercept": float(se[0]),
        "se_log_scale": float(se[1]),
        "cov_intercept_log_scale": float(found.covariance[0, 1]),
        "wald_95_intercept": [float(found.location - reach), float(found.location + reach)],
        "profile_95_intercept": [profile_end(found, 0.0, CHI_SQUARE_95, way) for way in (-1, 1)],
    }
    if family == "weibull":
        answer["weibull_shape"] = 1 / found.scale
        answer["weibull_scale"] = float(np.exp(found.location))
    for name in asked:
        if quantile := re.fullmatch(r"quantile_([0-9.]+)", name):
            point = found.location + found.scale * quantile_shift(family, float(quantile.group(1)))
            answer[name] = point if family == "normal" else float(np.exp(point))
    return answer


def interlaboratory(data: Named, expected: Named) -> Named:
    """Repeatability, reproducibility, h and k by material."""
    material, value = np.asarray(data["material"]), np.asarray(data["value"], dtype=float)
    laboratory = np.asarray(data["laboratory"])
    return {
        name: _material(value[material == name], laboratory[material == name], asked)
        for name, asked in expected.items()
        if name in data["material"]
    }


def _material(value: Any, laboratory: Any, asked: Named) -> Named:
    found = precision(value, laboratory)
    answer: Named = {
        "mean": found.mean,
        "sd_of_cell_averages": found.sd_of_averages,
        "repeatability_sd": found.repeatability_sd,
        "reproducibility_sd": found.reproducibility_sd,
        "h": dict(zip(found.testers, found.h.tolist(), strict=True)),
        "k": dict(zip(found.testers, found.k.tolist(), strict=True)),
        "cochran_C": cochran(found.sds).statistic,
    }
    for name in asked:
        if critical := re.fullmatch(r"([hk])_critical_([0-9.]+)_percent", name):
            alpha = float(critical.group(2)) / 100
            answer[name] = (
                h_critical(len(found.testers), alpha)
                if critical.group(1) == "h"
                else float(k_critical(found.sizes, alpha)[0])
            )
    return answer


def consistency_tests(document: Named, _expected: Named) -> Named:
    """Grubbs' and Cochran's tests and one-sided tolerance factors, each beside its argument."""
    values = document["grubbs"]["values"]
    return {
        "grubbs": {
            "values": values,
            "G": grubbs(values).statistic,
            **{
                f"critical_{percent}_percent_{sides}_sided": grubbs_critical(
                    len(values), factor * percent / 100
                )
                for percent in (1, 5)
                for sides, factor in (("one", 2), ("two", 1))
            },
        },
        "cochran_critical": [
            row
            | {
                f"{percent}_percent": cochran_critical(
                    row["laboratories"], row["replicates"], percent / 100
                )
                for percent in (1, 5)
            }
            for row in document["cochran_critical"]
        ],
        "one_sided_tolerance_factor": [
            row | {"k": one_sided_factor(row["n"], row["coverage"], row["confidence"])}
            for row in document["one_sided_tolerance_factor"]
        ],
    }


def nested_tolerance(data: Named, expected: Named) -> Named:
    """Lower bound for a new pull when batches differ, at each coverage and confidence named."""
    found = {}
    for name in expected:
        named = re.fullmatch(r"coverage_([0-9.]+)_confidence_([0-9.]+)", name)
        if named is None:
            continue
        coverage, confidence = (float(part) for part in named.groups())
        bound = nested_lower_bound(data["value"], data["batch"], coverage, confidence)
        n, k = len(data["value"]), len(set(data["batch"]))
        u = max(1.0, bound.mean_square_between / bound.mean_square_within)
        found[name] = {
            "n": n,
            "k": k,
            "mean": bound.mean,
            "MSB": bound.mean_square_between,
            "MSE": bound.mean_square_within,
            "n_prime": bound.n_prime,
            "S": bound.sd,
            "k0": one_sided_factor(n, coverage, confidence),
            "k1": one_sided_factor(k, coverage, confidence),
            "w": float(np.sqrt(u / (u + bound.n_prime - 1))),
            "T": bound.factor,
            "bound": bound.bound,
        }
    return found


def calibration(data: Named, expected: Named) -> Named:
    """Straight line of the second column on the first, measured from the reference given."""
    x, y = (np.asarray(column) for column in data.values() if isinstance(column, list))
    reference = next((value for value in data.values() if not isinstance(value, list)), 0.0)
    line = calibration_line(x - reference, y)
    answer: Named = {
        "intercept": line.offset_N,
        "u_intercept": line.u_offset_N,
        "slope": line.gain,
        "u_slope": line.u_gain,
        "correlation": line.correlation,
        "residual_sd": line.residual_sd_N,
    }
    for name in expected:
        if at := re.fullmatch(r"(?!u_).+_at_([0-9.]+).*", name):
            above = float(at.group(1)) - reference
            covariance = line.correlation * line.u_gain * line.u_offset_N
            answer[name] = line.offset_N + line.gain * above
            answer[f"u_{name}"] = float(
                np.sqrt(line.u_offset_N**2 + (above * line.u_gain) ** 2 + 2 * above * covariance)
            )
    return answer


def units(_data: Named, expected: Named) -> Named:
    """Newtons in other units of force, and gravity by latitude."""
    answer: Named = {
        name: force_newtons(1.0, name.removesuffix("_in_N"))
        for name in expected
        if name.endswith("_in_N")
    }
    answer["gravity_m_s2"] = {
        name: local_gravity(float(name.removeprefix("latitude_")))
        for name in expected.get("gravity_m_s2", {})
    }
    return answer


def trade_practice(_data: Named, _expected: Named) -> Named:
    """Rules of thumb, nothing computed."""
    return {}
