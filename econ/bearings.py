"""Bearings: bore x outside x width by calliper to the designation of a ball bearing, and a designation to its size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from econ.bearing_fit import FITS, RANKS, Deviation, Fit, against, deviation
from econ.bearing_offers import BearingOffer, DayPrices, on_offer
from econ.bearing_sizes import CLOSED_DIFFERS, CLOSED_UNKNOWN, SIZES, Size, twins
from econ.bearing_suffixes import Named, Suffix, read_designation
from econ.bearing_words import (
    NEAREST,
    Candidate,
    again_words,
    elsewhere_words,
    headline,
    listed,
    price_words,
    size_words,
    title,
    too_near,
)
from econ.calliper import MEASURES, MISSING, TOLERANCE, Measured, mm, read_size, read_tolerance
from econ.money import DIGITS
from econ.problems import BadInput, Problem, nearest, shown

MOST = 6  # candidates listed


@dataclass(frozen=True)
class Use:
    """Where a bearing runs, and the suffix that suits it."""

    where: str
    suffix: str
    source: str


@dataclass(frozen=True)
class Bearing:
    """The whole answer. clear: one size stands out. left_out: how many more sizes fit than are listed.

    tolerance: the reading error allowed [mm]; None where a designation was asked for. as_of, price_revision: the day
    the prices are of, and the revision of the price book; None where no price book is in use.
    """

    version: str
    headline: str
    asked: str
    read_as: str
    tolerance: float | None
    as_of: str | None
    price_revision: int | None
    clear: bool
    candidates: tuple[Candidate, ...]
    left_out: int
    measure_again: str
    notes: tuple[str, ...]
    suffixes: tuple[Suffix, ...]
    uses: tuple[Use, ...]
    care: str


@dataclass(frozen=True)
class Sought:
    """A question, read. about: measures, or a designation. tolerance: reading error [mm]. currency: of the prices."""

    about: Measured | Named
    tolerance: float = TOLERANCE
    currency: str = "USD"


TRADE = "common practice"
CLOSED_WIDER = "one with seals or shields is often wider: measure it"
USES = (
    Use("wheels, blade spindles, idlers: dirt and water", "sealed on both sides (2RS)", TRADE),
    Use("clean, dry and fast, such as an alternator", "shielded (ZZ, 2Z) or sealed", TRADE),
    Use("inside an oil bath, such as a gearbox or a crankcase", "open", TRADE),
    Use(
        "where it runs hot or sits tight, such as a crankcase",
        "C3, if the maker says so or it is on the old one",
        TRADE,
    ),
)
CARE = (
    "The same size is not yet the same bearing: on a crankshaft, and wherever it runs fast or hot, the maker's manual "
    "decides on clearance, cage and speed. Spark lead off, or battery pack out, before work."
)


def _candidate(
    size: Size, fit: Fit | None, deviations: tuple[Deviation, ...], offers: tuple[BearingOffer, ...]
) -> Candidate:
    bore, outside, width = (round(x, 4) for x in (size.bore, size.outside, size.width))
    return Candidate(
        size.designation,
        size.closed,
        size.series,
        bore,
        outside,
        width,
        size.inches,
        size.bore_inches,
        fit,
        deviations,
        size.source,
        offers,
    )


def _held(size: Size, m: Measured, tolerance: float) -> tuple[Deviation, ...]:
    nominal = (size.bore, size.outside, size.width)
    return tuple(
        deviation(n, x, taken.mm, tolerance, taken.step)
        for n, x, taken in zip(MEASURES, nominal, m.each(), strict=True)
    )


def _notes(found: Sequence[Candidate], of_sizes: Sequence[Size] = ()) -> tuple[str, ...]:
    """Return what else to know. of_sizes: those named alone, so that what else has their measures is told."""
    notes = [f"{title(x)} is the same size as {title(s)}." for s in of_sizes for x in twins(s)]
    if any(c.bore_inches for c in found):
        notes.append(
            f"For wheels and spindles metric sizes are sold with an inch bore too ({TRADE}): ask for size and bore."
        )
    unknown = [c.designation for c in found if c.designation in CLOSED_UNKNOWN]
    if unknown:
        width = f"the width of {listed(unknown)} with seals or shields is not in this table: measure it."
        notes.append(f"In the R series the version with seals or shields is often wider than the open one; {width}")
    return tuple(notes)


def _priced(said: str, clear: bool, first: Candidate, prices: DayPrices | None, currency: str) -> str:
    """Return a headline with what its one size costs; as it is where none stands out or there is no price book."""
    return f"{said} {price_words(first.offers, currency, prices.day)}" if clear and prices is not None else said


def by_size(
    m: Measured,
    tolerance: float = TOLERANCE,
    prices: DayPrices | None = None,
    currency: str = "USD",
    version: str = "",
) -> Bearing:
    """Return the sizes that measures may mean, the likeliest first.

    m: see `calliper.read_size`. tolerance: reading error of each measure, either way [mm]. prices: of the price book,
    None where none is in use; those of a candidate in the currency are named with it.
    """
    measured = np.array([[np.nan if x.mm is None else x.mm for x in m.each()]])
    (rank,), (far,) = against(measured, np.array([[x.step for x in m.each()]]), tolerance)
    order = np.lexsort((far, rank))
    fits = rank // RANKS
    best = int(fits[order[0]])
    worst = max(best, FITS.index("if_rounded"))
    kept = order[:NEAREST] if FITS[best] == "nearest" else [i for i in order if fits[i] <= worst]
    there = on_offer([SIZES[i] for i in kept[:MOST]], prices, currency)
    found = tuple(
        _candidate(SIZES[i], FITS[fits[i]], _held(SIZES[i], m, tolerance), x.offers)
        for i, x in zip(kept, there, strict=False)
    )
    left_out = len(kept) - len(found)
    first = found[0]
    alike = [c for i, c in zip(kept, found, strict=False) if rank[i] == rank[kept[0]] or too_near((first, c))]
    read_as = " x ".join(MISSING if x.mm is None else mm(x.mm) for x in m.each()) + " mm"
    clear = len(alike) == 1 and FITS[best] != "nearest"
    return Bearing(
        version,
        _priced(headline(found, alike, left_out, read_as), clear, first, prices, currency),
        m.text,
        read_as,
        tolerance,
        None if prices is None else prices.day.isoformat(),
        None if prices is None else prices.revision,
        clear,
        found,
        left_out,
        again_words(found, alike),
        _notes(found) + elsewhere_words(found, there, currency),
        (),
        USES,
        CARE,
    )


def by_designation(named: Named, prices: DayPrices | None = None, currency: str = "USD", version: str = "") -> Bearing:
    """Return the size of a designation and what its suffixes mean.

    named: see `bearing_suffixes.read_designation`. prices, currency: as for `by_size`.
    """
    there = on_offer([named.size], prices, currency, named)
    found = _candidate(named.size, None, (), there[0].offers)
    known = [s.meaning for s in named.suffixes if s.kind != "other"]
    unknown = [s.code for s in named.suffixes if s.kind == "other"]
    said = f", {listed(known)}" if known else ""
    ask = f"; {listed(unknown)}: not in general use, ask the seller" if unknown else ""
    is_closed = any(s.kind == "closure" and s.code for s in named.suffixes)
    # A suffix that is not known may say that it is closed.
    if not found.closed and found.designation in (CLOSED_UNKNOWN if is_closed else CLOSED_DIFFERS if unknown else ()):
        said += f"; this width is that of the open one, and {CLOSED_WIDER}"
    return Bearing(
        version,
        _priced(f"{named.text}: {size_words(found)}{said}{ask}.", True, found, prices, currency),
        named.text,
        title(found),
        None,
        None if prices is None else prices.day.isoformat(),
        None if prices is None else prices.revision,
        True,
        (found,),
        0,
        "",
        _notes([found] if is_closed else [], [named.size]) + elsewhere_words([found], there, currency),
        named.suffixes,
        USES,
        CARE,
    )


def read_sought(
    size: str | None = None, designation: str | None = None, tolerance: str | None = None, currency: str = "USD"
) -> Sought:
    """Return a question by size or by designation, read from text. Raises BadInput with every problem."""
    problems: list[Problem] = []
    measured = named = None
    allowed = TOLERANCE
    if (size is None) == (designation is None):
        rule = "one of size and designation is asked for"
        got = "neither" if size is None else "both"
        problems.append(Problem("size", got, rule, "give size=17x40x12, or designation=6203-2RS"))
    if tolerance is not None and size is None:
        problems.append(Problem("tolerance", shown(tolerance), "it goes with a size", "leave it out"))
    try:
        measured = None if size is None else read_size(size)
    except BadInput as error:
        problems += error.problems
    try:
        named = None if designation is None else read_designation(designation)
    except BadInput as error:
        problems += error.problems
    try:
        allowed = TOLERANCE if tolerance is None else read_tolerance(tolerance)
    except BadInput as error:
        problems += error.problems
    if currency not in DIGITS:
        rule = "a currency is an ISO 4217 code that is known here"
        problems.append(Problem("currency", shown(currency), rule, nearest(currency.upper(), DIGITS)))
    about = measured or named
    if problems or about is None:
        raise BadInput(problems)
    return Sought(about, allowed, currency)


def answer_sought(asked: Sought, prices: DayPrices | None = None, version: str = "") -> Bearing:
    """Return the answer to a question; see `by_size` and `by_designation`."""
    if isinstance(asked.about, Named):
        return by_designation(asked.about, prices, asked.currency, version)
    return by_size(asked.about, asked.tolerance, prices, asked.currency, version)


def find_bearing(
    size: str | None = None,
    designation: str | None = None,
    tolerance: str | None = None,
    prices: DayPrices | None = None,
    currency: str = "USD",
    version: str = "",
) -> Bearing:
    """Return the answer to a size or a designation, as text. Raises BadInput with every problem."""
    return answer_sought(read_sought(size, designation, tolerance, currency), prices, version)
