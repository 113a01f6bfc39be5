"""Money: one currency per case, integer minor units inside, decimal text at the doors.

All rounding of money goes through `divide` (half to even), on single integers and on arrays alike, so that an
estimate and a table of ten thousand tickets can't disagree.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
Numbers = NDArray[np.signedinteger[Any]]  # whole numbers, of half the length of those where it is enough
Whole = TypeVar("Whole", int, IntArray)

# Digits after the point, ISO 4217; currencies not listed are refused rather than guessed.
DIGITS = {
    "AUD": 2, "BHD": 3, "BRL": 2, "CAD": 2, "CHF": 2, "CLP": 0, "CNY": 2, "CZK": 2, "DKK": 2, "EUR": 2,
    "GBP": 2, "HUF": 2, "IDR": 2, "ILS": 2, "INR": 2, "ISK": 0, "JOD": 3, "JPY": 0, "KES": 2, "KRW": 0,
    "KWD": 3, "MXN": 2, "MYR": 2, "NOK": 2, "NZD": 2, "OMR": 3, "PHP": 2, "PLN": 2, "RON": 2, "SEK": 2,
    "SGD": 2, "THB": 2, "TND": 3, "TRY": 2, "TWD": 2, "UAH": 2, "USD": 2, "VND": 0, "ZAR": 2,
}  # fmt: skip
SIGNS = {"USD": "$", "EUR": "€", "GBP": "£"}
RATE_UNIT = 1_000_000  # rates are held as whole millionths, so that money times rate stays an integer


def divide(numerator: Whole, denominator: int) -> Whole:
    """Divide whole numbers, rounding half to even: the one rounding rule for money.

    numerator: int or int64 array [minor units x something]; denominator: int > 0.
    """
    quotient, rest = numerator // denominator, numerator % denominator
    up = (2 * rest > denominator) | ((2 * rest == denominator) & (quotient % 2 == 1))
    result: Whole = quotient + up  # a bool adds as 0 or 1
    return result


def millionths(rate: Decimal) -> int:
    """Return a rate [1] as whole millionths, half to even."""
    return int((rate * RATE_UNIT).to_integral_value(ROUND_HALF_EVEN))


def share(amount: Whole, rate: int) -> Whole:
    """Return amount x rate [minor units]; rate in millionths."""
    return divide(amount * rate, RATE_UNIT)


def to_minor(amount: Decimal, currency: str) -> int:
    """Return a decimal amount as minor units (cents), half to even."""
    return int(amount.scaleb(DIGITS[currency]).to_integral_value(ROUND_HALF_EVEN))


def to_decimal(minor: float, currency: str) -> Decimal:
    """Return minor units as a decimal amount of the currency's digits; fractions are rounded half to even."""
    whole = Decimal(minor).to_integral_value(ROUND_HALF_EVEN)
    return (whole if whole else Decimal(0)).scaleb(-DIGITS[currency])


def say(minor: float, currency: str) -> str:
    """Return an amount rounded for people: whole units from ten up, else to the cent, e.g. ``$138``, ``-CHF 12``."""
    scale = 10 ** DIGITS[currency]
    major = minor / scale
    text = f"{abs(major):,.0f}" if abs(major) >= 10 or abs(major) < 0.005 else f"{abs(major):,.{DIGITS[currency]}f}"
    sign = "-" if major < 0 and text.strip("0.,") else ""
    return f"{sign}{SIGNS.get(currency, currency + ' ')}{text}"
