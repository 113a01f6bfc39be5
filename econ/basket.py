"""Basket: from whom to buy the parts needed, at the least cost in all; one seller unless splitting clearly saves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from econ.landed import SHELF, Basket, Buying, Item, Market, exactly, make_item, ways
from econ.money import DIGITS, say
from econ.offers import NOT_FOR_SALE, STATUSES, Offer, Seller
from econ.ordering import least_basket
from econ.problems import BadInput, Problem, nearest, shown
from econ.split import why
from econ.terms import Assumption

# Anything above is a slip; sums of these stay exact in the program.
MOST_MONEY = 10**12  # [minor units]
MOST_PIECES = 1000
MOST_DAYS, MOST_KG = 3650.0, 1000.0


@dataclass(frozen=True)
class Missing:
    """Pieces of a part that can't be had, and why."""

    part: str
    pieces: int
    why: str


@dataclass(frozen=True)
class Choice:
    """What to buy. Baskets hold all that is needed but what is missing.

    best: what to order. single: the cheapest from one seller, beside own stock; None where no one has it all. least: of
    the least total cost whatever the number of sellers. saves: total of single less that of best [minor units]. why: in
    plain words, a sentence each.
    """

    best: Basket
    single: Basket | None
    least: Basket
    saves: int | None
    why: tuple[str, ...]
    missing: tuple[Missing, ...]
    assumptions: tuple[Assumption, ...]


def choose(
    needs: Mapping[str, int],
    offers: Sequence[Offer],
    sellers: Mapping[str, Seller],
    currency: str,
    buying: Buying | None = None,
) -> Choice:
    """Return what to buy where.

    needs: pieces by part. sellers: by name, each that has an offer that will do. currency: of all amounts, for words.
    Raises BadInput with every fault of the input, ArithmeticError where the search finds no basket in time.
    """
    b = buying or Buying()
    wanted = [(n, o) for n, o in enumerate(offers) if o.part in needs]
    problems = [*_currency(currency), *_problems(needs, wanted, sellers, b)]
    if problems:
        raise BadInput(problems)
    m, missing = _market(needs, [o for _, o in wanted], sellers, b)
    least = _found(least_basket(m))
    best, single, hurdle = least, least if len(least.orders) <= 1 else least_basket(m, most_sellers=1), 0
    if single is not least:
        hurdle = max(exactly((single or least).total, b.split_share), b.split_least)
        if single is not None and single.total - least.total <= hurdle:
            best = single
        elif len(least.orders) > 2:
            best = _found(least_basket(m, hurdle))
    saves = None if single is None else single.total - best.total
    words = why(best, single, least, hurdle, currency, sellers, not missing)
    return Choice(best, single, least, saves, words, missing, _assumed(m, b, currency, single is not least))


def _found(basket: Basket | None) -> Basket:
    if basket is None:
        raise ArithmeticError("the search lost a basket that must be there")
    return basket


def _problems(
    needs: Mapping[str, int], offers: Sequence[tuple[int, Offer]], sellers: Mapping[str, Seller], b: Buying
) -> Iterator[Problem]:
    """Yield every fault of the input; of the offers only those for parts needed, by their place in the list."""
    for part, pieces in needs.items():
        yield from _whole(f"needs.{part}", pieces, 1, MOST_PIECES)
    for name, s in sellers.items():
        at = f"sellers.{name}"
        if name != s.name or not name:
            yield Problem(f"{at}.name", shown(s.name), "a seller stands under its own name", "use one name for both")
        amounts = {
            "minimum_order": s.minimum_order,
            "shipping.flat": s.shipping.flat,
            "shipping.per_kg": s.shipping.per_kg,
        }
        if s.shipping.free_from is not None:
            amounts["shipping.free_from"] = s.shipping.free_from
        for what, amount in amounts.items():
            yield from _whole(f"{at}.{what}", amount)
    for n, o in offers:
        at = f"offers.{n}"
        yield from _whole(f"{at}.price", o.price)
        yield from _whole(f"{at}.pack", o.pack, 1, MOST_PIECES)
        yield from _whole(f"{at}.core_charge", o.core_charge)
        yield from _number(f"{at}.weight_kg", o.weight_kg or 0.0, MOST_KG)
        yield from _number(f"{at}.lead_days", o.lead_days or 0.0, MOST_DAYS)
        if o.status not in STATUSES:
            yield Problem(f"{at}.status", shown(o.status), "a status of a price list", nearest(o.status, STATUSES))
        elif _will_do(o, b) and o.status != SHELF and o.seller not in sellers:
            rule = "every seller has terms: shipping and least order"
            yield Problem(f"{at}.seller", shown(o.seller), rule, f"state its terms, or {nearest(o.seller, sellers)}")
    for what in ("day_cost", "split_least"):
        yield from _whole(f"buying.{what}", getattr(b, what))
    for part, pieces in b.on_shelf.items():
        yield from _whole(f"buying.on_shelf.{part}", pieces, 0, MOST_PIECES)
        if part in needs and pieces and not any(o.part == part and o.status == SHELF for _, o in offers):
            remedy = "add a row of own stock to the prices, at replacement value"
            yield Problem(f"buying.on_shelf.{part}", shown(pieces), "what is in own stock has a value", remedy)
    limits = {"core_kept": 1.0, "split_share": 1.0, "lead_days": MOST_DAYS, "back_order_days": MOST_DAYS}
    for what, most in {**limits, "weight_kg": MOST_KG}.items():
        yield from _number(f"buying.{what}", getattr(b, what), most)
    for status in sorted(b.statuses - (set(STATUSES) - NOT_FOR_SALE)):
        known = [x for x in STATUSES if x not in NOT_FOR_SALE]
        yield Problem("buying.statuses", shown(status), "a status that can be bought", nearest(status, known))


def _currency(currency: str) -> Iterator[Problem]:
    if currency not in DIGITS:
        yield Problem("currency", shown(currency), "an ISO 4217 code", nearest(currency, DIGITS))


def _whole(path: str, value: Any, least: int = 0, most: int = MOST_MONEY) -> Iterator[Problem]:
    if type(value) is not int or not least <= value <= most:
        yield Problem(path, shown(value), f"a whole number from {least} to {most}", "correct it")


def _number(path: str, value: Any, most: float) -> Iterator[Problem]:
    if type(value) not in (int, float) or not (isfinite(value) and 0 <= value <= most):
        yield Problem(path, shown(value), f"a number from 0 to {most:g}", "correct it")


def _will_do(o: Offer, b: Buying) -> bool:
    return o.status in b.statuses and o.status not in NOT_FOR_SALE


def _market(
    needs: Mapping[str, int], offers: Sequence[Offer], sellers: Mapping[str, Seller], b: Buying
) -> tuple[Market, tuple[Missing, ...]]:
    """Return what there is to choose from, in an order that does not depend on the input's, and what can't be had."""
    own: dict[str, list[Offer]] = {}
    items = []
    for o in offers:
        if _will_do(o, b):
            if o.status == SHELF:
                own.setdefault(o.part, []).append(o)
            else:
                items.append(make_item(o, sellers[o.seller], b))
    for rows in own.values():  # the same pieces at one value: rows of own stock differ in nothing else
        items.append(min((make_item(o, None, b) for o in rows), key=_order))
    on_shelf = {part: b.on_shelf.get(part, sum(o.pack for o in rows)) for part, rows in own.items()}
    items.sort(key=_order)
    priced = {i.seller for i in items if i.price}  # enough of such a part reaches whatever a seller asks for
    names = sorted({i.seller for i in items} - {""})
    open_ways = [way for name in names for way in ways(sellers[name]) if name in priced or not way.goods_from]
    reached = {way.seller for way in open_ways} | {""}
    missing, met = [], {}
    for part, pieces in sorted(needs.items()):
        sold = any(i.offer.part == part and i.seller and i.seller in reached for i in items)
        met[part] = pieces if sold else min(pieces, on_shelf.get(part, 0))
        if met[part] < pieces:
            missing.append(Missing(part, pieces - met[part], _why_missing(part, offers, b, met[part])))
    met = {part: pieces for part, pieces in met.items() if pieces}
    items = [i for i in items if i.offer.part in met and i.seller in reached]
    return Market(met, tuple(items), tuple(open_ways), on_shelf, sellers), tuple(missing)


def _order(i: Item) -> tuple[Any, ...]:
    return (i.offer.part, i.seller, i.price, i.pack, i.core, i.lead_days, i.by_weight, repr(i.offer))


def _why_missing(part: str, offers: Sequence[Offer], b: Buying, had: int) -> str:
    found = sorted({o.status for o in offers if o.part == part})
    if had:
        return "no more in own stock, and no seller has it"
    if not found:
        return "no seller lists it"
    if any(_will_do(o, b) and o.status != SHELF for o in offers if o.part == part):
        return "its seller asks for a minimum order that free parts can't reach"
    return "listed only as " + " or ".join(status.replace("_", " ") for status in found)


def _assumed(m: Market, b: Buying, currency: str, split: bool) -> tuple[Assumption, ...]:
    """Return the figures the answer rests on that no offer states."""
    usual = Buying()
    bought = [i for i in m.items if i.seller]
    unknown = [i.offer.status == "back_ordered" for i in bought if i.offer.lead_days is None]
    light = [i for i in bought if i.offer.weight_kg is None and m.sellers[i.seller].shipping.per_kg]
    every = (
        (False in unknown, "lead_days", f"{b.lead_days:g}", "days, where an offer does not say"),
        (True in unknown, "back_order_days", f"{b.back_order_days:g}", "days, of a back-ordered part, likewise"),
        (bool(light), "weight_kg", f"{b.weight_kg:g}", "weight of a pack, where an offer does not say [kg]"),
        (any(i.core for i in bought), "core_kept", f"{b.core_kept:g}", "share of core charges not refunded"),
        (split, "split_share", f"{b.split_share:g}", "share of the cost that a further seller must save"),
        (split, "split_least", say(b.split_least, currency), "and the least amount"),
    )
    return tuple(
        Assumption(name, value, ("judgement: " if getattr(b, name) == getattr(usual, name) else "stated: ") + what)
        for used, name, value, what in every
        if used
    )
