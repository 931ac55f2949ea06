"""Invented pools for the tests of the statistics."""

import numpy as np


def world(testers, seed, sds=(0.045, 0.02, 0.02), mu=-0.25):
    """Columns of a pool: testers of one to three sessions, each of one to four sets.

    Every third session has two baselines. Returns y, own and shared variance and the codes of
    tester, session and baseline, as `pool` takes them.
    """
    rng = np.random.default_rng(seed)
    rows, session, baseline = [], 0, 0
    for tester in range(testers):
        of_tester = rng.normal(0, sds[0])
        for _ in range(rng.integers(1, 4)):
            of_session = rng.normal(0, sds[1])
            for _ in range(2 if session % 3 == 2 else 1):
                shared = 0.0009 / rng.integers(3, 9)
                of_baseline = rng.normal(0, np.sqrt(shared))
                for _ in range(rng.integers(1, 4)):
                    own = 0.0049 / rng.integers(3, 9)
                    error = rng.normal(0, sds[2]) + rng.normal(0, np.sqrt(own))
                    y = mu + of_tester + of_session + of_baseline + error
                    rows.append((y, own, shared, tester, session, baseline))
                baseline += 1
            session += 1
    columns = np.array(rows).T
    return (*columns[:3], *columns[3:].astype(int))
