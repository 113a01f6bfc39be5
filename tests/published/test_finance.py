"""Annuities inside worth and cost per year, against numpy-financial."""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
import pytest

from econ.worth import Flows, cost_per_year, discount_factors, marginal_cost, worth_in_use

RATE, MONTHLY = 0.05, 1.05 ** (1 / 12) - 1


def steady(months: int, upkeep: float, sale: float) -> Flows:
    """Return a machine that never fails, with level upkeep and a level price."""
    service = np.full(months, 1 / 12)
    return Flows(
        np.ones(months + 1),
        service,
        discount_factors(RATE, months),
        np.full(months, upkeep),
        np.full(months + 1, sale),
        0,
    )


def test_worth_in_use_is_an_annuity_and_the_price_at_the_end() -> None:
    """A year of service worth 240, upkeep of 60: 15 a month, and the sale a lump sum at the end (npf.pv)."""
    one = np.ones(1)
    use = worth_in_use(steady(84, 60.0, 30.0), 240.0, one, one, one)
    assert use.stop[0] == 84
    assert use.worth[0] == pytest.approx(-npf.pv(MONTHLY, 84, 15.0, 30.0), rel=1e-12)
    assert use.years[0] == pytest.approx(-npf.pv(MONTHLY, 84, 1 / 12), rel=1e-12)


def test_upkeep_alone_lowers_worth_by_its_present_value() -> None:
    one = np.ones(1)
    with_it, without = (worth_in_use(steady(60, u, 0.0), 300.0, one, one, one).worth[0] for u in (90.0, 0.0))
    assert without - with_it == pytest.approx(-npf.pv(MONTHLY, 60, 90.0 / 12), rel=1e-12)


def test_cost_per_year_is_the_loan_payment_on_the_price() -> None:
    """Twelve monthly payments that pay the price off, less the sale (npf.pmt), and upkeep on top."""
    cost = cost_per_year(700.0, steady(120, 40.0, 100.0))
    paid = [-12 * npf.pmt(MONTHLY, n, 700.0, -100.0) + 40.0 for n in (1, 12, 60, 120)]
    assert cost[[0, 11, 59, 119]] == pytest.approx(paid, rel=1e-11)


def test_marginal_costs_have_the_present_value_of_the_whole_cost() -> None:
    """NPV of the marginal costs = annual cost x discounted service (npf.npv); Newnan et al. 2004, ch. 13."""
    machine = steady(48, 40.0, 250.0)
    more = marginal_cost(700.0, machine)
    whole = cost_per_year(700.0, machine)[-1] * (-npf.pv(MONTHLY, 48, 1 / 12))
    assert npf.npv(MONTHLY, [0.0, *more]) == pytest.approx(whole, rel=1e-11)
