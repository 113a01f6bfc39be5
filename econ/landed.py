"""Landed: what a basket of parts costs in all: goods, shipping, core charges and the days until the slowest part.

Every amount is counted in whole minor units from the sellers' own terms.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType

from econ.money import divide, millionths, share
from econ.offers import Offer, Seller, Status
from econ.pricebook import UNKNOWN_KG

LEAD_DAYS = 5.0  # where a seller does not say [calendar days]; judgement: parts ordered online
BACK_ORDER_DAYS = 28.0  # of a back-ordered part where the seller does not say [calendar days]; judgement
WEIGHT_KG = UNKNOWN_KG  # of a pack where it is not known and the seller charges by weight [kg]
SPLIT_SHARE, SPLIT_LEAST = 0.05, 500  # what a further seller must save: share of the cost [1], [minor units]; judgement
SHELF: Status = "own_stock"


@dataclass(frozen=True)
class Buying:
    """How to buy.

    day_cost: of a day without the machine [minor units]. statuses: those that will do. on_shelf: pieces in own stock by
    part; left out, what its price list rows hold. core_kept: share of the core charges not refunded though the old part
    goes back [1]. lead_days, back_order_days, weight_kg: taken where an offer does not say. split_share, split_least: a
    further seller must save more than the larger of this share of the cost [1] and this amount [minor units].
    """

    day_cost: int = 0
    statuses: frozenset[Status] = frozenset({"new", "back_ordered", "own_stock"})
    on_shelf: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    core_kept: float = 0.0
    lead_days: float = LEAD_DAYS
    back_order_days: float = BACK_ORDER_DAYS
    weight_kg: float = WEIGHT_KG
    split_share: float = SPLIT_SHARE
    split_least: int = SPLIT_LEAST


@dataclass(frozen=True)
class Line:
    """Packs bought of an offer, or single pieces taken off the shelf. goods: their price; core: charge paid."""

    offer: Offer
    packs: int
    pieces: int
    goods: int
    core: int


@dataclass(frozen=True)
class Order:
    """What one seller sends. core_back: refunded later. lead_days: of its slowest part. free: shipping is free."""

    seller: str
    lines: tuple[Line, ...]
    goods: int
    shipping: int
    free: bool
    core: int
    core_back: int
    lead_days: float


@dataclass(frozen=True)
class Basket:
    """All that is bought and what it costs.

    shelf: taken from own stock, at replacement value. landed: goods, own stock, shipping and core charges that are not
    refunded. waiting: cost of the days until the slowest part is there. total: both. cash_now: paid to the sellers,
    core charges in full. spare: pieces beyond need by part, paid for and counted as spent. gap: by which a better
    basket might still be cheaper, 0 where this one is proven.
    """

    orders: tuple[Order, ...]
    shelf: tuple[Line, ...]
    goods: int
    own_stock: int
    shipping: int
    core: int
    core_back: int
    landed: int
    lead_days: float
    waiting: int
    total: int
    cash_now: int
    spare: tuple[tuple[str, int], ...]
    gap: int = 0


@dataclass(frozen=True)
class Item:
    """An offer as the program sees it: a pack, or one piece on the shelf.

    refund: of one piece whose old part goes back; by_weight: shipping of a pack where it is not free [minor units].
    """

    offer: Offer
    price: int
    pack: int
    core: int
    refund: int
    by_weight: int
    lead_days: float
    wait: int

    @property
    def seller(self) -> str:
        """Return the seller, or an empty name for own stock."""
        return "" if self.offer.status == SHELF else self.offer.seller


def exactly(amount: int, factor: float) -> int:
    """Return amount x factor [minor units], the factor taken to the millionth."""
    return share(amount, millionths(Decimal(str(factor))))


def make_item(o: Offer, seller: Seller | None, b: Buying) -> Item:
    """Return an offer as the program sees it; seller: None for own stock, which is taken by the piece and is there."""
    if seller is None:
        return Item(o, divide(o.price, o.pack), 1, 0, 0, 0, 0.0, 0)
    unknown = b.back_order_days if o.status == "back_ordered" else b.lead_days
    lead = unknown if o.lead_days is None else o.lead_days
    weight = b.weight_kg if o.weight_kg is None else o.weight_kg
    refund = o.core_charge - exactly(o.core_charge, b.core_kept)
    by_weight = exactly(seller.shipping.per_kg, weight)
    return Item(o, o.price, o.pack, o.core_charge, refund, by_weight, lead, exactly(b.day_cost, lead))


@dataclass(frozen=True)
class Way:
    """A way to order from a seller: what an order costs to send, by weight too or not, from goods of which value on."""

    seller: str
    charge: int
    weighed: bool
    goods_from: int


def ways(s: Seller) -> tuple[Way, ...]:
    """Return the ways to order: with shipping paid, and free."""
    paid = Way(s.name, s.shipping.flat, s.shipping.per_kg > 0, s.minimum_order)
    if s.shipping.free_from is None or not (paid.charge or paid.weighed):
        return (paid,)
    free = Way(s.name, 0, False, max(s.minimum_order, s.shipping.free_from))
    return (free,) if free.goods_from == paid.goods_from else (paid, free)


def packs_for(item: Item, need: int) -> int:
    """Return the packs that cover the need."""
    return -(-need // item.pack)


def spare_packs(item: Item, way: Way) -> int:
    """Return the most packs that may be worth buying only to reach what the way asks for."""
    return -(-way.goods_from // item.price) if item.price else 0


@dataclass(frozen=True)
class Market:
    """All there is to choose from: needs that can be met and own stock, in pieces by part; items in order of names.

    An item of own stock has no way; there is one for a part at most.
    """

    needs: Mapping[str, int]
    items: tuple[Item, ...]
    ways: tuple[Way, ...]
    on_shelf: Mapping[str, int]
    sellers: Mapping[str, Seller]


def most_spare(m: Market, way: Way) -> int:
    """Return the most packs beyond need that a sensible order by this way holds."""
    prices = [i.price for i in m.items if i.seller == way.seller and i.price]
    return (way.goods_from + max(prices)) // min(prices) if way.goods_from and prices else 0


def count(m: Market, packs: Sequence[int], gap: int = 0) -> Basket:
    """Return the basket of so many packs of each item, every amount counted from the sellers' terms."""
    taken = [(i, n) for i, n in zip(m.items, packs, strict=True) if n]
    owed, back, have = dict(m.needs), {i.seller: 0 for i, _ in taken}, dict.fromkeys(m.needs, 0)
    for i, n in sorted(taken, key=lambda x: -x[0].refund):  # an old part goes back where it brings most
        part = i.offer.part
        pieces = min(n * i.pack, owed[part])
        owed[part] -= pieces
        back[i.seller] += i.refund * pieces
        have[part] += n * i.pack
    orders: list[Order] = []
    shelf: tuple[Line, ...] = ()
    for seller in sorted(back):
        own = [(i, n) for i, n in taken if i.seller == seller]
        lines = tuple(Line(i.offer, n, n * i.pack, n * i.price, n * i.pack * i.core) for i, n in own)
        goods, core = sum(x.goods for x in lines), sum(x.core for x in lines)
        if not seller:
            shelf = lines
            continue
        rule = m.sellers[seller].shipping
        free = rule.free_from is not None and goods >= rule.free_from
        shipping = 0 if free else rule.flat + sum(n * i.by_weight for i, n in own)
        lead = max(i.lead_days for i, _ in own)
        orders.append(Order(seller, lines, goods, shipping, free, core, back[seller], lead))
    goods, own_stock = sum(o.goods for o in orders), sum(x.goods for x in shelf)
    shipping, core, core_back = (sum(getattr(o, f) for o in orders) for f in ("shipping", "core", "core_back"))
    landed = goods + own_stock + shipping + core - core_back
    waiting = max((i.wait for i, _ in taken), default=0)
    return Basket(
        orders=tuple(orders),
        shelf=shelf,
        goods=goods,
        own_stock=own_stock,
        shipping=shipping,
        core=core,
        core_back=core_back,
        landed=landed,
        lead_days=max((o.lead_days for o in orders), default=0.0),
        waiting=waiting,
        total=landed + waiting,
        cash_now=goods + shipping + core,
        spare=tuple((part, have[part] - need) for part, need in sorted(m.needs.items()) if have[part] > need),
        gap=gap,
    )
