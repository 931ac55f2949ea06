"""Did each interval of one drawn pool cover its truth?  One number a measure, averaged later."""

from collections.abc import Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from deploy.benchmarks.truth.worlds import CV_JOIN, RESOLUTION_N, Drawn, World
from results.statistics.censored import Strength, strength
from results.statistics.cluster_robust import ClusterRobust, cluster_robust
from results.statistics.comparison import (
    OwnMean,
    compare,
    compare_scatter,
    own_mean,
    variance_between_testers,
)
from results.statistics.efficiency import efficiency
from results.statistics.errors import StatisticsError
from results.statistics.pool_fit import PoolFit, fit_pool
from results.statistics.ratio import (
    LogRatio,
    corrected_log_ratio,
    pooled_coefficient_of_variation,
    relative_variance,
)
from results.statistics.scatter import Scatter
from results.statistics.shrinking import likely_variances, shrunken_value

Floats = NDArray[np.float64]
Measured = Iterator[tuple[str, float]]

NEWCOMERS = 400


def judge(world: World, drawn: Drawn, random: np.random.Generator) -> Measured:
    """Measures of one pool: 1 or 0 for covered or not, a share, or a bias in percent."""
    strengths = _strengths(drawn)
    kept = np.array(sorted(strengths))
    joins = [strengths[row][0] for row in kept]
    baselines = [strengths[row][1] for row in kept]
    ratios = _log_ratios(joins, baselines)
    tester = drawn.tester[kept]
    fit = _fit(ratios, tester)
    yield from _mean(world, fit)
    yield from _prediction(world, fit, random)
    yield from _own(world, drawn, kept, ratios, joins)
    if not world.line_breaks:
        yield from _set(drawn.set_log[kept[0]], joins[0], baselines[0])
    if not world.line_breaks and not world.weak:
        yield from _next_pull(world, fit, joins)


def _strengths(drawn: Drawn) -> dict[int, tuple[Strength, Strength]]:
    """Strength of join and straight line by session, where the pulls allow it."""
    found = {}
    for row in range(drawn.tester.size):
        pulled = ~np.isnan(drawn.join_N[row])
        try:
            found[row] = (
                strength(drawn.join_N[row, pulled], drawn.join_at_grip[row, pulled], RESOLUTION_N),
                strength(
                    drawn.baseline_N[row, pulled],
                    drawn.baseline_at_grip[row, pulled],
                    RESOLUTION_N,
                ),
            )
        except StatisticsError:
            continue
    return found


def _log_ratios(joins: list[Strength], baselines: list[Strength]) -> LogRatio:
    """Corrected log ratios at scatters pooled over the sets, as the service forms them."""
    return corrected_log_ratio(
        [one.mean_N for one in joins],
        [one.mean_N for one in baselines],
        relative_variance(_pooled_cv(joins), [one.n_effective for one in joins]),
        relative_variance(_pooled_cv(baselines), [one.n_effective for one in baselines]),
    )


def _pooled_cv(strengths: list[Strength]) -> float:
    return pooled_coefficient_of_variation(
        [one.cv for one in strengths], [one.degrees_of_freedom for one in strengths]
    )


def _fit(ratios: LogRatio, tester: NDArray[np.int64]) -> PoolFit:
    session = np.arange(tester.size)
    return fit_pool(ratios.y, ratios.own_variance, ratios.shared_variance, tester, session, session)


def _robust(fit: PoolFit) -> ClusterRobust:
    likelihood = fit.best.likelihood
    residual = fit.model.columns[:, -1] - likelihood.beta[0]
    blocks = fit.model.blocks(fit.best.theta)
    return cluster_robust(blocks, fit.model.design, residual, likelihood.covariance)


def _mean(world: World, fit: PoolFit) -> Measured:
    mu = fit.centre + float(fit.best.likelihood.beta[0])
    yield "bias of the mean, percent", 100.0 * (mu - world.mean())
    if world.weak:
        return
    robust = _robust(fit)
    reach = student.ppf(0.975, robust.degrees_of_freedom[0]) * robust.standard_error[0]
    yield "mean, CR2", float(abs(mu - world.mean()) <= reach)
    yield "width of the mean, percent", 200.0 * float(reach)
    testers = fit.model.nesting.testers.size
    model_reach = student.ppf(0.975, testers - 1) * np.sqrt(fit.best.likelihood.covariance[0, 0])
    yield "mean, model t(m-1)", float(abs(mu - world.mean()) <= model_reach)
    if not world.line_breaks:
        low, high = fit.interval(0)
        yield "tau2 of testers", float(low <= world.tester_sd**2 <= high)


def _prediction(world: World, fit: PoolFit, random: np.random.Generator) -> Measured:
    if world.weak:
        return
    new = world.newcomers(random, NEWCOMERS)
    testers = fit.model.nesting.testers.size
    low, high = fit.prediction
    answer = (new >= fit.centre + low) & (new <= fit.centre + high)
    yield "prediction", float(answer.mean())
    yield "width of the prediction, percent", 100.0 * (high - low)
    mu = fit.centre + float(fit.best.likelihood.beta[0])
    variance = fit.best.likelihood.covariance[0, 0] + fit.best.theta.sum()
    reach = float(student.ppf(0.975, testers - 1) * np.sqrt(variance))
    yield "prediction, plain t(m-1)", float((np.abs(new - mu) <= reach).mean())
    yield "width of plain t(m-1), percent", 200.0 * reach


def _next_pull(world: World, fit: PoolFit, joins: list[Strength]) -> Measured:
    """The bound that nine in ten of new testers' next pulls exceed, 95 percent sure."""
    within = np.log1p(CV_JOIN**2)
    sd = np.sqrt(world.total_sd**2 + within)
    truth = world.log_efficiency - within / 2.0 - 1.2815515655446004 * sd
    bound = fit.lower_bound(_pooled_cv(joins) ** 2, 0.90, 0.95)
    yield "bound for a next pull", float(bound <= truth)


def _own(
    world: World,
    drawn: Drawn,
    kept: NDArray[np.int64],
    ratios: LogRatio,
    joins: list[Strength],
) -> Measured:
    """The first tester beside the pool of the others."""
    tester = drawn.tester[kept]
    mine = tester == 0
    if world.line_breaks or world.testers < 4 or not mine.any():
        return
    rest = LogRatio(*(part[~mine] for part in vars(ratios).values()))
    fit = _fit(rest, tester[~mine])
    robust = _robust(fit)
    session = np.arange(tester.size)
    _, tau2_session, tau2_set = (float(component) for component in fit.best.theta)
    own_at = partial(
        own_mean,
        ratios.y[mine],
        ratios.own_variance[mine],
        ratios.shared_variance[mine],
        session[mine],
        session[mine],
    )
    own = own_at(tau2_session=tau2_session, tau2_set=tau2_set)
    yield from _place(world, drawn, own, fit, robust)
    likely = likely_variances(fit)
    means = [own_at(tau2_session=ours, tau2_set=sets) for ours, sets in likely.within.tolist()]
    shrunken, own_truth = shrunken_value(likely, means), float(np.exp(drawn.tester_log[0]))
    if not world.weak:
        yield "shrunken own", float(shrunken.low <= own_truth <= shrunken.high)
    others = [join for join, is_mine in zip(joins, mine, strict=True) if not is_mine]
    beside = compare_scatter(
        _scatter([join for join, is_mine in zip(joins, mine, strict=True) if is_mine]),
        _scatter(others),
    )
    name = "weak tyer's scatter found" if world.weak else "scatter called different"
    yield name, float(beside.probability < 0.05)


def _place(
    world: World, drawn: Drawn, own: OwnMean, fit: PoolFit, robust: ClusterRobust
) -> Measured:
    others = fit.model.nesting.testers.size
    _, tau2_session, tau2_set = (float(component) for component in fit.best.theta)
    low, high = fit.prediction
    se_model = float(np.sqrt(fit.best.likelihood.covariance[0, 0]))
    prediction_sd = (high - low) / 2.0 / float(student.ppf(0.975, others - 1))
    found = compare(
        own,
        mu=fit.centre + float(fit.best.likelihood.beta[0]),
        se=float(robust.standard_error[0]),
        degrees_of_freedom=float(robust.degrees_of_freedom[0]),
        tau2_tester=variance_between_testers(prediction_sd, se_model, tau2_session, tau2_set),
        prediction_freedom=others - 1.0,
    )
    if world.weak:
        yield "weak tyer found different", float(found.differs)
        yield "weak tyer placed below", float(found.place == "below")
        return
    truth = float(np.exp(drawn.tester_log[0] - world.log_efficiency))
    yield "own against pool", float(found.ratio_low <= truth <= found.ratio_high)
    yield "placed outside the pool", float(found.place != "within")


def _scatter(strengths: list[Strength]) -> Scatter:
    freedom = sum(one.degrees_of_freedom for one in strengths)
    return Scatter(_pooled_cv(strengths), freedom)


def _set(set_log: float, join: Strength, baseline: Strength) -> Measured:
    """One set alone: Fieller's interval and the interval of its scatter."""
    found = efficiency(join, baseline)
    if found.fieller_low is not None and found.fieller_high is not None:
        yield "set, Fieller", float(found.fieller_low <= np.exp(set_log) <= found.fieller_high)
