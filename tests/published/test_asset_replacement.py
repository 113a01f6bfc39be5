"""Keep, service or replace: Miranda and Fackler (2002), sections 7.6.2 and 7.6.3, solved again with quantecon.

How their model maps onto `worth_in_use`. They take profits at the start of a period, we at its end: a profit f counts
as f / delta. A machine that does not fail has survival 1 and one period of service each period; with e = 0 its "upkeep"
is -f / delta. To replace at any age is worth the same stated amount, profit when replacing + delta V(new), which
stands where we have the sale price. The best stop is then their policy, and worth less that amount is the most one
would pay to stay in service: the repair limit at that age. Service (7.6.3) is a choice in each period; for every
sequence of such choices the stop is ours, and the best sequence must give their value.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
import pytest

from econ.worth import Flows, worth_in_use

from .figures import entry

PLAIN = entry("asset_replacement", "asset_replacement_dp")
SERVICED = entry("asset_replacement", "asset_replacement_with_maintenance_dp")
NEVER = -np.inf


def profit(age: int) -> float:
    return 50 - 2.5 * age - 2.5 * age**2


def solve(rewards: np.ndarray, moves: np.ndarray, discount: float) -> np.ndarray:
    """Return the value function by policy iteration; moves: (states, actions) next state."""
    from quantecon.markov import DiscreteDP

    chance = np.zeros((*moves.shape, moves.shape[0]))
    for state, action in np.ndindex(*moves.shape):
        chance[state, action, moves[state, action]] = 1.0
    return np.asarray(DiscreteDP(rewards, chance, discount).solve(method="policy_iteration").v)


def best_stop(profits: Sequence[float], replacing: float, discount: float) -> tuple[float, int]:
    n, one = len(profits), np.ones(1)
    sale = np.full(n + 1, replacing)
    upkeep = -np.array(profits, dtype=float) / discount
    machine = Flows(np.ones(n + 1), np.ones(n), discount ** np.arange(n + 1), upkeep, sale, 0.0)
    use = worth_in_use(machine, 0.0, one, one, one)
    return float(use.worth[0]), int(use.stop[0])


@pytest.mark.filterwarnings("ignore")
def test_keep_or_replace() -> None:
    v = PLAIN["values"]
    ages, renew, discount = v["ages"], v["profit_when_replacing"], v["discount"]
    rewards = np.array([[profit(a) if a < v["must_replace_at_age"] else NEVER, renew] for a in ages], dtype=float)
    values = solve(rewards, np.array([[min(i + 1, 4), 0] for i in range(5)]), discount)
    assert values == pytest.approx(v["value"], abs=5e-9)

    replacing = renew + discount * values[0]
    for age, value, action in zip(ages[:-1], values, v["action"], strict=False):
        worth, stop = best_stop([profit(a) for a in range(age, v["must_replace_at_age"])], replacing, discount)
        assert worth == pytest.approx(value, rel=1e-12)
        assert (stop > 0) == (action == "keep")
        assert worth - replacing == pytest.approx(PLAIN["derived"]["repair_limit_by_age"][age], abs=5e-6)


@pytest.mark.filterwarnings("ignore")
def test_keep_service_or_replace() -> None:
    v = SERVICED["values"]
    last, discount, renew = v["max_age"], v["discount"], 50 - v["replacement_cost"]
    most = 4  # services so far, the largest the published states show

    def earned(age: int, services: int) -> float:
        return (1 - (age - services) / 5) * profit(age)

    states = [(a, s) for a in range(1, last + 1) for s in range(most + 1)]
    at = {state: i for i, state in enumerate(states)}
    rewards, moves = np.full((len(states), 3), NEVER), np.zeros((len(states), 3), dtype=int)
    for (a, s), i in at.items():
        rewards[i, 2] = renew
        if a < last:
            rewards[i, 0], moves[i, 0] = earned(a, s), at[a + 1, s]
            if s < most:
                rewards[i, 1], moves[i, 1] = earned(a, s + 1) - v["service_cost"], at[a + 1, s + 1]
    values = solve(rewards, moves, discount)
    replacing = renew + discount * values[at[1, 0]]
    for row in v["states"]:
        age, services = row["age"], row["services"]
        assert values[at[age, services]] == pytest.approx(row["value"], abs=5e-6)
        if age == last:
            continue
        worths = []
        for choice in product((0, 1), repeat=last - age):
            done = services + np.cumsum(choice)
            if done.max() <= most:
                path = zip(range(age, last), done.tolist(), choice, strict=True)
                profits = [earned(a, s) - x * v["service_cost"] for a, s, x in path]
                worths.append(best_stop(profits, replacing, discount)[0])
        assert max(worths) == pytest.approx(row["value"], abs=5e-6)
