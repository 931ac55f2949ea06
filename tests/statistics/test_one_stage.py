"""The one-stage model against exact likelihoods, survival in R, and mixed models elsewhere."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import multivariate_normal, norm
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

from results.statistics.censored import strength
from results.statistics.errors import NotNested, ShapeMismatch, TooFewPulls, TooFewTesters
from results.statistics.one_stage.lognormal import LognormalPulls, lognormal_pulls
from results.statistics.one_stage.one_stage import Loads, one_stage
from results.statistics.one_stage.propagation import Point, Pulls, at_rest, started
from results.statistics.one_stage.weibull import weibull_pulls
from results.statistics.pooling import pool
from results.statistics.ratio import corrected_log_ratio, pooled_coefficient_of_variation
from tests.statistics.pulls_worlds import arguments, as_loads, as_pulls, pull_world

MANY = 1e6  # straight pulls that make a level known


@pytest.fixture(scope="module")
def censored(pooling_reference):
    """The reference's pulls and what is expected of them."""
    given = pooling_reference("one-stage-censored")
    pulled = given["data"]["pulls"]
    sets = sorted({(p["session"], p["set"]) for p in pulled if p["set"] is not None})
    tester_of = {p["session"]: p["tester"] for p in pulled}
    codes = np.array([(tester_of[session], session, session) for session, _ in sets]).T
    straight = [(p["load"], p["censored"], p["session"]) for p in pulled if p["set"] is None]
    joined = [
        (p["load"], p["censored"], sets.index((p["session"], p["set"])))
        for p in pulled
        if p["set"] is not None
    ]
    return codes, as_loads(straight, False), as_loads(joined, False), given["expected"]


def log_likelihood(codes, straight, joined, point, theta, levels):
    """That of ln load at given means of straight line, which a million pulls each make known."""
    pulls = as_pulls(codes, straight, joined)
    none, all_ = np.zeros(len(levels)), np.full(len(levels), MANY)
    no_rows = np.array([], dtype=int)
    known = LognormalPulls(np.asarray(levels), all_, none, none, np.array([]), no_rows)
    model = Pulls(pulls.tree, pulls.joined, known)
    found = at_rest(model, point, started(model, point), theta, 1e-10).value
    of_million = (MANY - 1) * (norm.logpdf(0) - np.log(point.scale_straight))
    found -= len(levels) * (of_million - np.log(MANY) / 2)
    y, around = np.log(straight.load_N), np.asarray(levels)[straight.group]
    sd = point.scale_straight
    return found + np.sum(
        np.where(straight.exact, norm.logpdf(y, around, sd), norm.logsf(y, around, sd))
    )


def point_of(figures):
    taus = [figures.get(f"tau_{level}", 0.0) for level in ("tester", "session", "set")]
    return Point(np.square(taus), figures["sd_joined"], figures["sd_straight"])


def test_the_likelihood_is_the_exact_one_where_half_is_only_at_least(censored):
    *data, expected = censored
    top, there = expected["maximum"], expected["at_a_point"]
    levels = top["session_means"]
    found = log_likelihood(*data, point_of(top), top["theta"], levels)
    assert found == pytest.approx(top["log_likelihood"], abs=2e-3)
    found = log_likelihood(*data, point_of(there), there["theta"], levels)
    assert found == pytest.approx(there["log_likelihood"], abs=2e-3)


def test_the_maximum_over_all_means_and_scatters_is_the_exact_one(censored):
    *data, expected = censored
    top = expected["maximum"]

    def below(x):
        point = Point(np.array([x[1] ** 2, x[2] ** 2, 0.0]), np.exp(x[3]), np.exp(x[4]))
        return -log_likelihood(*data, point, x[0], x[5:])

    start = [-0.1, 0.05, 0.03, np.log(0.07), np.log(0.03), *np.add(top["session_means"], 0.01)]
    found = minimize(
        below, start, method="L-BFGS-B", options={"maxiter": 400, "ftol": 1e-13, "gtol": 1e-8}
    )
    theta, tester, session, joined, straight = found.x[:5]
    assert -found.fun == pytest.approx(top["log_likelihood"], abs=5e-3)
    assert theta == pytest.approx(top["theta"], abs=2e-4)
    assert abs(tester) == pytest.approx(top["tau_tester"], abs=5e-4)
    assert abs(session) == pytest.approx(top["tau_session"], abs=5e-4)
    assert np.exp(joined) == pytest.approx(top["sd_joined"], abs=2e-4)
    assert np.exp(straight) == pytest.approx(top["sd_straight"], abs=2e-4)
    assert found.x[5:] == pytest.approx(top["session_means"], abs=1e-3)


def test_without_random_effects_it_is_survival_regression_in_r(censored):
    *data, expected = censored
    alone = expected["without_random_effects"]
    point = point_of(alone)

    def below(levels):
        return -log_likelihood(*data, point, alone["theta"], levels)

    found = minimize(below, expected["maximum"]["session_means"], method="L-BFGS-B")
    assert -found.fun == pytest.approx(alone["log_likelihood"], abs=1e-4)


@pytest.mark.parametrize(
    ("family", "make"), [("lognormal", lognormal_pulls), ("weibull", weibull_pulls)]
)
def test_a_group_at_a_known_level_has_the_likelihood_of_survival_in_r(reference, family, make):
    given = reference("right-censored-fans")
    expected = given["expected"][family]
    y, failed = np.log(given["data"]["value"]), np.array(given["data"]["failed"])
    group = make(y, failed, np.zeros(y.size, dtype=int), 1)
    scale, known = expected["scale"], (np.array([expected["intercept"]]), np.array([1e-7]))
    state = group.start(scale)
    for _ in range(200):
        state, _ = group.renewed(scale, state, known, 1.0)
    mean, variance = group.site(scale, state)
    value, slope = group.outcome(scale, state, known)
    value += norm.logpdf(mean, known[0], np.sqrt(variance + known[1]))
    assert value[0] - y[failed].sum() == pytest.approx(expected["loglik"], abs=1e-5)
    assert slope[0] == pytest.approx(0, abs=1e-4)


def test_without_at_least_loads_the_likelihood_is_that_of_the_dense_mixed_model():
    codes, straight, joined = pull_world(5, seed=1, grip=0.0)
    straight, joined = as_loads(straight, "line"), as_loads(joined, "join", "line")
    pulls = as_pulls(codes, straight, joined)
    point = Point(np.array([0.03, 0.02, 0.01]) ** 2, 0.05, 0.03)
    found = at_rest(pulls, point, started(pulls, point), None)
    y = np.log(np.concatenate((straight.load_N, joined.load_N)))
    tester, session, baseline = codes[:, joined.group]
    random = sum(
        tau2 * (code[:, None] == code) for tau2, code in zip(
            point.tau2, (tester, session, joined.group), strict=True
        )
    )  # fmt: skip
    n = straight.load_N.size
    cov = np.diag(np.repeat([0.03**2, 0.05**2], [n, joined.load_N.size]))
    cov[n:, n:] += random
    levels = np.concatenate((straight.group, baseline))
    design = np.column_stack((levels[:, None] == np.unique(levels), np.arange(y.size) >= n))
    design = design.astype(float)
    weighted = np.linalg.solve(cov, design)
    bread = design.T @ weighted
    beta = np.linalg.solve(bread, weighted.T @ y)
    restricted = multivariate_normal.logpdf(y - design @ beta, cov=cov)
    restricted += (design.shape[1] * np.log(2 * np.pi) - np.linalg.slogdet(bread)[1]) / 2
    assert found.value == pytest.approx(restricted, abs=1e-8)
    assert found.solved.theta == pytest.approx(beta[-1], abs=1e-12)


def test_without_at_least_loads_it_is_the_mixed_model_of_statsmodels():
    rng = np.random.default_rng(3)
    session = np.repeat(np.arange(36), 2)
    tester, sets = session // 3, session.size
    effect = rng.normal(0, 0.05, 12)[tester] + rng.normal(0, 0.03, 36)[session]
    effect = effect - 0.15 + rng.normal(0, 0.025, sets)
    group = np.repeat(np.arange(sets), 6)
    y = effect[group] + rng.normal(0, 0.06, group.size)
    # The line's mean is known: two thousand pulls a session that scatter by 1 in 10,000.
    line = np.repeat(np.arange(36), 2000)
    straight = Loads(100 * np.exp(rng.normal(0, 1e-4, line.size)), np.full(line.size, True), line)
    joined = Loads(100 * np.exp(y), np.full(y.size, True), group)
    found = one_stage(tester, session, session, straight, joined, joined).combination
    of_pull = {"session": session[group], "set": group}
    design = {
        name: [(code[tester[group] == t][:, None] == np.unique(code[tester[group] == t])) * 1.0
               for t in range(12)]
        for name, code in of_pull.items()
    }  # fmt: skip
    their = MixedLM(
        y, np.ones((y.size, 1)), groups=tester[group], exog_re=np.ones((y.size, 1)),
        exog_vc=_components(design),
    ).fit(reml=True)  # fmt: skip
    assert found.log_efficiency == pytest.approx(
        their.fe_params[0] + their.scale / 2 - 0.5e-8, abs=1e-4
    )
    assert found.tau_tester == pytest.approx(np.sqrt(their.cov_re[0, 0]), rel=0.01)
    assert found.tau_session == pytest.approx(np.sqrt(their.vcomp[0]), rel=0.01)
    assert found.tau_set == pytest.approx(np.sqrt(their.vcomp[1]), rel=0.01)
    assert np.log1p(found.cv_joined**2) == pytest.approx(their.scale, rel=0.01)


def _components(design):
    names = [*design]
    columns = [[[str(c) for c in range(m.shape[1])] for m in design[name]] for name in names]
    return VCSpec(names, columns, [design[name] for name in names])


def test_where_sets_part_at_the_join_alone_it_comes_near_the_two_stages():
    world = pull_world(20, seed=4, own=0.8, grip=0.0)
    codes, straight, joined = world
    found = one_stage(*arguments(world))
    assert found.join.log_efficiency == pytest.approx(found.combination.log_efficiency, abs=0.01)
    of_sets, of_lines = (
        [_strength([p for p in pulled if p[2] == group]) for group in range(groups)]
        for pulled, groups in ((joined, codes.shape[1]), (straight, codes[2].max() + 1))
    )
    lines = [of_lines[baseline] for baseline in codes[2]]
    cvs = [
        pooled_coefficient_of_variation([s.cv for s in each], [s.degrees_of_freedom for s in each])
        for each in (of_sets, of_lines)
    ]
    ratios = corrected_log_ratio(
        [s.mean_N for s in of_sets],
        [s.mean_N for s in lines],
        [cvs[0] ** 2 / s.n for s in of_sets],
        [cvs[1] ** 2 / s.n for s in lines],
    )
    two = pool(ratios.y, ratios.own_variance, ratios.shared_variance, *codes)
    one = found.combination
    assert one.log_efficiency == pytest.approx(two.mu, abs=0.1 * two.se_robust)
    assert one.standard_error == pytest.approx(two.se_robust, rel=0.05)
    assert one.tau_tester == pytest.approx(np.sqrt(two.tau2_tester), abs=0.005)


def _strength(pulled):
    return strength([load for load, _, _ in pulled], np.zeros(len(pulled), bool), 0.5)


def test_what_cannot_be_estimated_says_why():
    world = pull_world(4, seed=5)
    given = list(arguments(world))
    with pytest.raises(TooFewTesters, match="needs 3 testers; there are 1"):
        one_stage(np.zeros_like(given[0]), *given[1:])
    with pytest.raises(NotNested):
        one_stage(given[0], np.zeros_like(given[1]), *given[2:])
    codes, straight, joined = world
    unbroken = [(load, "grip" if group == 0 else what, group) for load, what, group in straight]
    with pytest.raises(TooFewPulls, match="no straight pull of baseline 0"):
        one_stage(*codes, as_loads(unbroken, "line"), given[4], given[5])
    lacking = as_loads([pull for pull in joined if pull[2] != 1], "join", "line")
    with pytest.raises(TooFewPulls, match="set 1 has no joined pull"):
        one_stage(*codes, given[3], lacking, lacking)
    beyond = as_loads([(load, what, group + 1) for load, what, group in joined], "join", "line")
    with pytest.raises(ShapeMismatch, match="beyond"):
        one_stage(*codes, given[3], beyond, beyond)


def test_the_order_of_sets_and_pulls_and_the_unit_change_nothing():
    world = pull_world(6, seed=6)
    (tester, session, baseline, *loads), rng = arguments(world), np.random.default_rng(1)
    first = one_stage(tester, session, baseline, *loads)
    order = rng.permutation(tester.size)
    place = np.argsort(order)

    def shuffled(pulled, group):
        rows = rng.permutation(pulled.load_N.size)
        return Loads(2 * pulled.load_N[rows], pulled.exact[rows], group[rows])

    again = one_stage(
        tester[order] + 7,
        -session[order],
        baseline[order] * 3,
        shuffled(loads[0], loads[0].group * 3),
        *(shuffled(each, place[each.group]) for each in loads[1:]),
    )
    for one, other in ((first.join, again.join), (first.combination, again.combination)):
        assert other.log_efficiency == pytest.approx(one.log_efficiency, abs=1e-6)
        assert other.standard_error == pytest.approx(one.standard_error, rel=1e-4)
