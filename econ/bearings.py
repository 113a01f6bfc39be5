"""Bearings: bore x outside x width by calliper to the designation of a ball bearing, and a designation to its size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from econ.bearing_fit import FITS, RANKS, Deviation, Fit, against, deviation
from econ.bearing_offers import BearingOffer, priced
from econ.bearing_sizes import SIZES, Size
from econ.bearing_suffixes import Named, Suffix, read_designation
from econ.bearing_words import NEAREST, Candidate, again_words, headline, listed, size_words, title, too_near
from econ.calliper import MEASURES, MISSING, TOLERANCE, Measured, mm, read_size, read_tolerance
from econ.offers import Offer
from econ.problems import BadInput, Problem, shown

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

    tolerance: the reading error allowed [mm]; None where a designation was asked for.
    """

    version: str
    headline: str
    asked: str
    read_as: str
    tolerance: float | None
    clear: bool
    candidates: tuple[Candidate, ...]
    left_out: int
    measure_again: str
    notes: tuple[str, ...]
    suffixes: tuple[Suffix, ...]
    uses: tuple[Use, ...]
    care: str


TRADE = "common practice"
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


def _notes(found: Sequence[Candidate]) -> tuple[str, ...]:
    both_widths = {s.designation for s in SIZES if s.closed}
    notes = []
    if any(c.bore_inches for c in found):
        notes.append(
            f"For wheels and spindles metric sizes are sold with an inch bore too ({TRADE}): ask for size and bore."
        )
    if any(c.series == "R series" and c.designation not in both_widths for c in found):
        notes.append("In the R series the version with seals or shields is often wider than the open one: measure it.")
    return tuple(notes)


def by_size(
    m: Measured, tolerance: float = TOLERANCE, offers: Sequence[Offer] = (), currency: str = "USD", version: str = ""
) -> Bearing:
    """Return the sizes that measures may mean, the likeliest first.

    m: see `calliper.read_size`. tolerance: reading error of each measure, either way [mm]. offers: of the price list,
    in one currency; those of a candidate are named with it.
    """
    measured = np.array([[np.nan if x.mm is None else x.mm for x in m.each()]])
    (rank,), (far,) = against(measured, np.array([[x.step for x in m.each()]]), tolerance)
    order = np.lexsort((far, rank))
    fits = rank // RANKS
    best = int(fits[order[0]])
    worst = max(best, FITS.index("if_rounded"))
    kept = order[:NEAREST] if FITS[best] == "nearest" else [i for i in order if fits[i] <= worst]
    found = tuple(
        _candidate(s, FITS[fits[i]], _held(s, m, tolerance), priced(s, offers, currency))
        for i, s in ((i, SIZES[i]) for i in kept[:MOST])
    )
    left_out = len(kept) - len(found)
    first = found[0]
    alike = [c for i, c in zip(kept, found, strict=False) if rank[i] == rank[kept[0]] or too_near((first, c))]
    read_as = " x ".join(MISSING if x.mm is None else mm(x.mm) for x in m.each()) + " mm"
    return Bearing(
        version,
        headline(found, alike, left_out, read_as),
        m.text,
        read_as,
        tolerance,
        len(alike) == 1 and FITS[best] != "nearest",
        found,
        left_out,
        again_words(found, alike),
        _notes(found),
        (),
        USES,
        CARE,
    )


def by_designation(named: Named, offers: Sequence[Offer] = (), currency: str = "USD", version: str = "") -> Bearing:
    """Return the size of a designation and what its suffixes mean. named: see `bearing_suffixes.read_designation`."""
    found = _candidate(named.size, None, (), priced(named.size, offers, currency))
    known = [s.meaning for s in named.suffixes if s.kind != "other"]
    unknown = [s.code for s in named.suffixes if s.kind == "other"]
    said = f", {listed(known)}" if known else ""
    ask = f"; {listed(unknown)}: not in general use, ask the seller" if unknown else ""
    return Bearing(
        version,
        f"{named.text}: {size_words(found)}{said}{ask}.",
        named.text,
        title(found),
        None,
        True,
        (found,),
        0,
        "",
        _notes([found] if found.inches and any(s.kind == "closure" and s.code for s in named.suffixes) else []),
        named.suffixes,
        USES,
        CARE,
    )


def find_bearing(
    size: str | None = None,
    designation: str | None = None,
    tolerance: str | None = None,
    offers: Sequence[Offer] = (),
    currency: str = "USD",
    version: str = "",
) -> Bearing:
    """Return the answer to a size or a designation, as text; see `by_size` and `by_designation`.

    Raises BadInput with every problem.
    """
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
    if not problems and named is not None:
        return by_designation(named, offers, currency, version)
    if not problems and measured is not None:
        return by_size(measured, allowed, offers, currency, version)
    raise BadInput(problems)
