"""Price book: of all offers known for a part, the price to reckon with on a day, where from, how old and how sure.

Days are arguments: the same offers and the same day give the same answer whenever it is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from econ.money import RATE_UNIT, divide
from econ.offers import NOT_FOR_SALE, Offer, Seller, Status

STALE_DAYS = 120  # judgement: sellers put out new lists about once a season
UNKNOWN_KG = 0.5  # judgement: of a pack whose weight is not known, where a seller charges by weight
# A seller's newest word on a part replaces the one before among these; the others are pieces of their own.
LISTED: frozenset[Status] = frozenset({"new", "back_ordered", "discontinued"})
# Single pieces: a newer row of the same seller tells how many there are now, none if its pack is 0.
SINGLE: frozenset[Status] = frozenset({"used", "donor", "own_stock"})
# What is reckoned with first: as new; then what has to be waited for; then what somebody had before.
TIERS: tuple[frozenset[Status], ...] = (
    frozenset({"new"}),
    frozenset({"back_ordered"}),
    frozenset({"used", "donor"}),
)
_WORDS: Mapping[Status, str] = {"back_ordered": "back-ordered", "used": "used", "donor": "from a donor machine"}


@dataclass(frozen=True)
class Priced:
    """The price of a part on a day.

    unit_cost: of one piece, without shipping [minor units]; None where no price is known. part: as it was asked for;
    sold: the part offered, another one where that took its place. seller, seen_on, age_days: where and when the price
    was seen; stale: older than the limit. low, median, high: of the offers it was chosen from, for a piece [minor
    units]; offers: how many these are. pack: pieces one has to buy. lead_days, return_loss: None where not known.
    core_charge: for a piece, comes back with the old part [minor units]. barred: it can't be had. note: why this one.
    offer: the one chosen among those for sale, None where there is none; pool: those it was chosen from, own stock
    beside them at what another one costs. shelf: pieces in own stock.
    """

    part: str
    sold: str
    unit_cost: int | None
    status: Status | None
    seller: str
    seen_on: date | None
    age_days: int | None
    stale: bool
    low: int | None
    median: int | None
    high: int | None
    offers: int
    pack: int
    lead_days: float | None
    return_loss: float | None
    core_charge: int
    barred: bool
    note: str
    offer: Offer | None = None
    pool: tuple[Offer, ...] = ()
    shelf: int = 0


@dataclass(frozen=True)
class Supply:
    """What a price book offers for the parts of a machine class, in one currency.

    offers: of those parts and of what took their place; sellers: by name, each that has an offer. revision: of the
    book, so that the same answer can be had again. elsewhere: where there is no offer, the other currencies that the
    book has some in.
    """

    offers: tuple[Offer, ...]
    sellers: Mapping[str, Seller]
    revision: int | None = None
    elsewhere: tuple[str, ...] = ()


def group(offer: Offer) -> tuple[str, ...]:
    """Return what a newer offer replaces: those of the same group."""
    state = "" if offer.status in LISTED else offer.status
    pack = "" if offer.status in SINGLE else str(offer.pack)
    return offer.part, offer.seller, pack, offer.machine_class, state


def age_days(offer: Offer, day: date) -> int:
    """Return how old an offer is on a day [days]."""
    return (day - offer.seen_on).days


def piece(offer: Offer) -> int:
    """Return the price of one piece of a pack [minor units], half to even."""
    return divide(offer.price, offer.pack)


def landed(offer: Offer, seller: Seller, quantity: int = 1) -> int:
    """Return what some pieces cost on the doorstep, ordered alone, in whole packs [minor units]."""
    packs = -(-quantity // offer.pack)
    goods, ship = packs * offer.price, seller.shipping
    if ship.free_from is not None and goods >= ship.free_from:
        return goods
    weight = UNKNOWN_KG if offer.weight_kg is None else offer.weight_kg
    return goods + ship.flat + divide(ship.per_kg * packs * round(weight * RATE_UNIT), RATE_UNIT)


def current(offers: Iterable[Offer], day: date) -> list[Offer]:
    """Return the newest offer of each group seen by a day; where a day has two, the one that promises less.

    What is used up, a pack of 0 pieces, is left out.
    """

    def rank(o: Offer) -> tuple[object, ...]:
        return o.seen_on, o.status == "discontinued", o.status == "back_ordered", o.price, repr(o)

    newest: dict[tuple[str, ...], Offer] = {}
    for offer in sorted((o for o in offers if o.seen_on <= day), key=rank):
        newest[group(offer)] = offer
    return [newest[key] for key in sorted(newest) if newest[key].pack]


@dataclass(frozen=True)
class _Links:
    """Which part took the place of which. free: parts that are for sale again, by the newest word on them."""

    step: Mapping[str, str]
    free: frozenset[str]

    def chain(self, part: str) -> tuple[str, ...]:
        found = [part]
        while found[-1] in self.step:
            found.append(self.step[found[-1]])
        return tuple(found)


def _links(offers: Iterable[Offer]) -> _Links:
    """Return which part took the place of which; of links that go round in a circle the oldest is left out."""
    step: dict[str, str] = {}
    since: dict[str, date] = {}
    free = set()
    for offer in sorted(offers, key=lambda o: (o.seen_on, o.superseded_by), reverse=True):
        part = offer.part
        if not offer.superseded_by or part in step or part in free:
            continue
        ahead = offer.superseded_by
        days = []
        while ahead in step and ahead != part:
            days.append(since[ahead])
            ahead = step[ahead]
        if ahead != part:
            step[part], since[part] = offer.superseded_by, offer.seen_on
        elif days and min(days) > offer.seen_on:
            free.add(part)
    return _Links(step, frozenset(free))


def chain(part: str, offers: Iterable[Offer]) -> tuple[str, ...]:
    """Return a part and those that took its place one after the other, by the newest word where lists differ."""
    return _links(offers).chain(part)


def price_parts(
    parts: Iterable[str],
    offers: Iterable[Offer],
    sellers: Mapping[str, Seller],
    day: date,
    stale_days: int = STALE_DAYS,
    pieces: Mapping[str, int] | None = None,
    taken: Mapping[str, Offer] | None = None,
    week: float = 0.0,
) -> dict[str, Priced]:
    """Return the price of each part that any offer is known of by a day.

    offers: of one currency, of the parts and of those that took their place. sellers: by name; one that is missing
    sends for nothing. pieces: how many of a part a job takes: bought in whole packs, all of it counts as spent; where
    left out a piece costs its share of a pack. taken: offers to reckon with in place of the cheapest. week: what a week
    of waiting costs [minor units]: a used part is taken before one that is back-ordered only where it costs less, the
    wait counted. Parts without an offer by that day are left out: nothing is known of them, which is not that they
    can't be had.
    """
    known = current(offers, day)
    by_part: dict[str, list[Offer]] = {}
    for offer in known:
        by_part.setdefault(offer.part, []).append(offer)
    found, links = {}, _links(known)
    for part in dict.fromkeys(parts):
        parts_in_turn = links.chain(part)
        there = [o for p in parts_in_turn for o in by_part.get(p, ())]
        if there:
            needed = None if pieces is None else pieces.get(part)
            there = [replace(o, superseded_by="") if o.part in links.free and o.price else o for o in there]
            chosen = (taken or {}).get(part)
            found[part] = _priced(part, parts_in_turn, there, sellers, day, stale_days, needed, chosen, week)
    return found


def can_be_had(offer: Offer) -> bool:
    """Return whether an offer can be ordered: it is for sale, nothing took its place, and its wait is known."""
    waits = offer.status == "back_ordered" and offer.lead_days is None
    return offer.status not in NOT_FOR_SALE and not offer.superseded_by and not waits


def _tier(had: Sequence[Offer], day: date, stale_days: int, cost: Callable[[Offer], float], week: float) -> list[Offer]:
    """Return the offers to choose from: the first tier there is, fresh before stale."""
    for old in (False, True):
        of_age = [o for o in had if (age_days(o, day) > stale_days) == old]
        new, waits, second = ([o for o in of_age if o.status in tier] for tier in TIERS)
        if new:
            return new
        if waits and second and week > 0:
            return min((waits, second), key=lambda tier: min(map(cost, tier)))
        if waits or second:
            return waits or second
    return []


def _priced(
    part: str,
    turn: Sequence[str],
    there: Sequence[Offer],
    sellers: Mapping[str, Seller],
    day: date,
    stale_days: int,
    pieces: int | None,
    taken: Offer | None,
    week: float,
) -> Priced:
    had = [o for o in there if can_be_had(o)]
    own = min((o for o in had if o.status == "own_stock"), key=lambda o: (o.seen_on, o.price, o.seller), default=None)
    shelf = sum(o.pack for o in had if o.status == "own_stock")

    def on_the_doorstep(o: Offer) -> int:
        return landed(o, sellers.get(o.seller, Seller(o.seller)), pieces or 1)

    pool = _tier(had, day, stale_days, lambda o: on_the_doorstep(o) + week * (o.lead_days or 0.0) / 7, week)
    if not pool and own is None:
        return _nothing(part, turn, there)

    def cost(o: Offer) -> tuple[object, ...]:
        return on_the_doorstep(o), piece(o), -o.seen_on.toordinal(), o.seller, repr(o)

    best = taken if taken in pool else min(pool, key=cost, default=own)
    assert best is not None  # noqa: S101 - the pool or own stock holds one

    def each(o: Offer) -> int:
        if pieces is None or own is not None:  # from the shelf it comes by the piece
            return piece(o)
        packs = -(-pieces // o.pack)
        return divide(
            packs * o.price + (packs * o.pack - pieces) * o.core_charge, pieces
        )  # no old part for a spare one

    spread = sorted(each(o) for o in pool) or [piece(best)] * (best.price > 0)
    unit = each(best) if best is not own or best.price > 0 else None
    age = age_days(best, day)
    stale = age > stale_days
    middle = divide(spread[(len(spread) - 1) // 2] + spread[len(spread) // 2], 2) if spread else None
    at_hand = () if own is None or unit is None else (replace(own, pack=shelf, price=unit * shelf),)
    return Priced(
        part=part,
        sold=best.part if own is None else own.part,
        unit_cost=unit,
        status=best.status if own is None else "own_stock",
        seller=best.seller,
        seen_on=best.seen_on,
        age_days=age,
        stale=stale,
        low=spread[0] if spread else None,
        median=middle,
        high=spread[-1] if spread else None,
        offers=len(pool),
        pack=best.pack if own is None else 1,
        lead_days=best.lead_days if own is None else 0.0,
        return_loss=best.return_loss if own is None else None,
        core_charge=best.core_charge if own is None else 0,
        barred=False,
        note=_note(part, best, own, len(pool), stale, age),
        offer=best if pool else None,
        pool=(*pool, *at_hand),
        shelf=shelf,
    )


def _note(part: str, best: Offer, own: Offer | None, offers: int, stale: bool, age: int) -> str:
    """Return why a price is the one to reckon with."""
    said = []
    if own is not None and best is not own:
        said.append("in own stock, at what another one costs")
    elif own is not None:
        said.append("in own stock, at its own price" if own.price else "in own stock; no price of another one is known")
    elif best.status in _WORDS:
        said.append(_WORDS[best.status])
    if offers > 1 and own is None:
        said.append(f"of {offers} offers the one that costs least in all")
    if best.part != part:
        said.append(f"{best.part}, which took its place")
    if own is None and best.pack > 1:
        said.append(f"sold in packs of {best.pack}")
    if stale:
        said.append(f"stale, {age} days old")
    return "; ".join(said)


def _nothing(part: str, turn: Sequence[str], there: Sequence[Offer]) -> Priced:
    """Return a part that is known and can't be had, or that another took the place of whose price is not known."""
    last = turn[-1]
    newest = max(there, key=lambda o: (o.seen_on, o.seller))
    back = sorted({o.superseded_by for o in there if o.part == last and o.superseded_by})
    unknown = True
    if back:  # the lists are wrong, which doesn't mean that it can't be had
        note = f"the lists let {last} and {back[0]} take each other's place; no price is known"
    elif last != part and all(o.part != last for o in there):
        note = f"{last} took its place, of which no price is known"
    else:
        unknown = False
        waits = any(o.status == "back_ordered" for o in there)
        note = "back-ordered, nobody says until when" if waits else "discontinued"
    return Priced(
        part=part, sold=last, unit_cost=None, status=None, seller="", seen_on=newest.seen_on, age_days=None,
        stale=False, low=None, median=None, high=None, offers=0, pack=1, lead_days=None, return_loss=None,
        core_charge=0, barred=not unknown, note=note,
    )  # fmt: skip
