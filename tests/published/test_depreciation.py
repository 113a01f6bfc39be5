"""Depreciation curves: BEA rates, IRS Table A-1 and the remaining-value table of Iowa State Extension."""

from __future__ import annotations

import numpy as np
import pytest

from econ.depreciation import (
    Curve,
    declining_balance,
    geometric,
    macrs,
    remaining_value,
    straight_line,
)

from .figures import entry, load

BEA = load("bea_depreciation")
IRS = load("irs_pub946_a1")
COEFFICIENTS = entry("asabe_remaining_value", "rv_coefficients_d497")["values"]
PRINTED = entry("asabe_remaining_value", "isu_table_1a")["values"]
# The table's horsepower classes beside the standard's (30-79 hp is 22-59 kW, 80-149 hp is 60-111 kW).
POWER_CLASS = {"tractor_30_79_hp": "tractor_under_60_kW", "tractor_80_149_hp": "tractor_60_to_112_kW"}


@pytest.mark.parametrize("worked", BEA["worked"], ids=lambda w: w["asset"])
def test_bea_worked_fractions(worked: dict) -> None:
    ages = np.array(list(worked["value_fraction_by_age"]), dtype=float)
    expected = list(worked["value_fraction_by_age"].values())
    assert geometric(ages, worked["rate"]) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("row", BEA["values"] + BEA["consumer_durables"], ids=lambda r: r["asset"])
def test_bea_rate_is_declining_balance_over_life(row: dict) -> None:
    first_year = 1 - declining_balance(1.0, row["declining_balance_rate"], row["service_life_years"])
    assert first_year == pytest.approx(row["depreciation_rate"], abs=5.1e-5)


@pytest.mark.parametrize("years", [3, 5, 7, 10])
def test_macrs_table_a1(years: int) -> None:
    percents = macrs(years)
    printed = IRS["values"][f"{years}_year"]
    largest = float(np.abs(percents - printed).max())
    assert round(largest, 4) <= IRS["max_abs_diff_from_formula"][f"{years}_year"]
    assert percents.sum() == pytest.approx(100.0, abs=1e-12)


@pytest.mark.parametrize(
    ("machine", "hours"), [(machine, hours) for machine, rows in PRINTED.items() for hours in rows]
)
def test_remaining_value_table(machine: str, hours: int) -> None:
    printed = PRINTED[machine][hours]
    share = remaining_value(np.arange(1, len(printed) + 1), hours, *COEFFICIENTS[POWER_CLASS[machine]])
    assert np.abs(np.round(100 * share) - printed).max() <= 1


def test_remaining_value_table_mostly_to_the_digit() -> None:
    """103 of the 113 printed values, as the figure file records."""
    same = total = 0
    for machine, rows in PRINTED.items():
        for hours, printed in rows.items():
            share = remaining_value(np.arange(1, len(printed) + 1), hours, *COEFFICIENTS[POWER_CLASS[machine]])
            same += int((np.round(100 * share) == printed).sum())
            total += len(printed)
    assert (same, total) == (103, 113)


@pytest.mark.parametrize("machine", COEFFICIENTS)
def test_remaining_value_never_rises_again(machine: str) -> None:
    share = remaining_value(np.linspace(0, 400, 4001), 300.0, *COEFFICIENTS[machine])
    assert (np.diff(share) <= 0).all()
    assert share.max() <= 1.0
    assert share[-1] == 0.0


def test_straight_line_and_salvage() -> None:
    """By hand: 10 years to a salvage of 0.1 is 0.09 a year (IRS Publication 946, straight line)."""
    assert straight_line([0, 1, 5, 10, 30], 10, 0.1) == pytest.approx([1.0, 0.91, 0.55, 0.1, 0.1])
    assert declining_balance([0, 1, 2, 30], 2.0, 10, 0.1) == pytest.approx([1.0, 0.8, 0.64, 0.1])


@pytest.mark.parametrize(
    ("curve", "expected"),
    [
        (Curve("geometric", rate=0.165), geometric(np.arange(9), 0.165)),
        (Curve("declining_balance", rate=1.65, life_years=14), declining_balance(np.arange(9), 1.65, 14)),
        (Curve("straight_line", life_years=8, salvage_share=0.2), straight_line(np.arange(9), 8, 0.2)),
        (
            Curve("remaining_value", c1=0.981, c2=0.093, c3=0.0058, hours_per_year=200),
            remaining_value(np.arange(9), 200, 0.981, 0.093, 0.0058),
        ),
    ],
    ids=lambda value: value.method if isinstance(value, Curve) else "",
)
def test_curve_uses_its_method_and_arrays_equal_scalars(curve: Curve, expected: np.ndarray) -> None:
    assert curve.share(np.arange(9)).tolist() == expected.tolist()
    assert [float(curve.share(age)) for age in range(9)] == expected.tolist()


def test_refusals_name_the_figure() -> None:
    with pytest.raises(ValueError, match="age: got -1"):
        geometric([1, -1], 0.1)
    with pytest.raises(ValueError, match=r"rate: got 1\.2; must be from 0 to 1"):
        geometric(1, 1.2)
    with pytest.raises(ValueError, match="rate_factor / life_years: got 2"):
        declining_balance(1, 2.0, 1.0)
    with pytest.raises(ValueError, match="age: got nan"):
        straight_line(np.nan, 10)
    with pytest.raises(ValueError, match="recovery_years: got 15"):
        macrs(15)
    with pytest.raises(ValueError, match='method: got "guess"'):
        Curve("guess").share(1)  # type: ignore[arg-type]
