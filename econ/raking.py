"""Raking: chances of a few states that stand for all, so that each fault is as likely in them as it is over all.

The chances are changed as little as that takes: each state's by a factor for each fault in it, so that what hangs on
faults one by one is what it is over all states.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
STEPS = 60  # of Newton's method at most
NEAR = 1e-12  # chances that agree to this are the same
FARTHEST = 1.0  # by which the log of a factor may change in one step
RIDGE = 1e-9  # keeps the step defined where faults come only together


def raked(present: NDArray[np.bool_], weights: Floats, marginal: Floats) -> Floats:
    """Return the chances of states that give each fault its chance over all states, (m,), summing to 1.

    A fault that is in none of the states or in each keeps what it has. Newton's method on the logs of the factors; the
    problem is convex.

    Args:
        present: (m, n) which faults each state holds.
        weights: (m,) chances of the states, above 0.
        marginal: (n,) chance of each fault over all states.

    References:
        W. E. Deming and F. F. Stephan, On a least squares adjustment of a sampled frequency table when the expected
        marginal totals are known, Annals of Mathematical Statistics 11, 1940 (from memory).
    """
    start = weights / weights.sum()
    share = start @ present
    able = np.flatnonzero((share > 0) & (share < 1) & (marginal > 0) & (marginal < 1))
    table, wanted = present[:, able].astype(float), marginal[able]
    logs, log_factors = np.log(start), np.zeros(able.size)
    found: Floats = start
    for _ in range(STEPS):
        raised = logs + table @ log_factors
        found = np.exp(raised - raised.max())
        found /= found.sum()
        mean = found @ table
        short = wanted - mean
        if not able.size or np.abs(short).max() < NEAR:
            break
        spread = (table * found[:, None]).T @ table - np.outer(mean, mean) + RIDGE * np.eye(able.size)
        log_factors += np.clip(np.linalg.solve(spread, short), -FARTHEST, FARTHEST)
    return found
