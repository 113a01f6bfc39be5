"""Gauss: a few values with chances that stand for many, so that sums over them come out the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
NOTHING = 1e-12  # of the width of the values: what is left over below this is rounding


def fewer(values: Floats, chances: Floats, most: int) -> tuple[Floats, Floats]:
    """Return at most so many values and their chances that have the mean of every power of the values up to 2 most - 1.

    So a smooth function has the same mean over them, to rounding where it runs as a power series of that length does.
    Where there are no more distinct values than that, they are these.

    Args:
        values: (m,).
        chances: (m,), summing to 1.
        most: number of values asked for.

    References:
        G. H. Golub and J. H. Welsch, Calculation of Gauss quadrature rules, Mathematics of Computation 23, 1969
        (from memory): the eigenvalues of the matrix that Lanczos's method finds, and the first parts of its vectors.
    """
    step = np.sqrt(chances / chances.sum())
    steps, diagonal, beside = [step], [float(step @ (values * step))], []
    while len(steps) < most:
        left = values * step
        for _ in range(2):  # twice, or rounding lets the steps lean on each other
            found = np.array(steps)
            left = left - found.T @ (found @ left)
        size = float(np.linalg.norm(left))
        if size <= NOTHING * float(np.ptp(values)):
            break
        step = left / size
        steps.append(step)
        beside.append(size)
        diagonal.append(float(step @ (values * step)))
    nodes, vectors = np.linalg.eigh(np.diag(diagonal) + np.diag(beside, 1) + np.diag(beside, -1))
    return nodes, vectors[0] ** 2
