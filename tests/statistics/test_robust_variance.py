"""Errors of any covariance, and cluster-robust variances, against metafor and clubSandwich."""

import numpy as np
import pytest

from deploy.benchmarks.agreement.dense_errors import dense_errors
from results.statistics.block_sums import BlockSums
from results.statistics.cluster_robust import cluster_robust
from results.statistics.components import likelihood_at, maximise
from results.statistics.errors import NotPositiveDefinite, ShapeMismatch
from results.statistics.pool_fit import nested_errors
from tests.statistics.worlds import world

TESTER_AND_SET = np.array([True, False, True])


def dense_blocks(model):
    """The sampling covariance of each tester's sets."""
    found = {}
    for rows, block in model.blocks(np.zeros(3)):
        for of_tester, covariance in zip(rows, block, strict=True):
            found[model.nesting.tester_of_set[of_tester[0]]] = covariance
    return [found[tester] for tester in sorted(found)]


def test_correlated_errors_agree_with_metafor(pooling_reference):
    given = pooling_reference("three-level-block-covariance")
    data, expected = given["data"], given["expected"]["correlated_0.5"]
    cluster, sd = np.array(data["cluster"]), np.sqrt(data["vi"])
    blocks = []
    for code in np.unique(cluster):
        mine = sd[cluster == code]
        blocks.append(np.outer(mine, mine) * np.where(np.eye(mine.size), 1, 0.5))
    columns = np.column_stack((np.ones(sd.size), data["yi"]))
    model = dense_errors(columns, cluster, cluster, blocks)
    best = maximise(likelihood_at(model), np.array([0.05, 0, 0.05]), TESTER_AND_SET)
    sigma2 = [expected["sigma2_between_clusters"], expected["sigma2_within_clusters"]]
    assert best.theta[[0, 2]] == pytest.approx(sigma2, rel=1e-6)
    assert best.likelihood.value == pytest.approx(expected["restricted_loglik"], abs=1e-9)
    residual = columns[:, 1] - best.likelihood.beta[0]
    robust = cluster_robust(
        model.blocks(best.theta), model.design, residual, best.likelihood.covariance
    )
    assert robust.standard_error[0] == pytest.approx(expected["CR2_cluster_robust"]["se"], rel=1e-7)


def test_the_tree_and_the_dense_blocks_have_the_same_sums():
    tree, _ = nested_errors(*world(6, seed=7))
    nesting = tree.nesting
    dense = dense_errors(
        tree.columns, nesting.tester_of_set, nesting.session_of_set, dense_blocks(tree)
    )
    theta = np.array([0.002, 0.0005, 0.0003])
    for name in BlockSums.__dataclass_fields__:
        ours, definition = (getattr(m.by_tester(theta), name) for m in (tree, dense))
        assert ours == pytest.approx(definition, rel=1e-8), name
        assert getattr(tree.totals(theta[None]), name) == pytest.approx(
            definition.sum(axis=0, keepdims=True), rel=1e-8
        ), name


@pytest.mark.parametrize(
    ("blocks", "error"),
    [
        ([[[1.0, 2.0], [2.0, 1.0]], [[1.0]]], NotPositiveDefinite),
        ([[[1.0, 0.1], [0.3, 1.0]], [[1.0]]], NotPositiveDefinite),
        ([[[1.0]], [[1.0]]], ShapeMismatch),
        ([[[1.0, 0.1], [0.1, 1.0]]], ShapeMismatch),
    ],
)
def test_blocks_that_are_no_covariance_are_refused(blocks, error):
    columns = [[1, 0.1], [1, 0.2], [1, 0.3]]
    with pytest.raises(error):
        dense_errors(columns, [1, 1, 2], [1, 1, 2], blocks)
