"""Sums of the likelihood at many points at once, for testers of every shape, and without some."""

import numpy as np
import pytest

from deploy.benchmarks.agreement.dense_errors import dense_errors
from results.statistics.block_sums import BlockSums
from results.statistics.pool_fit import nested_errors

THETA = np.array([[0.002, 0.0005, 0.0003], [0.0, 0.001, 0.0], [0.5, 0.0, 0.1], [0.0, 0.0, 0.0]])
SHAPES = {
    "one set each": [[1]] * 5,
    "several sessions of one set": [[1, 1], [1, 1, 1], [1, 1]],
    "several sets in a session": [[2], [3, 1], [2, 2]],
    "all of these": [[1], [1, 1], [2], [1], [3, 1], [1, 1, 1], [1]],
}


def tree(shape):
    """Testers' sessions by their number of sets; the codes are neither dense nor in order."""
    sessions = [(code, sets) for code, of_tester in enumerate(shape) for sets in of_tester]
    tester = np.concatenate([[97 - 3 * code] * sets for code, sets in sessions])
    session = np.concatenate([[11 * n] * sets for n, (_, sets) in enumerate(sessions)])
    rng = np.random.default_rng(3)
    mixed = rng.permutation(tester.size)
    tester, session = tester[mixed], session[mixed]
    y, own = rng.normal(-0.2, 0.05, tester.size), rng.uniform(0.0005, 0.003, tester.size)
    shared = rng.uniform(0.0001, 0.0009, session.max() + 1)[session]
    return nested_errors(y, own, shared, tester, session, session)[0]


def written_out(model):
    nesting, blocks = model.nesting, {}
    for rows, found in model.blocks(np.zeros(3)):
        for of_tester, covariance in zip(rows, found, strict=True):
            blocks[nesting.tester_of_set[of_tester[0]]] = covariance
    covariance = [blocks[code] for code in sorted(blocks)]
    return dense_errors(model.columns, nesting.tester_of_set, nesting.session_of_set, covariance)


def assert_same(found, expected):
    for name in BlockSums.__dataclass_fields__:
        ours, theirs = getattr(found, name), getattr(expected, name)
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9 * np.abs(theirs).max()), name


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_sums_at_many_points_are_those_of_the_matrices_written_out(shape):
    model = tree(shape)
    assert_same(model.totals(THETA), written_out(model).totals(THETA))


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
def test_without_a_tester_the_sums_are_those_of_the_others_alone(shape):
    model = tree(shape)
    for code, tester in enumerate(model.nesting.testers):
        rest = model.some(model.nesting.tester_of_set != code)
        left_out = np.full(len(THETA), tester)
        assert_same(model.totals_without(THETA, left_out), written_out(rest).totals(THETA))
