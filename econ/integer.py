"""Whole-number programs: the least cost over whole numbers under linear rules.

HiGHS searches in floating point, where a whole number may be off by a millionth and a rule be broken by as much. So
what it finds is rounded, and every rule and the cost are counted again in whole numbers. Where that does not bear out
what it claims, the rest of the numbers is searched without the point found.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil

EXACT = 1 << 53  # whole numbers below it are floats without rounding
NODES = 200_000  # branches HiGHS may look at before it stops without proof; judgement
SEARCHES = 200  # parts of the numbers searched before the search stops without proof; judgement
SLACK = 1e-12  # of a bound, for its own rounding [1]; judgement
SMALL = 100_000  # numbers of a rule of which HiGHS's tolerance of 1e-6 is at most a tenth
OPTIMAL, STOPPED, INFEASIBLE = 0, 1, 2  # status of scipy.optimize.milp, by its documentation


@dataclass(frozen=True)
class Row:
    """A rule: least <= sum of factor x variable <= most. factors: by number of the variable; None: no such limit."""

    factors: Mapping[int, int]
    least: int | None = None
    most: int | None = None

    def holds(self, values: Sequence[int]) -> bool:
        """Return whether the values keep the rule, exactly."""
        total = sum(factor * values[i] for i, factor in self.factors.items())
        return (self.least is None or self.least <= total) and (self.most is None or total <= self.most)


@dataclass(frozen=True)
class Solution:
    """The best values found and their cost; bound: by HiGHS no values cost less. Both equal: proven best."""

    values: tuple[int, ...]
    cost: int
    bound: int

    @property
    def proven(self) -> bool:
        """Return whether nothing better is left."""
        return self.bound >= self.cost


@dataclass(frozen=True)
class _Box:
    """Values to search, from `low` to `high`; none of them costs less than `bound`, where that is known."""

    low: tuple[int, ...]
    high: tuple[int, ...]
    bound: int | None = None

    def without(self, values: Sequence[int], bound: int) -> Iterator[_Box]:
        """Yield boxes that together hold all of this one but the one point."""
        for k, x in enumerate(values):
            low, high = (*values[:k], *self.low[k:]), (*values[:k], *self.high[k:])
            if self.low[k] < x:
                yield _Box(low, (*high[:k], x - 1, *high[k + 1 :]), bound)
            if x < self.high[k]:
                yield _Box((*low[:k], x + 1, *low[k + 1 :]), high, bound)


# Searches a box: the values found, if any; a bound on their cost, None in an empty box; whether it stopped early.
_Search = Callable[[_Box], tuple[tuple[int, ...] | None, int | None, bool]]


def solve(
    cost: Sequence[int], most: Sequence[int], rows: Sequence[Row], nodes: int = NODES, gap: float = 0.0
) -> Solution | None:
    """Return whole values 0 <= x <= most that keep every rule at the least cost; None where none keep them.

    nodes: branches looked at in one search. gap: by what share of the cost there may be something better [1]. Raises
    ValueError where a number is too large to be exact as a float, ArithmeticError where no values are found within the
    nodes or HiGHS fails.

    References:
        Q. Huangfu, J. A. J. Hall, Parallelizing the dual revised simplex method, Mathematical Programming Computation
        10 (2018) 119-142: HiGHS, called by `scipy.optimize.milp`.
    """
    if not cost:  # HiGHS asks for a variable at least
        return Solution((), 0, 0) if all(row.holds(()) for row in rows) else None
    search = _searcher(cost, most, rows, nodes, gap)
    best: Solution | None = None
    todo, bounds = [_Box((0,) * len(most), tuple(most))], []
    for _ in range(SEARCHES):
        if not todo:
            break
        box = todo.pop()
        values, bound, ended = search(box)
        if bound is None or (best is not None and bound >= best.cost):
            continue
        if values is not None and all(row.holds(values) for row in rows):
            paid = sum(c * x for c, x in zip(cost, values, strict=True))
            if best is None or paid < best.cost:
                best = Solution(values, paid, paid)
            ended = ended or paid - bound <= gap * abs(paid)
        if ended or values is None:
            bounds.append(bound)
        else:
            todo.extend(box.without(values, bound))
    bounds += [box.bound for box in todo if box.bound is not None]
    if best is None and bounds:
        raise ArithmeticError("no solution found within the search; allow more nodes")
    return None if best is None else Solution(best.values, best.cost, min([best.cost, *bounds]))


def _searcher(cost: Sequence[int], most: Sequence[int], rows: Sequence[Row], nodes: int, gap: float) -> _Search:
    """Return the search by HiGHS."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    factors = [f for row in rows for f in row.factors.values()]
    limits = [x for row in rows for x in (row.least, row.most) if x is not None]
    if max((abs(x) for x in (*cost, *most, *factors, *limits)), default=0) >= EXACT:
        raise ValueError(f"every number must be below 2**53 = {EXACT}")
    starts = np.cumsum([0, *(len(row.factors) for row in rows)])
    columns = [i for row in rows for i in row.factors]
    matrix = csr_array((np.array(factors, float), columns, starts), shape=(len(rows), len(cost)))
    least = [-np.inf if row.least is None else row.least for row in rows]
    upper = [np.inf if row.most is None else row.most for row in rows]
    rules = LinearConstraint(matrix, least, upper) if rows else ()
    objective, whole = np.array(cost, float), np.ones(len(cost))
    # Presolve rounds bounds within the tolerance: with factors from a million on it was seen to lose solutions.
    presolve = max((abs(x) for x in (*factors, *limits)), default=0) < SMALL
    options = {"mip_rel_gap": gap, "node_limit": nodes, "presolve": presolve}

    def search(box: _Box) -> tuple[tuple[int, ...] | None, int | None, bool]:
        found = milp(
            objective,
            integrality=whole,
            bounds=Bounds(box.low, box.high),
            constraints=rules,
            options=options,
        )
        if found.status == INFEASIBLE:
            return None, None, False
        # scipy does not know HiGHS's status for branches run out and says that it failed, with the values found.
        stopped = found.status == STOPPED or (found.x is not None and (found.get("mip_node_count") or 0) >= nodes)
        if found.status != OPTIMAL and not stopped:
            raise ArithmeticError(found.message)
        values = None if found.x is None else tuple(int(x) for x in np.rint(found.x))
        bound = found.mip_dual_bound
        return values, ceil(bound - abs(bound) * SLACK - 1e-6), stopped and found.status != OPTIMAL

    return search
