"""Economic life, marginal cost, defender and challenger: the worked examples of engineering economy textbooks.

A textbook's machine does not fail: survival is 1, service is one year each year, flows come at year end.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from econ.worth import Flows, cost_per_year, discount_factors, marginal_cost, worth_in_use

from .figures import entry

FILE = "equivalent_annual_cost"


def flows(rate: float, yearly: Sequence[float], salvage: Sequence[float] | float, now: float = 0.0) -> Flows:
    n = len(yearly)
    sale = np.concatenate([[now], np.broadcast_to(np.asarray(salvage, dtype=float), (n,))])
    return Flows(np.ones(n + 1), np.ones(n), discount_factors(rate, n, 1), np.array(yearly, float), sale, 0.0)


def test_newnan_13_1() -> None:
    """Newnan, Eschenbach and Lavelle, 9th ed., Example 13-1, p. 403; printed with rounded factors."""
    v = entry(FILE, "newnan_13_1")["values"]
    yearly = v["inputs"]["total_annual_cost_years_1_to_8"]
    cost = cost_per_year(v["inputs"]["first_cost"], flows(v["inputs"]["interest"], yearly, 0))
    assert cost == pytest.approx(v["recomputed"]["euac_by_year"], abs=0.005)
    assert int(cost.argmin()) + 1 == v["printed"]["economic_life_years"]
    assert cost.min() == pytest.approx(v["printed"]["min_euac"], abs=1)


def test_newnan_13_2_and_13_4() -> None:
    """Newnan et al., Examples 13-2 and 13-4, pp. 405-408; the lowest cost is printed to the nearest ten."""
    v = entry(FILE, "newnan_13_2_13_4_challenger")["values"]
    i, printed = v["inputs"], v["printed"]
    yearly = np.array(i["operating_and_maintenance"]) + i["breakdown_risk_cost"]
    machine = flows(i["interest"], yearly, i["market_value_end_of_year"])
    more, cost = marginal_cost(i["first_cost"], machine), cost_per_year(i["first_cost"], machine)
    assert more == pytest.approx(v["recomputed"]["marginal_cost_by_year"], abs=0.005)
    assert [more[0], more.min(), more[6]] == pytest.approx(
        [printed["marginal_cost_year_1"], printed["marginal_cost_lowest"], printed["marginal_cost_year_7"]]
    )
    assert cost == pytest.approx(v["recomputed"]["euac_by_year"], abs=0.005)
    assert int(cost.argmin()) + 1 == printed["economic_life_years"]
    assert round(cost.min(), -1) == printed["min_euac"]


def test_newnan_overhaul() -> None:
    """Newnan et al., p. 415: overhaul, keep four years, then replace."""
    v = entry(FILE, "newnan_overhaul")["values"]
    i, printed = v["inputs"], v["printed"]
    machine = flows(i["interest"], i["maintenance_years_1_to_5"], i["salvage_all_years"])
    more, cost = marginal_cost(i["overhaul_now"], machine), cost_per_year(i["overhaul_now"], machine)
    assert more == pytest.approx(printed["marginal_cost_by_year"], abs=0.5)
    assert cost == pytest.approx(v["recomputed"]["euac_by_year"], abs=0.005)
    assert int(cost.argmin()) + 1 == v["recomputed"]["year_of_lowest_euac"]
    # Keeping to its best stop, every year valued at what the challenger costs, finds the printed four years.
    one = np.ones(1)
    assert worth_in_use(machine, i["challenger_min_euac"], one, one, one).stop[0] == printed["keep_years"]


def test_blank_tarquin_11_2() -> None:
    """Blank and Tarquin, Engineering Economy, 5th ed., Example 11.2, p. 377."""
    v = entry(FILE, "blank_tarquin_11_2")["values"]
    i, printed = v["inputs"], v["printed"]
    sale = i["market_value_end_of_year"]
    cost = cost_per_year(i["market_value_now"], flows(i["interest"], i["annual_operating_cost"], sale))
    capital = cost_per_year(i["market_value_now"], flows(i["interest"], [0.0] * 5, sale))
    assert np.round(cost[:3]) == pytest.approx(printed["annual_worth_cost_years_1_to_3"])
    assert cost == pytest.approx(v["recomputed"]["euac_by_year"], abs=0.005)
    assert capital[:3] == pytest.approx(printed["capital_recovery_years_1_to_3"], abs=0.5)
    assert int(cost.argmin()) + 1 == v["recomputed"]["economic_life_years"]


def test_sullivan_9_5() -> None:
    """Sullivan, Wicks and Koelling, Engineering Economy, 16th ed., Problem 9-5, to the cent."""
    v = entry(FILE, "sullivan_9_5")["values"]
    i = v["inputs"]
    cost = cost_per_year(i["first_cost"], flows(i["interest"], i["annual_cost_years_1_to_7"], 0))
    assert np.round(cost, 2).tolist() == v["printed"]["euac_by_year"]
    assert int(cost.argmin()) + 1 == v["recomputed"]["economic_life_years"]


def test_course_problem_25000() -> None:
    """An unattributed course problem, to the printed unit."""
    v = entry(FILE, "course_problem_25000")["values"]
    i = v["inputs"]
    machine = flows(i["interest"], i["annual_cost"], i["salvage_end_of_year"])
    assert cost_per_year(i["first_cost"], machine) == pytest.approx(v["printed"]["eac_by_year"], abs=0.5)
    assert marginal_cost(i["first_cost"], machine) == pytest.approx(v["printed"]["marginal_cost_by_year"])


def test_sullivan_defender_and_challenger() -> None:
    """Sullivan et al., replacement problem, to the cent: keep one year, then replace."""
    v = entry(FILE, "sullivan_defender_challenger")["values"]
    i, printed = v["inputs"], v["printed"]
    d, c = i["defender"], i["challenger"]
    old = flows(i["interest"], d["annual_cost"], d["market_value_end_of_year"], d["market_value_now"])
    assert np.round(marginal_cost(d["market_value_now"], old), 2).tolist() == printed["defender_marginal_cost"]
    assert np.round(cost_per_year(d["market_value_now"], old), 2).tolist() == printed["defender_euac"]
    new = flows(i["interest"], [c["annual_cost"]] * c["life_years"], c["salvage"])
    yearly = cost_per_year(c["first_cost"], new)[-1]
    assert round(yearly, 2) == printed["challenger_euac"]
    one = np.ones(1)
    assert worth_in_use(old, yearly, one, one, one).stop[0] == 1


def test_white_11_10() -> None:
    """White, Case and Pratt, 5th ed., Example 11.10, outsider viewpoint; printed with five-digit factors."""
    v = entry(FILE, "white_11_10")["values"]
    i, found = v["inputs"], v["recomputed"]
    keep = cost_per_year(
        i["keep"]["market_value_now"], flows(i["interest"], i["keep"]["annual_cost"], i["keep"]["salvage"])
    )[-1]
    replace = cost_per_year(
        i["replace"]["first_cost"], flows(i["interest"], i["replace"]["annual_cost"], i["replace"]["salvage"])
    )[-1]
    assert (keep, replace) == pytest.approx((found["euac_keep"], found["euac_replace"]), abs=0.005)
    assert replace - keep == pytest.approx(v["printed"]["euac_replace_minus_keep"], abs=0.1)
