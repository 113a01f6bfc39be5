"""Split: why the parts come from one seller or from several, in plain words."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from econ.landed import Basket, Line, Order
from econ.money import say
from econ.offers import Seller

Money = Callable[[int], str]


def why(
    best: Basket,
    single: Basket | None,
    least: Basket,
    hurdle: int,
    currency: str,
    sellers: Mapping[str, Seller],
    whole: bool = True,
) -> tuple[str, ...]:
    """Return why this basket, in plain words. sellers: by name. whole: nothing is missing."""

    def money(amount: int) -> str:
        return say(amount, currency)

    if not best.orders:
        held = "Own stock has all of it." if whole else "From own stock what there is; nobody sells the rest."
        return (held if best.shelf else "Nothing of it can be had.",)
    names = [o.seller for o in best.orders]
    said = []
    if len(names) == 1:
        rest = "What own stock lacks" if best.shelf else "All"
        said.append(f"{rest} from {names[0]}: {_comes_to(best, money)}.")
        if least is not best:
            others = _listed([o.seller for o in least.orders])
            saved = money(best.total - least.total)
            said.append(
                f"{others} together would save {saved}; each further seller must save more than {money(hurdle)}."
            )
    else:
        said.append(f"From {_listed(names)}: {_comes_to(best, money)}.")
        if single is None:
            said.append("No one seller has all of it.")
        else:
            said += _against(best, single, money)
        if least is not best and least.total < best.total:
            saved = money(best.total - least.total)
            said.append(f"{len(least.orders)} sellers would save {saved} more, not enough for the further orders.")
    said += [_order_words(best, o, sellers[o.seller].minimum_order, money) for o in best.orders]
    if best.shelf:
        said.append(f"From own stock: {_lines(best.shelf)}, worth {money(best.own_stock)}.")
    for part, pieces in best.spare:
        said.append(f"{pieces} of {part} more than needed, counted as spent.")
    if best.core:
        said.append(f"Core charges of {money(best.core)} are paid now; {money(best.core_back)} of it comes back.")
    if best.gap:
        said.append(f"Not proven: another basket might cost up to {money(best.gap)} less.")
    return tuple(said)


def _comes_to(b: Basket, money: Money) -> str:
    waiting = f", {money(b.waiting)} of it for waiting" if b.waiting else ""
    return f"{money(b.total)} in all{waiting}"


def _against(best: Basket, single: Basket, money: Money) -> Iterator[str]:
    """Yield what the split saves against the cheapest single seller, and by what."""
    saved = single.total - best.total
    share = f" ({round(100 * saved / single.total)} %)" if single.total else ""
    where = single.orders[0].seller if single.orders else "own stock"
    yield f"That is {money(saved)}{share} less than all from {where}, {money(single.total)}."
    more = best.shipping - single.shipping
    if more:
        yield f"Shipping costs {money(abs(more))} {'more' if more > 0 else 'less'} than from there."
    later = best.lead_days - single.lead_days
    if later:
        waiting = abs(best.waiting - single.waiting)
        worth = f", which {'costs' if later > 0 else 'saves'} {money(waiting)} of waiting" if waiting else ""
        yield f"It is complete {_days(abs(later))} {'later' if later > 0 else 'sooner'}{worth}."


def _order_words(basket: Basket, o: Order, minimum: int, money: Money) -> str:
    sent = "free shipping" if o.free else f"shipping {money(o.shipping)}" if o.shipping else "no shipping"
    text = f"{o.seller}: {_lines(o.lines)}; goods {money(o.goods)}, {sent}, {_days(o.lead_days)}."
    spare = dict(basket.spare)
    more = [(x, min(spare.get(x.offer.part, 0) // x.offer.pack, x.packs)) for x in o.lines]
    if any(packs for _, packs in more):
        needed = o.goods - sum(x.offer.price * packs for x, packs in more)
        goal = "for free shipping" if o.free and needed >= minimum else "to reach the minimum order"
        text += f" More than needed is bought there {goal}."
    return text


def _lines(lines: Sequence[Line]) -> str:
    return _listed([x.offer.part if x.pieces == 1 else f"{x.pieces} of {x.offer.part}" for x in lines])


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _days(days: float) -> str:
    return f"{days:g} day" + ("" if days == 1 else "s")
