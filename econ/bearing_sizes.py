"""Bearing sizes: deep groove ball bearings by designation, with bore, outside and width.

Metric: ISO 15 (radial bearings, boundary dimensions), of dimension series 10, 02, 03, 18 and 19 the bores that
`docs/bearings.md` lists. Inch: the R series (ABMA inch series) and the 1600 series of the trade. A table, not all there
is: other metric series, and smaller and larger bores, are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

INCH = 25.4  # [mm], exactly


@dataclass(frozen=True)
class Size:
    """A bearing size. bore, outside, width: [mm].

    inches: the same as written in the trade, e.g. ``1/2 x 1 1/8 x 1/4 in``; empty for a metric size. closed: the width
    of the version with seals or shields, where it differs. bore_inches: an inch bore in a metric size, e.g. ``5/8``.
    source: where the size stands.
    """

    designation: str
    series: str
    bore: float
    outside: float
    width: float
    inches: str = ""
    closed: bool = False
    bore_inches: str = ""
    source: str = ""


# Series as the trade calls it, its ISO 15 dimension series, and designation, bore, outside, width [mm].
METRIC: tuple[tuple[str, str, tuple[tuple[str, float, float, float], ...]], ...] = (
    (
        "60",
        "10",
        (
            ("604", 4, 12, 4), ("605", 5, 14, 5), ("606", 6, 17, 6), ("607", 7, 19, 6), ("608", 8, 22, 7),
            ("609", 9, 24, 7), ("6000", 10, 26, 8), ("6001", 12, 28, 8), ("6002", 15, 32, 9), ("6003", 17, 35, 10),
            ("6004", 20, 42, 12), ("60/22", 22, 44, 12), ("6005", 25, 47, 12), ("60/28", 28, 52, 12),
            ("6006", 30, 55, 13), ("60/32", 32, 58, 13), ("6007", 35, 62, 14), ("6008", 40, 68, 15),
            ("6009", 45, 75, 16), ("6010", 50, 80, 16), ("6011", 55, 90, 18), ("6012", 60, 95, 18),
        ),
    ),
    (
        "62",
        "02",
        (
            ("623", 3, 10, 4), ("624", 4, 13, 5), ("625", 5, 16, 5), ("626", 6, 19, 6), ("627", 7, 22, 7),
            ("628", 8, 24, 8), ("629", 9, 26, 8), ("6200", 10, 30, 9), ("6201", 12, 32, 10),
            ("6202", 15, 35, 11), ("6203", 17, 40, 12), ("6204", 20, 47, 14), ("62/22", 22, 50, 14),
            ("6205", 25, 52, 15), ("62/28", 28, 58, 16), ("6206", 30, 62, 16), ("62/32", 32, 65, 17),
            ("6207", 35, 72, 17), ("6208", 40, 80, 18), ("6209", 45, 85, 19), ("6210", 50, 90, 20),
            ("6211", 55, 100, 21), ("6212", 60, 110, 22),
        ),
    ),
    (
        "63",
        "03",
        (
            ("634", 4, 16, 5), ("635", 5, 19, 6), ("638", 8, 28, 9), ("6300", 10, 35, 11), ("6301", 12, 37, 12),
            ("6302", 15, 42, 13), ("6303", 17, 47, 14), ("6304", 20, 52, 15), ("63/22", 22, 56, 16),
            ("6305", 25, 62, 17), ("63/28", 28, 68, 18), ("6306", 30, 72, 19), ("63/32", 32, 75, 20),
            ("6307", 35, 80, 21), ("6308", 40, 90, 23), ("6309", 45, 100, 25), ("6310", 50, 110, 27),
            ("6311", 55, 120, 29), ("6312", 60, 130, 31),
        ),
    ),
    (
        "68",
        "18",
        (
            ("684", 4, 9, 2.5), ("685", 5, 11, 3), ("686", 6, 13, 3.5), ("687", 7, 14, 3.5), ("688", 8, 16, 4),
            ("689", 9, 17, 4),
            ("6800", 10, 19, 5), ("6801", 12, 21, 5), ("6802", 15, 24, 5), ("6803", 17, 26, 5), ("6804", 20, 32, 7),
            ("6805", 25, 37, 7), ("6806", 30, 42, 7), ("6807", 35, 47, 7), ("6808", 40, 52, 7), ("6809", 45, 58, 7),
            ("6810", 50, 65, 7), ("6811", 55, 72, 9), ("6812", 60, 78, 10),
        ),
    ),
    (
        "69",
        "19",
        (
            ("694", 4, 11, 4), ("695", 5, 13, 4), ("696", 6, 15, 5), ("697", 7, 17, 5), ("698", 8, 19, 6),
            ("699", 9, 20, 6),
            ("6900", 10, 22, 6), ("6901", 12, 24, 6), ("6902", 15, 28, 7), ("6903", 17, 30, 7), ("6904", 20, 37, 9),
            ("6905", 25, 42, 9), ("6906", 30, 47, 9), ("6907", 35, 55, 10), ("6908", 40, 62, 12), ("6909", 45, 68, 12),
            ("6910", 50, 72, 12), ("6911", 55, 80, 13), ("6912", 60, 85, 13),
        ),
    ),
)  # fmt: skip
# Width with seals or shields, where it is another than that of the open version [mm].
METRIC_CLOSED: tuple[tuple[str, float], ...] = (
    ("684", 4), ("685", 5), ("686", 5), ("687", 5), ("688", 5), ("689", 5),
)  # fmt: skip
# Designation, bore, outside, width of the open version [in].
R_SERIES: tuple[tuple[str, str, str, str], ...] = (
    ("R2", "1/8", "3/8", "5/32"), ("R3", "3/16", "1/2", "5/32"), ("R4", "1/4", "5/8", "0.196"),
    ("R6", "3/8", "7/8", "7/32"), ("R8", "1/2", "1 1/8", "1/4"), ("R10", "5/8", "1 3/8", "9/32"),
    ("R12", "3/4", "1 5/8", "5/16"), ("R14", "7/8", "1 7/8", "3/8"), ("R16", "1", "2", "3/8"),
    ("R18", "1 1/8", "2 1/8", "3/8"), ("R20", "1 1/4", "2 1/4", "3/8"), ("R22", "1 3/8", "2 1/2", "7/16"),
    ("R24", "1 1/2", "2 5/8", "7/16"),
)  # fmt: skip
# Width with seals or shields [in]; of those that are not here it is not known.
R_CLOSED: tuple[tuple[str, str], ...] = (
    ("R2", "5/32"), ("R3", "0.196"), ("R4", "0.196"), ("R6", "9/32"), ("R8", "5/16"), ("R10", "11/32"),
    ("R12", "7/16"), ("R14", "1/2"), ("R16", "1/2"), ("R18", "1/2"), ("R20", "1/2"),
)  # fmt: skip
# Designation, bore, outside, width, open or closed [in].
SERIES_1600: tuple[tuple[str, str, str, str], ...] = (
    ("1601", "3/16", "11/16", "1/4"), ("1602", "1/4", "11/16", "1/4"), ("1603", "5/16", "7/8", "9/32"),
    ("1604", "3/8", "7/8", "9/32"), ("1605", "5/16", "29/32", "5/16"), ("1606", "3/8", "29/32", "5/16"),
    ("1607", "7/16", "29/32", "5/16"), ("1614", "3/8", "1 1/8", "3/8"), ("1615", "7/16", "1 1/8", "3/8"),
    ("1616", "1/2", "1 1/8", "3/8"), ("1620", "7/16", "1 3/8", "7/16"), ("1621", "1/2", "1 3/8", "7/16"),
    ("1622", "9/16", "1 3/8", "7/16"), ("1623", "5/8", "1 3/8", "7/16"), ("1628", "5/8", "1 5/8", "1/2"),
    ("1630", "3/4", "1 5/8", "1/2"), ("1633", "5/8", "1 3/4", "1/2"), ("1635", "3/4", "1 3/4", "1/2"),
    ("1638", "3/4", "2", "9/16"), ("1640", "7/8", "2", "9/16"), ("1641", "1", "2", "9/16"),
    ("1652", "1 1/8", "2 1/2", "5/8"), ("1654", "1 1/4", "2 1/2", "5/8"), ("1657", "1 1/4", "2 9/16", "11/16"),
    ("1658", "1 5/16", "2 9/16", "11/16"),
)  # fmt: skip
# Metric sizes sold with an inch bore too [in], for wheels and spindles; common practice, 5/8 in seen in a parts list.
INCH_BORED: tuple[tuple[str, str], ...] = (
    ("6201", "1/2"), ("6202", "1/2"), ("6202", "5/8"), ("6203", "1/2"), ("6203", "5/8"), ("6203", "3/4"),
    ("6204", "3/4"), ("6205", "7/8"), ("6205", "1"),
)  # fmt: skip
ISO_15 = "ISO 15, dimension series {}"
ABMA = "ABMA inch series, as open CAD libraries carry it"
TRADE = "1600 inch series, a trade catalogue"
SPECIAL = "common practice: a metric size with an inch bore"
CLOSED = "width with seals or shields from a trade catalogue"


def inches(text: str) -> Fraction:
    """Return ``1 3/4``, ``3/4`` or ``0.196`` as an exact number."""
    return sum((Fraction(x) for x in text.split()), Fraction(0))


def _inch(series: str, row: tuple[str, str, str, str], source: str) -> Size:
    name, *measures = row
    bore, outside, width = (float(inches(x)) * INCH for x in measures)
    return Size(name, series, bore, outside, width, " x ".join(measures) + " in", source=source)


def _sizes() -> tuple[Size, ...]:
    found = [
        Size(name, f"{series} series", bore, outside, width, source=ISO_15.format(iso))
        for series, iso, rows in METRIC
        for name, bore, outside, width in rows
    ]
    found += [_inch("R series", row, ABMA) for row in R_SERIES]
    found += [_inch("1600 series", row, TRADE) for row in SERIES_1600]
    own = {s.designation: s for s in found}
    wider = dict(METRIC_CLOSED) | {name: float(inches(width)) * INCH for name, width in R_CLOSED}
    found += [_closed(own[name], width) for name, width in wider.items() if width != own[name].width]
    found += [with_bore(own[name], bore) for name, bore in INCH_BORED]
    return tuple(found)


def _closed(size: Size, width: float) -> Size:
    """Return the version of a size with seals or shields, of another width [mm]."""
    said = dict(R_CLOSED).get(size.designation, "")
    written = " x ".join([*size.inches.split(" x ")[:2], f"{said} in"]) if said else ""
    return replace(size, width=width, inches=written, closed=True, source=f"{size.source}; {CLOSED}")


def with_bore(size: Size, bore: str) -> Size:
    """Return a metric size with a bore in inches, e.g. ``5/8``, in place of its own."""
    return replace(size, bore=float(inches(bore)) * INCH, bore_inches=bore, source=SPECIAL)


SIZES: tuple[Size, ...] = _sizes()
# Those whose closed version is often wider than the open one, by how much is not known here.
CLOSED_UNKNOWN = frozenset(row[0] for row in R_SERIES) - dict(R_CLOSED).keys()
CLOSED_DIFFERS = CLOSED_UNKNOWN | {s.designation for s in SIZES if s.closed}


def twins(size: Size) -> tuple[Size, ...]:
    """Return the other rows that have the same measures: one size under two names."""
    same = (size.bore, size.outside, size.width)
    return tuple(s for s in SIZES if (s.bore, s.outside, s.width) == same and s.designation != size.designation)


# Series 18 and 19 have two names each for one size: 61803 is 6803, 619/8 is 698.
OTHER_NAMES = {
    f"61{n[1:]}" if len(n) > 3 else f"61{n[1]}/{n[2]}": n for series, _, rows in METRIC[3:] for n, *_ in rows
}
