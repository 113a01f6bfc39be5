"""Formula: pieces of spreadsheet formulas that reckon as the program does.

They use functions that every spreadsheet has known for twenty years: no macros, no array spills, nothing that
recalculates by itself.
"""

from __future__ import annotations

from econ.money import SIGNS


def text(words: str) -> str:
    """Return a text as it stands in a formula."""
    doubled = words.replace('"', '""')
    parts = [doubled[i : i + 200] for i in range(0, len(doubled), 200)] or [""]
    for n, part in enumerate(parts[:-1]):  # a formula holds texts of 255 characters; a pair of marks stays together
        if part.endswith('"') and (len(part) - len(part.rstrip('"'))) % 2:
            parts[n], parts[n + 1] = part[:-1], '"' + parts[n + 1]
    return "&".join(f'"{part}"' for part in parts)


def even(x: str) -> str:
    """Return x rounded to a whole number, half to even, as `money.divide` rounds. x is repeated, so it is short."""
    return f"(INT({x})+(({x})-INT({x})>0.5)+(({x})-INT({x})=0.5)*MOD(INT({x}),2))"


def minor(x: str, scale: int) -> str:
    """Return an amount in minor units, whole. scale: minor units in one."""
    return f"ROUND({x}*{scale},0)" if scale != 1 else f"ROUND({x},0)"


def millionths(rate: str) -> str:
    """Return a rate in whole millionths."""
    return f"ROUND({rate}*1000000,0)"


def said(x: str, currency: str, digits: int) -> str:
    """Return an amount in words for people as `money.say` does: whole from ten up. x: short, it is repeated."""
    sign = SIGNS.get(currency, currency + " ")
    whole = f"FIXED({even(f'ABS({x})')},0)"
    fine = f"FIXED(ABS({x}),{digits})"
    below = f"{x}<=-{0.5 / 10**digits:.6f}"
    return f'IF({below},"-","")&{text(sign)}&IF(OR(ABS({x})>=10,ABS({x})<0.005),{whole},{fine})'


def percent(x: str) -> str:
    """Return a chance for people as `words.percent` does."""
    return f'IF({x}>=0.995,"over 99 %",IF(AND({x}>0,{x}<0.005),"under 1 %",{even(f"100*{x}")}&" %"))'
