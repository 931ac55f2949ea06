"""Ours for pooling in three and four levels, robust variances and networks."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from scipy.stats import t as student_t

from deploy.benchmarks.agreement.dense_errors import dense_errors
from deploy.benchmarks.agreement.two_level import ratio_of_means, two_level
from results.statistics.block_sums import SESSION, SET, TESTER, ErrorModel
from results.statistics.cluster_robust import cluster_robust
from results.statistics.components import Maximum, given, likelihood_at, maximise, search
from results.statistics.contrasts import Contrasts
from results.statistics.heterogeneity import homogeneity, share
from results.statistics.linear import solved
from results.statistics.nested_errors import NestedErrors
from results.statistics.nesting import nest
from results.statistics.network import network
from results.statistics.profile import profile_high, profile_low

Named = dict[str, Any]
Floats = NDArray[np.float64]

THREE_LEVELS = np.array([True, False, True])
FOUR_LEVELS = np.array([True, True, True])
CLUSTERS = ("tester", "cluster", "paper", "study")


def three_level(data: Named, _expected: Named) -> Named:
    """Clusters and rows with independent errors."""
    y, v = np.asarray(data["yi"]), np.asarray(data["vi"])
    return _components(_nested(y, v, np.zeros_like(v), _cluster(data)), THREE_LEVELS)


def ratio_of_means_shared(data: Named, expected: Named) -> Named:
    """Log ratios of papers whose rows share a control, pooled without and with its covariance."""
    found = ratio_of_means(data, expected)
    own, shared = (
        np.square(np.asarray(data[f"sd{arm}"]) / np.asarray(data[f"mean{arm}"]))
        / np.asarray(data[f"n{arm}"])
        for arm in (1, 2)
    )
    y, paper = np.asarray(found["log_ratio"]), _cluster(data)
    sizes = np.unique(paper, return_counts=True)[1]
    return {
        **found,
        "pairs_sharing_a_control": int((sizes * (sizes - 1) // 2).sum()),
        "two_level_independent": two_level({"yi": y, "vi": own + shared}, {}),
        "three_level_independent": _components(
            _nested(y, own + shared, np.zeros_like(own), paper), THREE_LEVELS
        ),
        "three_level_shared_control": _components(_nested(y, own, shared, paper), THREE_LEVELS),
    }


def three_level_covariance(data: Named, expected: Named) -> Named:
    """Each named structure: independent, correlated_R, shared_baseline, three_ and four_level."""
    return {name: _structure(name, data, _cluster(data)) for name in expected}


def cluster_robust_forms(data: Named, expected: Named) -> Named:
    """CR0 to CR3 with two levels, three levels and one covariate."""
    y, v, cluster = np.asarray(data["yi"]), np.asarray(data["vi"]), _cluster(data)
    covariates = [
        values for name, values in data.items() if name not in (*CLUSTERS, "yi", "vi", "effect")
    ]
    found = {}
    for name in expected:
        extra = covariates if "moderator" in name else []
        levels = np.array([not name.startswith("two_level"), False, True])
        model = _nested(y, v, np.zeros_like(v), cluster, extra)
        best = best_of(model, levels)
        found[name] = coefficients(best) | {
            form: robust(model, best, form) for form in ("CR0", "CR1", "CR2", "CR3")
        }
    return found


def multi_arm(data: Named, expected: Named) -> Named:
    """A network of contrasts that share arms."""
    study = np.asarray(_cluster(data))
    contrasts = Contrasts(
        np.asarray(data["yi"]),
        np.asarray(data["own_variance"]),
        np.asarray(data["shared_baseline_variance"]),
        np.asarray(data["treatment"]),
        np.asarray(data["base"]),
        study,
        study,
    )
    found = network(contrasts, expected["contrasts_against"])
    place = [found.joins.index(name) for name in expected["treatments"]]
    common = [found.joins.index(name) - 1 for name in expected["treatments"]]
    return {
        "tau2": found.tau2,
        "estimate": found.estimate[place].tolist(),
        "se": np.sqrt(np.diag(found.covariance)[place]).tolist(),
        "covariance": found.covariance[np.ix_(place, place)].tolist(),
        "restricted_loglik": found.restricted_loglik,
        "QE": found.common.Q,
        "QE_df": found.common.df,
        "common_effect_estimate": found.common.beta[common].tolist(),
        "common_effect_se": np.sqrt(np.diag(found.common.covariance)[common]).tolist(),
    }


def _cluster(data: Named) -> Any:
    found = next((name for name in CLUSTERS if name in data), CLUSTERS[0])
    return data[found]


def _structure(name: str, data: Named, cluster: Any) -> Named:
    y = np.asarray(data["yi"])
    if correlated := re.fullmatch(r"correlated_([0-9.]+)", name):
        return _components(_correlated(data, cluster, float(correlated.group(1))), THREE_LEVELS)
    if "own_variance" in data:
        own = np.asarray(data["own_variance"])
        shared = np.asarray(data["shared_baseline_variance"])
    else:
        shared = np.asarray(data["shared_baseline_covariance"])
        shared = np.zeros_like(shared) if name == "independent" else shared
        own = np.asarray(data["vi"]) - shared
    levels = FOUR_LEVELS if name == "four_level" else THREE_LEVELS
    return _components(_nested(y, own, shared, cluster, session=data.get("session")), levels)


def _nested(
    y: Floats,
    own: Floats,
    shared: Floats,
    cluster: Any,
    covariates: Any = (),
    session: Any = None,
) -> NestedErrors:
    sessions = cluster if session is None else session
    nesting = nest(cluster, sessions, sessions)
    of_baseline = np.empty(nesting.session_of_baseline.size)
    of_baseline[nesting.baseline_of_set] = shared
    columns = np.column_stack((np.ones(y.size), *covariates, y))
    return NestedErrors(nesting, own, of_baseline, columns)


def model_of(data: Named, covariates: Any = ()) -> NestedErrors:
    """Values yi with variances vi, or own and shared ones, in clusters if the data name any."""
    y = np.asarray(data["yi"], dtype=np.float64)
    own = np.asarray(data.get("own_variance", data.get("vi")), dtype=np.float64)
    shared = data.get("shared_baseline_variance", np.zeros_like(own))
    name = next((name for name in CLUSTERS if name in data), None)
    cluster = np.arange(y.size) if name is None else data[name]
    return _nested(
        y, own, np.asarray(shared), np.unique(cluster, return_inverse=True)[1], covariates
    )


def _correlated(data: Named, cluster: Any, correlation: float) -> ErrorModel:
    codes, sd = np.asarray(cluster), np.sqrt(np.asarray(data["vi"]))
    blocks = []
    for code in np.unique(codes):
        mine = sd[codes == code]
        block = correlation * np.outer(mine, mine)
        np.fill_diagonal(block, mine**2)
        blocks.append(block)
    columns = np.column_stack((np.ones(sd.size), data["yi"]))
    return dense_errors(columns, codes, codes, blocks)


def best_of(model: ErrorModel, levels: NDArray[np.bool_]) -> Maximum:
    start = np.var(_y(model)) / levels.sum()
    return maximise(likelihood_at(model), np.where(levels, start, 0.0), levels)


def _ends(
    model: ErrorModel, best: Maximum, levels: NDArray[np.bool_], level: int, scale: float
) -> list[float]:
    ends = search(
        likelihood_at(model),
        profile_low(best, levels, level),
        profile_high(best, levels, level, scale),
    )
    return [given(end) for end in ends]


def _y(model: Any) -> Floats:
    return np.asarray(model.columns[:, -1])


def _components(model: ErrorModel, levels: NDArray[np.bool_]) -> Named:
    best, common = best_of(model, levels), homogeneity(model)
    mu, se = float(best.likelihood.beta[0]), float(best.likelihood.covariance[0, 0] ** 0.5)
    total, typical = float(best.theta.sum()), common.typical_sampling_variance
    clusters = sum(rows.shape[0] for rows, _ in model.blocks(best.theta))
    percent = [100 * share(float(part), total, typical) for part in best.theta]
    ends = [
        _ends(model, best, levels, level, typical) if fitted else None
        for level, fitted in enumerate(levels)
    ]
    ahead = float(np.hypot(se, total**0.5))
    quantiles = {
        "t_clusters_minus_2": float(student_t.ppf(0.975, clusters - 2)),
        "t_clusters_minus_1": float(student_t.ppf(0.975, clusters - 1)),
        "normal": float(norm.ppf(0.975)),
    }
    t = quantiles["t_clusters_minus_1"]
    clustered = robust(model, best, "CR2")
    return {
        "k": model.sets,
        "clusters": clusters,
        "mu": mu,
        "se_model": se,
        "df_contain": clusters - 1,
        "ci_model_t": [mu - t * se, mu + t * se],
        "prediction_interval_t": [mu - t * ahead, mu + t * ahead],
        **by_level("sigma2_", best.theta.tolist()),
        "restricted_loglik": best.likelihood.value,
        "profile_ci_95": by_level("sigma2_", ends),
        "Q": common.Q,
        "Q_df": common.df,
        "typical_sampling_variance": typical,
        "I2_percent": by_level("", percent) | {"total": sum(percent)},
        "ci_model": {name: [mu - q * se, mu + q * se] for name, q in quantiles.items()},
        "prediction_interval_new_cluster_and_effect": {
            name: [mu - q * ahead, mu + q * ahead] for name, q in quantiles.items()
        },
        "CR2_cluster_robust": clustered | {"t": mu / clustered["se"]},
    }


def by_level(prefix: str, values: Any) -> Named:
    return {
        f"{prefix}tester": values[TESTER],
        f"{prefix}between_clusters": values[TESTER],
        f"{prefix}session": values[SESSION],
        f"{prefix}set": values[SET],
        f"{prefix}within_clusters": values[SET],
    }


def coefficients(best: Maximum) -> Named:
    likelihood = best.likelihood
    beyond = likelihood.beta[1:]
    covariance = likelihood.covariance[1:, 1:]
    q = beyond @ solved(covariance, beyond[:, None])[:, 0] if beyond.size else None
    return {
        "tau2": float(best.theta.sum()),
        "sigma2": best.theta[THREE_LEVELS].tolist(),
        "coefficients": likelihood.beta.tolist(),
        "se_model": np.sqrt(np.diag(likelihood.covariance)).tolist(),
        "QM": None if q is None else float(q),
    }


def robust(model: ErrorModel, best: Maximum, form: Any) -> Named:
    beta = best.likelihood.beta
    residual = _y(model) - model.design @ beta
    found = cluster_robust(
        model.blocks(best.theta), model.design, residual, best.likelihood.covariance, form
    )
    se, df = found.standard_error, found.degrees_of_freedom
    p = np.asarray(2 * student_t.sf(np.abs(beta / se), df))
    answer = {"estimate": beta, "se": se, "satterthwaite_df": df, "p": p}
    if beta.size == 1:
        return {name: float(values[0]) for name, values in answer.items()}
    return {name: values.tolist() for name, values in answer.items()}
