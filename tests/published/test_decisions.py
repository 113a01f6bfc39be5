"""The plan's kernel against printed decision examples; sources and what was seen of them in decision_examples.yaml."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from econ.plan import Plan, make_plan
from econ.stopping import Choice, Look

from .figures import load

EXAMPLES: dict[str, Any] = {e["id"]: e["values"] for e in load("decision_examples")["entries"]}


def choices(payoff: dict[str, list[float]]) -> list[Choice]:
    return [Choice(name, np.array(row, dtype=float)) for name, row in payoff.items()]


def one_test(example: str, cost: float, likelihood: list[list[float]]) -> Plan:
    v = EXAMPLES[example]
    return make_plan(np.array(v["prior"]), choices(v["payoff"]), [Look("test", np.array(likelihood), cost=cost)])


def test_wildcatter() -> None:
    """Raiffa 1968; Shenoy 1992 prints 22,500 and: test; drill unless no structure."""
    v = EXAMPLES["oil_wildcatter"]
    plan = one_test("oil_wildcatter", v["test_cost"], list(v["likelihood"].values()))
    assert plan.value == pytest.approx(v["printed"]["value_best_strategy"], abs=1e-9)
    assert plan.perfect - plan.stopping == pytest.approx(v["recomputed"]["EVPI"], abs=1e-9)
    assert plan.steps[0].worth == pytest.approx(v["recomputed"]["EVSI"], abs=1e-9)
    assert [node.stop for _, node in plan.tree.results] == ["not_drill", "drill", "drill"]


def test_umbrella() -> None:
    """Shachter's umbrella: 77 with the forecast, EVSI 7, EVPI 21 (printed)."""
    v = EXAMPLES["umbrella"]
    plan = one_test("umbrella", 0.0, list(v["likelihood"].values()))
    assert plan.value == pytest.approx(v["printed"]["value_with_forecast"], abs=1e-9)
    assert plan.steps[0].worth == pytest.approx(v["printed"]["EVSI"], abs=1e-9)
    assert plan.perfect - plan.stopping == pytest.approx(v["printed"]["EVPI"], abs=1e-9)


def test_test_then_act() -> None:
    v = EXAMPLES["two_stage_test_then_act"]
    plan = one_test("two_stage_test_then_act", v["test_cost"], list(v["likelihood"].values()))
    assert plan.value == pytest.approx(v["printed"]["value_with_test"], abs=1e-9)
    assert plan.stopping == pytest.approx(v["printed"]["value_without_test"], abs=1e-9)


def test_party_problem_for_money() -> None:
    """Howard's party, risk-neutral (recomputed figures): detector worth 11.2, perfect information 22."""
    v = EXAMPLES["party_problem"]
    says = np.array(v["detector"]["p_says_sunny"])
    plan = make_plan(np.array(v["prior"]), choices(v["dollar_value"]), [Look("detector", np.array([says, 1 - says]))])
    assert plan.steps[0].worth == pytest.approx(v["recomputed"]["risk_neutral"]["EVSI"], abs=1e-9)
    assert plan.perfect - plan.stopping == pytest.approx(v["recomputed"]["risk_neutral"]["EVPI"], abs=1e-9)


def test_information_that_costs_more_than_it_is_worth() -> None:
    """Neapolitan 1990, p. 373: no test is best, 28; the tests are worth 7.2 and 7.73 and cost 9 and 13."""
    v = EXAMPLES["car_buyer_neapolitan"]
    first = np.array(v["first_test"]["p_positive"])
    both = v["both_tests"]
    after_positive = np.array(both["p_second_positive_given_first_positive"])
    after_negative = np.array(both["p_second_positive_given_first_negative"])
    rows = [first * after_positive, first * (1 - after_positive)]
    rows += [(1 - first) * after_negative, (1 - first) * (1 - after_negative)]
    looks = [
        Look("first", np.array([first, 1 - first]), cost=v["first_test"]["cost"]),
        Look("both", np.array(rows), cost=both["cost_total"]),
    ]
    plan = make_plan(np.array(v["prior"]), choices(v["payoff"]), looks)
    assert plan.tree.stop == "buy"
    assert plan.value == pytest.approx(v["printed"]["value"])
    worth = {s.id: s.worth for s in plan.steps}
    assert worth["first"] == pytest.approx(v["recomputed"]["first_test"]["EVSI"], abs=1e-9)
    assert worth["both"] == pytest.approx(v["recomputed"]["both_tests"]["EVSI"], abs=1e-4)


def test_used_car_of_ten_subsystems() -> None:
    """Howard 1962 (from memory, recomputed): fuel and electrical test, 32.87; steering 32.60; the option 32.67."""
    v = EXAMPLES["used_car_full"]
    n, faulty = 10, np.array(v["faulty_of_10"], dtype=float)
    one = np.array([1 - faulty / n, faulty / n])
    none = (n - faulty) / n * (n - 1 - faulty) / (n - 1)
    two = faulty / n * (faulty - 1) / (n - 1)
    pair = np.array([none, 1 - none - two, two])
    # Two subsystems drawn one after the other: the second's result given the first's, as one check of four results.
    after = np.array([none, one[0] - none, one[1] - two, two])
    tests = v["tests"]
    prior, ways = np.array(v["prior"]), choices(v["payoff"])
    steering = make_plan(prior, ways, [Look("steering", one, cost=tests["steering"]["cost"])])
    fuel = make_plan(prior, ways, [Look("fuel", pair, cost=tests["fuel_and_electrical"]["cost"])])
    assert steering.value == pytest.approx(v["recomputed"]["steering"]["value"], abs=1e-6)
    assert fuel.value == pytest.approx(v["recomputed"]["fuel_and_electrical"]["value"], abs=1e-5)
    assert fuel.value == pytest.approx(v["printed"]["value"], abs=0.005)
    assert fuel.steps[0].worth == pytest.approx(v["recomputed"]["fuel_and_electrical"]["EVSI"], abs=1e-5)
    assert after.sum(axis=0) == pytest.approx([1, 1])


def test_shale_gas_sells_differently_after_the_test() -> None:
    """Kaminski et al. 2018: each plot state carries what the test said, so the test reveals part of the state."""
    v = EXAMPLES["shale_gas"]
    gas, t = np.array(v["prior"]), v["test"]
    says = np.array([[t["sensitivity"], 1 - t["sensitivity"]], [1 - t["specificity"], t["specificity"]]])
    weights = (gas[:, None] * says).ravel()  # (gas, says): gas+, gas-, none+, none-
    dig = np.repeat([v["dig"]["benefit_if_gas"] - v["dig"]["cost"], -v["dig"]["cost"]], 2).astype(float)
    sell = np.tile([t["sell_after_positive"], t["sell_after_negative"]], 2).astype(float)
    tested = make_plan(weights, [Choice("dig", dig), Choice("sell", sell)], [Look("test", np.tile(np.eye(2), 2))])
    assert tested.value - t["cost"] == pytest.approx(v["recomputed"]["value_best"], abs=1e-9)
    assert float(dig @ weights) == pytest.approx(v["recomputed"]["dig_untested"], abs=1e-9)
