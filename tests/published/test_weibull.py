"""Wear-out and repeat failures against print: fits, age replacement, minimal repair, renewals, replacement by age.

Sources: NIST/SEMATECH e-Handbook 8.4.1.3; Lieblein & Zelen (1956); Barlow & Proschan (1965); Barlow & Hunter (1960);
Xie (1989); Miranda & Fackler (2002), 7.6.2 and 7.6.3; M. A. Trick, Dynamic Programming notes (1998).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import weibull_min

from econ.ahead import Component, ahead
from econ.life import Life
from econ.wearout import age_replacement, fit_life
from econ.worth import Flows

from .figures import entry

FIT = entry("repeat_failures", "nist_8_4_1_3_censored_mle")["values"]
BALLS = entry("bearing_life", "lieblein_zelen_23")
TRADE_IN = entry("trade_in", "five_year_trade_in_dp")["values"]
REPLACED = entry("asset_replacement", "asset_replacement_dp")
SERVICED = entry("asset_replacement", "asset_replacement_with_maintenance_dp")


def life_of(shape: float, scale: float = 1.0) -> Life:
    return Life(scale * math.log(2) ** (1 / shape), shape)


def lasting(steps: int, length: float = 1.0) -> Flows:
    """A machine that never ends, is worth 1 a year in use and nothing otherwise."""
    n = steps
    return Flows(np.ones(n + 1), np.full(n, length), np.ones(n + 1), np.zeros(n), np.zeros(n + 1), 0.0)


def test_fit_with_lives_still_running() -> None:
    """NIST 8.4.1.3: ten failures of twenty, the others running at 500 h."""
    fit = fit_life(FIT["failures_h"], [FIT["censored_h"]] * FIT["censored_n"])
    assert fit.shape == pytest.approx(FIT["shape"], abs=5e-5)
    assert fit.scale == pytest.approx(FIT["scale"], abs=5e-4)
    assert (fit.failures, fit.survivors) == (10, 10)
    assert weibull_min.mean(fit.shape, scale=fit.scale) == pytest.approx(FIT["mean_h"], abs=5e-3)
    alike = (weibull_min.logpdf(FIT["failures_h"], fit.shape, scale=fit.scale)).sum()
    alike += 10 * weibull_min.logsf(FIT["censored_h"], fit.shape, scale=fit.scale)
    assert alike == pytest.approx(FIT["log_likelihood"], abs=5e-4)


@pytest.mark.parametrize("seventh", ["printed", "variant"])
def test_the_23_ball_bearings(seventh: str) -> None:
    data, said = list(BALLS["values"]["data"]), BALLS["values"]
    expected = (said["weibull_shape"], said["weibull_scale"])
    if seventh == "variant":
        data[6], expected = 48.80, (BALLS["variant"]["shape"], BALLS["variant"]["scale"])
    fit = fit_life(data)
    assert (fit.shape, fit.scale) == pytest.approx(expected, rel=3e-6)
    if seventh == "printed":
        assert (round(fit.shape, 3), round(fit.scale, 2)) == (said["published_shape"], said["published_scale"])
        assert fit.median == pytest.approx(said["B50"], abs=5e-4)


@pytest.mark.parametrize("row", entry("repeat_failures", "age_replacement_table")["values"])
def test_age_replacement(row: dict) -> None:
    age, rate = age_replacement(row["shape"], 1.0, 1.0, row["cost_ratio_failure_to_planned"])
    assert age == pytest.approx(row["t_opt_over_eta"], abs=6e-7)
    assert rate == pytest.approx(row["min_cost_rate_times_eta_over_cp"], abs=6e-7)
    never, run_on = age_replacement(1.0, 1 / math.gamma(1 + 1 / row["shape"]), 1.0, 2.0)
    assert never == math.inf
    assert run_on == pytest.approx(2.0 * math.gamma(1 + 1 / row["shape"]), rel=1e-12)


def test_age_replacement_as_published() -> None:
    v = entry("repeat_failures", "age_replacement_reference")["values"]
    age, rate = age_replacement(v["shape"], v["eta"], v["cost_planned"], v["cost_failure"])
    assert age == pytest.approx(v["t_opt_h"], abs=5e-7)
    assert rate == pytest.approx(v["min_cost_rate"], abs=5e-12)
    _, failing = age_replacement(v["shape"], v["eta"], v["cost_failure"], v["cost_failure"])
    assert failing == pytest.approx(v["run_to_failure_cost_rate"], abs=5e-12)


@pytest.mark.parametrize("row", entry("repeat_failures", "renewal_function_weibull")["values"])
@pytest.mark.parametrize(("per_scale", "near"), [(12, 2e-3), (100, 3e-5)])
def test_repairs_without_end_are_the_renewal_function(row: dict, per_scale: int, near: float) -> None:
    """No walking away, no end of the machine: repairs to come = M(t) (Xie 1989)."""
    for t, expected in zip(row["t"], row["M"], strict=True):
        n = round(t * per_scale)
        found = ahead(lasting(n), 1.0, np.zeros(n + 1), Component(life_of(row["shape"]), 0.0), 0.0, 1 / per_scale)
        assert found.repairs == pytest.approx(expected, abs=near)


def test_repairs_of_a_memoryless_part() -> None:
    """Rate 0.3 over 10: three repairs, whatever the part's age (Barlow & Proschan 1965; Ross)."""
    v = next(
        x for x in entry("repeat_failures", "renewal_function_exact_cases")["values"] if "exponential" in x["dist"]
    )
    for renews in (True, False):
        part = Component(life_of(1.0, 1 / 0.3), 0.0, renews=renews)
        found = ahead(lasting(1000), 1.0, np.zeros(1001), part, 7.0, v["t"] / 1000)
        assert found.repairs == pytest.approx(v["M"], abs=1e-4)


@pytest.mark.parametrize("row", entry("repeat_failures", "minimal_repair_block")["values"])
def test_minimal_repair(row: dict) -> None:
    """A part patched at each failure and renewed every T: least cost a unit of time, and its T (Barlow & Hunter)."""
    steps = np.arange(280, 620)
    unit = row["t_opt"] / 446.65839  # steps of about a thousandth of the scale in the first row
    rates = []
    for n in steps:
        part = Component(life_of(row["shape"], row["eta"]), row["cm"], renews=False)
        found = ahead(lasting(int(n), 1e6), 1.0, np.full(n + 1, -1e9), part, 0.0, unit)
        assert found.repairs_cost == pytest.approx(row["cm"] * (n * unit / row["eta"]) ** row["shape"], rel=2e-3)
        rates.append((row["cp"] + found.repairs_cost) / (n * unit))
    assert min(rates) == pytest.approx(row["min_cost_rate"], rel=1e-4)
    assert steps[int(np.argmin(rates))] * unit == pytest.approx(row["t_opt"], rel=5e-3)


def test_repair_limit_by_age() -> None:
    """Miranda & Fackler 7.6.2: keep minus replace is the repair limit; one run from age 1 gives all of them."""
    v = REPLACED["values"]
    replacing = v["profit_when_replacing"] + v["discount"] * v["value"][0]
    profits = np.array([50 - 2.5 * a - 2.5 * a**2 for a in v["ages"][:-1]])
    n, stop = profits.size, np.full(profits.size + 1, replacing)
    flows = Flows(np.ones(n + 1), np.ones(n), v["discount"] ** np.arange(n + 1), -profits / v["discount"], stop, 0.0)
    found = ahead(flows, 0.0, stop, None, 0.0, 1.0)
    assert found.worth == pytest.approx(v["value"][0], abs=5e-8)
    for age, limit in REPLACED["derived"]["repair_limit_by_age"].items():
        assert found.limit[age - 1] == pytest.approx(limit, abs=5e-6)
    assert found.walk_away(1.0) == v["action"].index("replace")


def test_keep_service_or_replace() -> None:
    """Miranda & Fackler 7.6.3: one run of keeping on from each state, a service or a replacement in its sale price."""
    v = SERVICED["values"]
    discount, oldest, most = v["discount"], v["max_age"], 4  # services so far, the largest the states show
    told = {(x["age"], x["services"]): x for x in v["states"]}
    replacing = 50 - v["replacement_cost"] + discount * told[1, 0]["value"]

    def profit(age: int, services: int) -> float:
        return (1 - (age - services) / 5) * (50 - 2.5 * age - 2.5 * age**2)

    def service(age: int, services: int) -> float:
        if age == oldest or services == most:
            return -math.inf
        return profit(age, services + 1) - v["service_cost"] + discount * max(best(age + 1, services + 1).values())

    def best(age: int, services: int) -> dict[str, float]:
        found = {"replace": replacing, "service": service(age, services)}
        if age == oldest:
            return found
        ages = range(age, oldest)
        n, earned = len(ages), np.array([profit(a, services) for a in ages])
        sale = np.array([-np.inf, *(max(replacing, service(a + 1, services)) for a in ages)])
        flows = Flows(np.ones(n + 1), np.ones(n), discount ** np.arange(n + 1), -earned / discount, sale, 0.0)
        return {**found, "keep": ahead(flows, 0.0, sale, None, 0.0, 1.0).worth}

    for (age, services), state in told.items():
        found = best(age, services)
        assert max(found.values()) == pytest.approx(state["value"], abs=1e-5)
        assert max(found, key=lambda action: found[action]) == state["action"]


def test_five_years_of_trading_in() -> None:
    """Trick 1998: the best of keeping on and trading in, what follows a trade standing in its sale price."""
    new, upkeep, paid = TRADE_IN["new_price"], TRADE_IN["maintenance_by_year_of_use"], TRADE_IN["trade_in_after_years"]
    years, oldest = TRADE_IN["horizon_years"], TRADE_IN["max_age"]
    fresh = {years: 0.0}  # worth of starting with a new one at a time, its price paid

    def to_go(start: int, age: int) -> float:
        n = min(oldest - age, years - start)
        sale = np.array(
            [(paid[age + k - 1] if age + k else -np.inf) + fresh.get(start + k, -np.inf) for k in range(n + 1)]
        )
        flows = Flows(np.ones(n + 1), np.ones(n), np.ones(n + 1), np.array(upkeep[age : age + n], float), sale, 0.0)
        return ahead(flows, 0.0, sale, None, 0.0, 1.0).worth if n else float(sale[0])

    for start in range(years - 1, -1, -1):
        fresh[start] = to_go(start, 0) - new
    assert -fresh[0] == TRADE_IN["min_total_cost"]
    for time, row in TRADE_IN["cost_to_go"].items():
        for age, cost in row.items():
            assert -to_go(int(time[1:]), age) == cost
