"""Calliper: what was measured on a bearing, as text, into bore, outside and width in millimetres."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from unicodedata import normalize

from econ.bearing_sizes import INCH, inches
from econ.problems import BadInput, Problem, shown

MEASURES = ("bore", "outside", "width")
TOLERANCE = 0.1  # a calliper's reading error in a repairer's hand, either way [mm]; judgement
MOST_TOLERANCE = 1.0  # [mm]
LEAST, MOST = 0.5, 500.0  # of any measure [mm]
FRACTION_STEP = INCH / 128  # a fraction of an inch is read to the nearest 64th at best: half of one [mm]; judgement
COARSEST_STEP = 0.5  # [mm]
LONGEST = 100  # characters
MISSING = "?"
EXAMPLE = "17x40x12"

_BETWEEN = re.compile(r"\s*(?:[x×*]|by)\s*")
_TWO_MEASURES = re.compile(r"[0-9?.\"'mnhs]" + _BETWEEN.pattern + r"[?0-9.+-]")
_UNIT = re.compile(r"(?:(mm)|(in|inch|inches|\"|''))\.?$")
_FRACTION = re.compile(r"(?:[0-9]+(?:\s+|-))?[0-9]+/[0-9]+")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")


@dataclass(frozen=True)
class Measure:
    """One measure. mm: None where it was not taken. step: how far rounding alone may have moved it, either way [mm]."""

    mm: float | None
    step: float = 0.0


@dataclass(frozen=True)
class Measured:
    """What was measured on one bearing. in_inches: at least one measure was."""

    text: str
    bore: Measure
    outside: Measure
    width: Measure
    in_inches: bool = False

    def each(self) -> tuple[Measure, Measure, Measure]:
        """Return bore, outside and width."""
        return self.bore, self.outside, self.width


def mm(value: float) -> str:
    """Return millimetres to the thousandth at most, e.g. ``17`` or ``28.575``."""
    return f"{value + 1e-9:.3f}".rstrip("0").rstrip(".")


def is_size(text: str) -> bool:
    """Return whether a text means a size, such as ``17x40x12``, rather than a designation."""
    return _TWO_MEASURES.search(_plain(text)) is not None


def _plain(text: str) -> str:
    spread = re.sub(r"([¼½¾⅛⅜⅝⅞])", r" \1 ", text)
    for sign in "″”“":
        spread = spread.replace(sign, '"')
    return normalize("NFKC", spread).replace("⁄", "/").replace(",", ".").strip().lower()


def _number(text: str) -> tuple[float, float, bool]:
    """Return a number, half of its last digit, and whether it is written as a fraction. Raises ValueError."""
    if _FRACTION.fullmatch(text):
        return float(inches(text.replace("-", " "))), 0.0, True
    if not _DECIMAL.fullmatch(text):
        raise ValueError(text)
    return float(text), 0.5 * 10.0 ** -len(text.partition(".")[2]), False


def _millimetres(value: float, step: float, fraction: bool, unit: str) -> Measure:
    if unit == "mm":
        return Measure(value, min(step, COARSEST_STEP))
    whole = step >= COARSEST_STEP  # a whole inch is written without its fraction: 1 stands for 1 0/64
    return Measure(value * INCH, FRACTION_STEP if fraction or whole else min(step * INCH, COARSEST_STEP))


def _shape(text: str) -> list[str]:
    """Return the pieces of a size. Raises BadInput where there are not three, or two."""
    rule = f"a size is bore x outside x width, such as {EXAMPLE} or 3/4 x 1 3/4 x 1/2 in"
    if len(text) > LONGEST:
        raise BadInput([Problem("size", shown(text), f"a size has at most {LONGEST} characters", "shorten it")])
    pieces = _BETWEEN.split(_plain(text))
    if not 2 <= len(pieces) <= 3:
        remedy = f"give three measures with x between them, {MISSING} for one that can't be taken"
        raise BadInput([Problem("size", shown(text), rule, remedy)])
    return [*pieces, MISSING] if len(pieces) == 2 else pieces


def _checked(name: str, piece: str, value: float, fraction: bool, unit: str) -> list[Problem]:
    path, got = f"size.{name}", shown(piece)
    if value <= 0:
        return [Problem(path, got, "a measure is more than nothing", f"measure it, or write {MISSING}")]
    if fraction and unit == "mm":
        remedy = "give each its own unit: 5/8in x 40mm x 12mm"
        return [Problem(path, got, "a fraction is of an inch, not of a millimetre", remedy)]
    length = value if unit == "mm" else value * INCH
    if not LEAST <= length <= MOST:
        remedy = "look at the point and the unit; say mm or in behind each if both are used"
        return [Problem(path, got, f"a measure here is {LEAST:g} to {MOST:g} mm", remedy)]
    return []


def _out_of_order(given: dict[str, float]) -> list[Problem]:
    bore, outside, width = (given.get(name) for name in MEASURES)
    remedy = "the order is bore x outside x width"
    found = []
    if bore is not None and outside is not None and bore >= outside:
        rule = f"the bore is smaller than the outside, {mm(outside)} mm"
        found.append(Problem("size.bore", f"{mm(bore)} mm", rule, remedy))
    if width is not None and outside is not None and width >= outside:
        rule = f"a ball bearing is less wide than its outside, {mm(outside)} mm"
        found.append(Problem("size.width", f"{mm(width)} mm", rule, remedy))
    return found


def read_size(text: str) -> Measured:
    """Return what a size says, e.g. ``17 x 40 x 12 mm``, ``3/4 x 1-3/4 x 1/2 in`` or ``17x40x?``.

    Millimetres, unless inches are said (``in`` or ``"``) or a fraction stands without a unit. A unit counts for the
    measures before it that have none. Raises BadInput with every problem.
    """
    pieces = _shape(text)
    found: list[Problem] = []
    numbers: dict[str, tuple[str, float, float, bool]] = {}
    units: dict[str, str] = {}
    for name, piece in zip(MEASURES, pieces, strict=True):
        unit = _UNIT.search(piece)
        bare = piece[: unit.start()].strip() if unit else piece
        if bare == MISSING:
            continue
        try:
            numbers[name] = (piece, *_number(bare))
        except (ValueError, ZeroDivisionError):
            rule = "this is no number, such as 17, 16.9 or 1 3/4"
            found.append(Problem(f"size.{name}", shown(piece), rule, f"correct it, or write {MISSING}"))
            continue
        if unit:
            units[name] = "mm" if unit[1] else "in"
    unsaid = "in" if not units and any(fraction for *_, fraction in numbers.values()) else "mm"
    taken: dict[str, Measure] = {}
    for name, (piece, value, step, fraction) in numbers.items():
        later = [units[n] for n in MEASURES[MEASURES.index(name) :] if n in units]
        unit_of = (later or list(units.values())[-1:] or [unsaid])[0]
        wrong = _checked(name, piece, value, fraction, unit_of)
        found += wrong
        units.setdefault(name, unit_of)
        if not wrong:
            taken[name] = _millimetres(value, step, fraction, unit_of)
    found += _out_of_order({n: x.mm for n, x in taken.items() if x.mm is not None})
    if len(numbers) < 2 and not found:
        found.append(Problem("size", shown(text), "two of the three measures are needed at least", "measure another"))
    if found:
        raise BadInput(sorted(found, key=lambda p: MEASURES.index(p.path.partition(".")[2]) if "." in p.path else -1))
    bore, outside, width = (taken.get(name, Measure(None)) for name in MEASURES)
    return Measured(text.strip(), bore, outside, width, "in" in units.values())


def read_tolerance(text: str) -> float:
    """Return a reading error [mm]. Raises BadInput."""
    try:
        value = math.nan if "_" in text else float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0 <= value <= MOST_TOLERANCE:  # NaN fails too
        rule = f"the reading error is 0 to {MOST_TOLERANCE:g} mm"
        raise BadInput([Problem("tolerance", shown(text), rule, f"give it in mm, or leave it out for {TOLERANCE:g}")])
    return value
