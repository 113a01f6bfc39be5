"""Bearing words: a candidate for what was measured, how it fits, and what to measure again, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from econ.bearing_fit import Deviation, Fit
from econ.bearing_offers import BearingOffer, OfSize
from econ.bearing_sizes import Size
from econ.calliper import MEASURES, mm
from econ.offers import Status

NEAREST = 3  # sizes named where none fits
TOO_NEAR = 0.15  # sizes that differ by no more in any measure are not told apart by calliper [mm]; judgement
KINDS: Mapping[Status, str] = {"new": "stale", "back_ordered": "back-ordered", "used": "used", "donor": "donor"}
STATES: Mapping[Status, str] = {
    "back_ordered": ", back-ordered,",
    "used": ", used,",
    "donor": ", from a donor machine,",
}
HOW = {
    "bore": "in the inner ring, off the shaft, in two directions",
    "outside": "clean of rust and paint, in two directions",
    "width": "over the rings, not over a seal or a snap ring",
}


@dataclass(frozen=True)
class Candidate:
    """A size that it may be [mm], and why.

    closed: the width is that of the version with seals or shields. inches: the size as the trade writes it; empty for a
    metric one. bore_inches: an inch bore in a metric size, or empty. fit, deviations: None and empty where a
    designation was asked for. source: where the size stands.
    """

    designation: str
    closed: bool
    series: str
    bore: float
    outside: float
    width: float
    inches: str
    bore_inches: str
    fit: Fit | None
    deviations: tuple[Deviation, ...]
    source: str
    offers: tuple[BearingOffer, ...]


def size_words(size: Size | Candidate) -> str:
    """Return a size in words: ``17 x 40 x 12 mm``, or inches with millimetres behind them."""
    if size.bore_inches:
        return f"{size.bore_inches} in x {mm(size.outside)} x {mm(size.width)} mm"
    metric = f"{mm(size.bore)} x {mm(size.outside)} x {mm(size.width)} mm"
    return f"{size.inches} ({metric})" if size.inches else metric


def title(size: Size | Candidate) -> str:
    """Return what a size is called; its closed version is named where it is another width."""
    if size.bore_inches:
        return f"{size.designation} with a bore of {size.bore_inches} in"
    return f"{size.designation} with seals or shields" if size.closed else size.designation


def listed(names: Sequence[str], last: str = "and") -> str:
    """Return names as people list them."""
    return f"{', '.join(names[:-1])} {last} {names[-1]}" if len(names) > 1 else names[0]


def fit_words(c: Candidate) -> str:
    """Return how a size fits what was measured: what is off first, then what is as measured."""
    off = [f"{d.measure} {d.says.partition(':')[0]}" for d in c.deviations if d.off is not None and ":" in d.says]
    same = [d.measure for d in c.deviations if d.says == "as measured"]
    missing = [d.measure for d in c.deviations if d.off is None]
    good = "all three as measured" if len(same) == 3 else f"{listed(same)} as measured" if same else ""
    text = ("if the figures were rounded: " if c.fit == "if_rounded" else "") + ", ".join(
        [*off, *([good] if good else [])]
    )
    return text + (f"; the {missing[0]} was not given" if missing else "")


def telling(candidates: Sequence[Candidate]) -> str:
    """Return the measure in which candidates differ most."""
    return max(MEASURES, key=lambda n: _spread(candidates, n))


def too_near(candidates: Sequence[Candidate]) -> bool:
    """Return whether a calliper does not tell sizes apart."""
    return max(_spread(candidates, n) for n in MEASURES) <= TOO_NEAR


def one_size(candidates: Sequence[Candidate]) -> bool:
    """Return whether candidates are names of one and the same size."""
    return max(_spread(candidates, n) for n in MEASURES) == 0


def _spread(candidates: Sequence[Candidate], name: str) -> float:
    values: list[float] = [getattr(c, name) for c in candidates]
    return max(values) - min(values)


def again_words(found: Sequence[Candidate], alike: Sequence[Candidate]) -> str:
    """Return what to measure again, and why; nothing where all is clear."""
    first = found[0]
    if first.fit == "nearest":
        every = "; ".join(f"the {n}, {how}" for n, how in HOW.items())
        return f"Measure again: {every}. If it stays so, it is a size that is not in this table."
    if len(found) > 1:
        name = telling(found)
        values = listed([mm(x) for x in sorted({getattr(c, name) for c in found})], "or")
        names = listed([title(c) for c in alike])
        if len(alike) > 1 and one_size(alike):
            return f"{names} are one size under two names: each fits where the other does."
        if len(alike) > 1 and too_near(alike):
            return f"{names} differ by less than a calliper tells, but fit differently: read the number on the old one."
        others = listed([title(c) for c in found[1:]], "or")
        doubt = "more is worn" if first.fit == "if_worn" else "the figures were rounded"
        why = "They differ" if len(alike) > 1 else f"If {doubt} it may be {others}; they differ"
        return f"{why} most in the {name}, {values} mm: measure it to 0.1 mm, {HOW[name]}."
    missing = [d.measure for d in first.deviations if d.off is None]
    far = [d for d in first.deviations if ":" in d.says]
    words = []
    if missing:
        others = "" if first.inches else "; wider and narrower ones of the same bore and outside are made (ISO 15)"
        wide = others if missing[0] == "width" else ""
        size = mm(getattr(first, missing[0]))
        words.append(f"Measure the {missing[0]} to be sure, {HOW[missing[0]]}: it should be {size} mm{wide}.")
    if far:
        every = "; ".join(f"the {d.measure}, {HOW[d.measure]}" for d in far)
        doubt = " and nothing is worn there" if first.fit == "if_worn" else ""
        words.append(f"Measure again: {every}. If it stays so{doubt}, it is a size that is not in this table.")
    return " ".join(words)


def headline(found: Sequence[Candidate], alike: Sequence[Candidate], left_out: int, read_as: str) -> str:
    """Return the answer in a sentence. alike: those found that fit as well as the first; left_out: as many more."""
    first = found[0]
    if first.fit == "nearest":
        return (
            f"No bearing of this table has the size {read_as}, and there are sizes outside this table. The nearest "
            f"here, which does not fit, is {title(first)}, {size_words(first)}: {fit_words(first)}."
        )
    if len(alike) == 1:
        return f"{title(first)}: {size_words(first)}, {fit_words(first)}."
    if len(alike) > NEAREST:
        count = len(alike) + left_out
        return f"One of {count} sizes, the nearest {title(first)}: {size_words(first)}, {fit_words(first)}."
    first_size = size_words(first)
    if one_size(alike):
        return f"{listed([title(c) for c in alike], 'or')}: {first_size}, {fit_words(first)}."
    if too_near(alike):
        return f"{listed([title(c) for c in alike], 'or')}: {first_size}, too near each other for a calliper."
    sizes = [f"{title(c)} ({size_words(c).replace(' (', ', ').replace(')', '')})" for c in alike]
    return f"{listed(sizes, 'or')}: measure the {telling(alike)} to tell."


def price_words(offers: Sequence[BearingOffer], currency: str, day: date) -> str:
    """Return what a bearing costs and where, in a sentence or two: own stock, the best price, or what else there is.

    offers: of its size, as `bearing_offers.on_offer` ranks them. day: the day the prices are of.
    """
    own = [o for o in offers if o.status == "own_stock"]
    others = [o for o in offers if o.status != "own_stock"]
    said = [f"In own stock: {_named(own[0])}, {_seen(own[0])}."] if own else []
    best = [o for o in others if o.status == "new" and not o.stale]
    if best:
        as_asked = next((o for o in best if o.as_asked), best[0])
        asked = f"; as asked from {_offered(as_asked)}" if as_asked is not best[0] else ""
        said.append(f"Best price: {_offered(best[0])}{asked}.")
    elif others:
        kinds = list(dict.fromkeys(KINDS[o.status] for o in others))  # no new one is fresh
        said.append(f"There are only {listed(kinds)} offers: {_offered(others[0])}.")
    else:
        said.append(f"The price book has {'no other' if own else 'none'} of this size in {currency} on {day}.")
    return " ".join(said)


def _named(o: BearingOffer) -> str:
    return o.designation + (" (other suffixes than asked)" if o.as_asked is False else "")


def _seen(o: BearingOffer) -> str:
    return f"seen on {o.seen_on}" + (f", {o.age_days} days old" if o.stale else "")


def _offered(o: BearingOffer) -> str:
    pack = f" in packs of {o.pack}" if o.pack > 1 else ""
    wait = " nobody says until when," if o.status == "back_ordered" and o.lead_days is None else ""
    state = f"{STATES.get(o.status, '')}{wait}"
    return f"{o.price_each} {o.currency} a piece{pack} for {_named(o)}{state} at {o.seller}, {_seen(o)}"


def elsewhere_words(found: Sequence[Candidate], there: Sequence[OfSize], currency: str) -> tuple[str, ...]:
    """Return, of the sizes that are offered in other currencies only, in which. there: what is on offer of each."""
    return tuple(
        f"{title(c)} is offered in {listed(x.elsewhere)} only, not in {currency}."
        for c, x in zip(found, there, strict=True)
        if x.elsewhere
    )
