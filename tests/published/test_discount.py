"""Present values: NISTIR 85-3273, textbook factor tables, and numpy-financial."""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
import pytest

from econ.worth import discount_factors

from .figures import entry

NIST = entry("discount_factors", "nistir_85_3273_3pct")["values"]
GRID = entry("discount_factors", "computed_grid")["values"]
THREE = entry("discount_factors", "factor_table_3pct")
THIRTY_FIVE = entry("discount_factors", "factor_table_35pct")


def factors(rate: float, years: int) -> tuple[float, float]:
    """Return the present value of 1 after so many years, and of 1 at the end of each of them."""
    d = discount_factors(rate, years, per_year=1)
    return float(d[-1]), float(d[1:].sum())


@pytest.mark.parametrize("years", NIST["SPV"])
def test_nist_tables_a1_and_a2(years: int) -> None:
    single, uniform = factors(0.03, years)
    assert round(single, 3) == NIST["SPV"][years]
    assert round(uniform, 2) == NIST["UPV"][years]


@pytest.mark.parametrize(("table", "rate"), [(THREE, 0.03), (THIRTY_FIVE, 0.35)], ids=["3 %", "35 %"])
def test_compound_interest_tables(table: dict, rate: float) -> None:
    """To half a unit of the last printed digit; Newnan p. 585 and Blank and Tarquin table 8."""
    for years, row in table["values"].items():
        single, uniform = factors(rate, years)
        printed = dict(zip(table["columns"], row, strict=True))
        for name, value in (("P/F", single), ("P/A", uniform), ("A/P", 1 / uniform)):
            digits = len(str(printed[name]).partition(".")[2])
            assert value == pytest.approx(printed[name], abs=0.5001 * 10**-digits), (years, name)


@pytest.mark.parametrize("percent", GRID)
def test_computed_grid_and_numpy_financial(percent: str) -> None:
    rate = int(percent.removesuffix("pct")) / 100
    for years, row in GRID[percent].items():
        single, uniform = factors(rate, years)
        assert (single, uniform, 1 / uniform) == pytest.approx(row, abs=5.1e-7)
        assert single == pytest.approx(-npf.pv(rate, years, 0, 1), rel=1e-13)
        assert uniform == pytest.approx(-npf.pv(rate, years, 1), rel=1e-12)
        assert 1 / uniform == pytest.approx(-npf.pmt(rate, years, 1), rel=1e-12)


def test_monthly_steps_meet_the_yearly_ones() -> None:
    monthly = discount_factors(0.07, 120)
    assert monthly[::12] == pytest.approx(discount_factors(0.07, 10, per_year=1), rel=1e-14)
    assert np.sum(monthly[1:]) == pytest.approx(-npf.pv(1.07 ** (1 / 12) - 1, 120, 1), rel=1e-12)
