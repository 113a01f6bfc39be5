"""Books: the tax depreciation of a replacement, for a business owner's books; nominal, and never part of a verdict."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from econ.case import Case
from econ.depreciation import macrs
from econ.market import Market
from econ.money import to_decimal

# Property without a class life of its own is seven-year property. Source: IRS Publication 946, How To Depreciate
# Property (from memory); Table A-1 for the percentages.
RECOVERY_YEARS = 7


@dataclass(frozen=True)
class BookYear:
    """One tax year of a new replacement: percent of its price, and the amount."""

    year: int
    percent: float
    amount: Decimal


def book_years(case: Case, market: Market) -> tuple[BookYear, ...]:
    """Return the yearly tax depreciation of a new machine, for commercial use in US dollars; else nothing."""
    if case.machine.use != "commercial" or case.currency != "USD":
        return ()
    return tuple(
        BookYear(year, round(float(p), 2), to_decimal(market.new_total * float(p) / 100, case.currency))
        for year, p in enumerate(macrs(RECOVERY_YEARS), start=1)
    )
