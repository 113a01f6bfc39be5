"""Prices of a price book in a decision: what they come to by hand, and what must hold of them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import econ
from econ.costing import make_bench, members, tickets, work
from econ.estimate import make_estimate
from econ.offers import Offer, Seller, Shipping
from econ.pricebook import Supply
from econ.purchase import buy
from econ.sending import least_above
from econ.terms import most_pieces, settle

from ..strategies import CLASS_IDS, base, defaults, machine_class
from ..strategies import read as read_shipped
from . import small
from .small import read

DAY = date(2026, 4, 1)
NEAR, POST = Seller("Near"), Seller("Post", Shipping(flat=500, free_from=9_000))
SELLERS = {s.name: s for s in (NEAR, POST)}


def offer(part: str, seller: str, price: int, **more: Any) -> Offer:
    return Offer(part, part, seller, more.pop("status", "new"), price, more.pop("seen_on", DAY), **more)


def bench(*offers: Offer, **fields: Any) -> tuple[econ.MachineClass, Any]:
    case, c, _ = read(**fields)
    return c, make_bench(case, c, settle(case, c, defaults(), Supply(offers, SELLERS, 7)))


def scope(b: Any, *jobs: str) -> tuple[int, ...]:
    return tuple(b.jobs.index(j) for j in jobs)


def test_a_price_of_the_book_with_its_shipping_and_lead() -> None:
    """The seal at 14.00 from near beats 10.00 and 5.00 of postage; the case's own price beats both."""
    _, b = bench(offer("seal", "Near", 1_400, lead_days=1.0), offer("seal", "Post", 1_000, lead_days=4.0))
    jobs = scope(b, "seal_job")
    plain = tickets(bench()[1], members(b, [jobs]))
    t = tickets(b, members(b, [jobs]))
    typical = int(bench()[1].unit_cost[b.parts.index("seal")])
    assert int(t.total[0] - plain.total[0]) == 1_400 - typical
    assert t.wait.weeks(5 / 7).tolist() == [1 / 7]
    assert t.shipping.tolist() == [0]
    dear = bench(offer("seal", "Near", 1_600), offer("seal", "Post", 1_000, lead_days=4.0))[1]
    t = tickets(dear, members(dear, [jobs]))
    assert (int(t.total[0] - plain.total[0]), int(t.shipping[0])) == (1_500 - typical, 500)
    assert t.wait.weeks(5 / 7).tolist() == [4 / 7]
    own = bench(offer("seal", "Near", 1_600), prices={"seal": "3.00"})[1]
    assert int(tickets(own, members(own, [jobs])).total[0] - plain.total[0]) == 300 - typical


def test_own_stock_counts_at_what_another_one_costs_and_does_not_wait() -> None:
    _, b = bench(offer("seal", "", 200, status="own_stock"), offer("seal", "Post", 1_000, lead_days=9.0))
    t = tickets(b, members(b, [scope(b, "seal_job")]))
    assert int(b.unit_cost[b.parts.index("seal")]) == 1_000
    assert (t.wait.weeks(5 / 7).tolist(), t.shipping.tolist()) == ([0.0], [0])


def test_a_discontinued_part_bars_its_job() -> None:
    case, c, _ = read(complaints=["drips"])
    gone = Supply((offer("seal", "Near", 0, status="discontinued"),), SELLERS, 1)
    b = make_bench(case, c, settle(case, c, defaults(), gone))
    assert "discontinued" in b.barred[b.jobs.index("seal_job")]
    decision = econ.decide(case, c, defaults(), "", gone)
    assert all("seal_job" not in x.jobs for x in decision.courses if not x.barred)


def test_wrong_parts_where_the_model_number_was_not_read() -> None:
    """12 % of: a quarter of 10.00 lost, and 5.00 of postage again; and that share of the wait once more."""
    offers = [offer("seal", "Post", 1_000, lead_days=7.0, return_loss=0.25)]
    sure, b = bench(*offers)[1], bench(*offers, machine={"model_verified": False})[1]
    one = members(b, [scope(b, "seal_job")])
    first, t = tickets(sure, one), tickets(b, one)
    assert t.total.tolist() == first.total.tolist()
    assert int(t.cost[0] - first.cost[0]) == round(0.12 * (250 + 500))
    assert t.wait.weeks(0.0) == pytest.approx([1.12])


def test_packs_are_bought_whole() -> None:
    """Of two bearings to a job from packs of four at 20.00: 10.00 each; the rest is spent."""
    c, _ = bench()
    most = most_pieces(c)
    part = next(p for p, n in most.items() if not c.parts[p].consumable)
    _, b = bench(offer(part, "Near", 2_000, pack=4))
    assert int(b.unit_cost[b.parts.index(part)]) == 2_000 // most[part]


def test_what_was_decided_comes_out_again_after_prices_change() -> None:
    case, c, _ = read(complaints=["drips"])
    then = (offer("seal", "Near", 1_400, seen_on=date(2026, 3, 1)),)
    later = (*then, offer("seal", "Near", 2_400, seen_on=date(2026, 5, 1)))
    before = econ.decide(case, c, defaults(), "", Supply(then, SELLERS, 1))
    assert econ.decide(case, c, defaults(), "", Supply(later, SELLERS, 1)) == before, "seen after the day of the case"
    used = {x.part: x for x in before.prices}
    assert (used["seal"].price, used["seal"].seller, used["seal"].seen_on) == (
        Decimal("14.00"),
        "Near",
        date(2026, 3, 1),
    )
    assert before.purchase is not None
    assert before.purchase.landed == Decimal("14.00")


def test_repairs_that_are_cheapest_at_different_sellers_do_not_call_each_other_forth() -> None:
    """Two repairs clear what leads and take a fuel line, one cheapest from A, the other with the line from C.

    At the prices of one the line changes little, and the better of them was left out as idle: the estimate told the
    sellers of one, the order those of the other.
    """
    sellers = {"A": Seller("A", Shipping(350, 120)), "C": Seller("C", Shipping(350))}
    offers = (
        offer("carburettor", "C", 1_820, lead_days=6.0),
        offer("needle_and_seat", "A", 801, lead_days=1.0),
        offer("needle_and_seat", "C", 801, pack=4, lead_days=1.0),
        offer("fuel_line", "A", 781, lead_days=6.0),
        offer("fuel_line", "C", 781),
        offer("fuel_filter", "A", 351, lead_days=6.0),
    )
    document = base("mower_walk_behind", complaints=["leaks_fuel"], as_of="2026-04-10", terms={"work_by": "self"})
    case, c = read_shipped(document)
    decision = econ.decide(case, c, defaults(), "", Supply(offers, sellers, 3))
    assert decision.purchase is not None
    assert decision.estimate is not None
    bought = [x.amount for x in decision.estimate.lines if x.kind == "part" or x.what.startswith("shipping from")]
    assert sum(bought) == decision.purchase.landed
    sent = {x.what.removeprefix("shipping from ") for x in decision.estimate.lines if "shipping from" in x.what}
    assert sent == {o.seller for o in decision.purchase.orders}


@st.composite
def supplies(draw: st.DrawFn, class_id: str) -> Supply:
    c = machine_class(class_id)
    names = ("A", "B", "C")
    flat, per_kg = st.sampled_from([0, 350, 800]), st.sampled_from([0, 120])
    sellers = {n: Seller(n, Shipping(draw(flat), draw(per_kg))) for n in names}
    offers = []
    for p, part in c.parts.items():
        for n in names:
            if draw(st.integers(0, 2)):
                price = int(100 * part.price[1] * draw(st.sampled_from([0.7, 1.0, 1.3]))) + 1
                lead = draw(st.sampled_from([None, 1.0, 6.0]))
                offers.append(offer(p, n, price, pack=draw(st.sampled_from([1, 1, 4])), lead_days=lead))
    return Supply(tuple(offers), sellers, 3)


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(st.data())
def test_the_estimate_comes_to_what_is_ordered(data: st.DataObject) -> None:
    """Own work without tax: parts of the book and their shipping in the estimate are what the basket comes to.

    Where a seller has a least order or sends free from some value on, the basket may buy more to get there.
    """
    class_id = data.draw(st.sampled_from(["mower_walk_behind", "tiller_rear_tine"]))
    supply = data.draw(supplies(class_id))
    complaint = data.draw(st.sampled_from(sorted(machine_class(class_id).complaints)))
    document = base(class_id, complaints=[complaint], as_of="2026-04-10", terms={"work_by": "self"})
    case, c = read_shipped(document)
    decision = econ.decide(case, c, defaults(), "", supply)
    if decision.purchase is None or decision.estimate is None:
        return
    bought = {x.part for o in decision.purchase.orders for x in o.lines}
    titles = {c.parts[p].title for p in bought}
    named = [x for x in decision.estimate.lines if x.kind == "part" and x.what.startswith(tuple(titles))]
    sent = [x for x in decision.estimate.lines if x.what.startswith("shipping from")]
    # To a few cents: a piece of a pack that several share is rounded by itself.
    assert float(sum(x.amount for x in (*named, *sent))) == pytest.approx(float(decision.purchase.landed), abs=0.05)


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_no_price_of_the_book_is_lost(class_id: str) -> None:
    """Every part at one seller at one price: the ticket of every job is that price times its pieces."""
    c = machine_class(class_id)
    supply = Supply(tuple(offer(p, "Near", 1_000) for p in c.parts), SELLERS, 1)
    case, c = read_shipped(base(class_id, complaints=[next(iter(c.complaints))]))
    b = make_bench(case, c, settle(case, c, defaults(), supply))
    assert set(b.unit_cost.tolist()) == {1_000}
    every = members(b, [(j,) for j in range(len(b.jobs))])
    fitted = work(b, every).fitted
    got = [buy(c, b, (j,), 0.0, 1) for j in range(0, len(b.jobs), 7)]
    for j, found in zip(range(0, len(b.jobs), 7), got, strict=True):
        own = np.array([not c.parts[p].consumable for p in b.parts])
        pieces = int(np.ceil(fitted[j] / 1000)[own].sum())
        assert (Decimal(0) if found is None else found[0].landed) == Decimal(10 * pieces)


def test_own_stock_is_taken_by_the_piece_at_what_another_costs() -> None:
    """A pin on the shelf, a pack of ten at 28.00: 2.80, nothing to order; whatever the shelf's own price says."""
    for shelf in (0, 400, 9_000):
        c, b = bench(offer("seal", "", shelf, status="own_stock"), offer("seal", "Near", 2_800, pack=10))
        assert int(b.unit_cost[b.parts.index("seal")]) == 280
        bought = buy(c, b, scope(b, "seal_job"), 0.0, 1)
        assert bought is not None
        assert [o.seller for o in bought[0].orders] == [""]
        assert bought[0].landed == Decimal("2.80")


@pytest.mark.parametrize(
    ("terms", "price", "sent", "more"),
    [
        (Seller("Post", Shipping(600), minimum_order=5_000), 2_000, 600, 4_000),  # two more: 60.00 of goods
        (Seller("Post", Shipping(4_500, free_from=4_000)), 2_000, 0, 2_000),  # one more, and it is sent free
        (Seller("Post", Shipping(500, free_from=9_000)), 2_000, 500, 0),  # not for 5.00
    ],
)
def test_more_is_bought_to_reach_a_value_as_the_basket_does(terms: Seller, price: int, sent: int, more: int) -> None:
    case, c, _ = read()
    supply = Supply((offer("seal", "Post", price),), {"Post": terms}, 1)
    b = make_bench(case, c, settle(case, c, defaults(), supply))
    jobs = scope(b, "seal_job")
    ((here, beyond),) = [x.charge(work(b, members(b, [jobs])).quantity) for x in b.senders]
    assert (here.tolist(), beyond.tolist()) == ([sent], [more])
    bought = buy(c, b, jobs, 0.0, 1)
    assert bought is not None
    assert bought[0].landed == Decimal(price + sent + more) / 100


def test_a_basket_that_is_not_found_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """The prices reckoned with stand by themselves; the answer says that nobody looked for the best order."""
    case, c, _ = read(complaints=["drips"])
    supply = Supply((offer("seal", "Near", 1_000),), SELLERS, 1)
    found = econ.decide(case, c, defaults(), "", supply)
    assert found.purchase is not None

    def lost(*_: Any) -> None:
        raise ArithmeticError("no solution found within the search; allow more nodes")

    monkeypatch.setattr("econ.purchase.choose", lost)
    told = econ.decide(case, c, defaults(), "", supply)
    assert told.purchase is None
    assert (told.estimate, told.verdict) == (found.estimate, found.verdict)
    assert [a.value for a in told.assumptions if a.name == "purchase"] == ["not worked out"]


def test_what_own_stock_lacks_is_ordered() -> None:
    """Two seals are needed and one lies on the shelf: the other comes from the post in nine days, with its shipping."""
    two = small.MODULE.replace('parts = [{ part = "seal", quantity = 1 }]', 'parts = [{ part = "seal", quantity = 2 }]')
    assert two != small.MODULE
    post = offer("seal", "Post", 1_000, lead_days=9.0)
    for shelf, weeks, sent in ((1, 9 / 7, 500), (2, 0.0, 0)):
        own = offer("seal", "", 200, status="own_stock", pack=shelf)
        case, c, _ = read(two)
        b = make_bench(case, c, settle(case, c, defaults(), Supply((own, post), SELLERS, 1)))
        jobs = scope(b, "seal_job")
        t = tickets(b, members(b, [jobs]))
        assert (t.wait.weeks(5 / 7).tolist(), t.shipping.tolist()) == ([weeks], [sent])
        bought = buy(c, b, jobs, 0.0, 1)
        assert bought is not None
        found = bought[0]
        assert [(o.seller, [x.packs for x in o.lines]) for o in found.orders if o.seller] == (
            [("Post", [1])] if shelf == 1 else []
        )
        assert found.missing == ()
        assert found.landed == Decimal("20.00") + Decimal(sent) / 100
        estimate = make_estimate(b, c, jobs)
        assert sum(x.amount for x in estimate.lines if "shipping" in x.what) == Decimal(sent) / 100


def test_what_nobody_has_is_told() -> None:
    two = small.MODULE.replace('parts = [{ part = "seal", quantity = 1 }]', 'parts = [{ part = "seal", quantity = 2 }]')
    case, c, _ = read(two)
    b = make_bench(case, c, settle(case, c, defaults(), Supply((offer("seal", "", 200, status="own_stock"),), {}, 1)))
    bought = buy(c, b, scope(b, "seal_job"), 0.0, 1)
    assert bought is not None
    assert [(x.part, x.pieces) for x in bought[0].missing] == [("seal", 1)]
    assert bought[0].why == ("From own stock what there is; nobody sells the rest.",)


def test_shipping_that_is_not_known_is_the_usual() -> None:
    """A seller that says nothing of it beats no other that says 6.00 honestly, and the case's own figure is used."""
    silent = {"Near": Seller("Near", stated=False), "Post": Seller("Post", Shipping(600))}
    offers = (offer("seal", "Near", 1_000), offer("seal", "Post", 1_100))
    case, c, _ = read(terms={"parts_shipping": "8.00"})
    terms = settle(case, c, defaults(), Supply(offers, silent, 1))
    assert terms.priced["seal"].seller == "Post"
    alone = settle(case, c, defaults(), Supply(offers[:1], silent, 1))
    assert [(a.name, a.value) for a in alone.assumptions if a.name.startswith("shipping.")] == [
        ("shipping.Near", "$8.00")
    ]
    b = make_bench(case, c, alone)
    assert tickets(b, members(b, [scope(b, "seal_job")])).shipping.tolist() == [800]


@pytest.mark.parametrize(
    ("prices", "least", "sum_"),
    [((1000, 400), 1400, 1400), ((1000, 400), 1500, 1600), ((700,), 1, 700), ((0, 3), 7, 9)],
)
def test_the_least_sum_above_a_value_by_hand(prices: tuple[int, ...], least: int, sum_: int) -> None:
    assert least_above(least, prices) == sum_


@given(st.lists(st.integers(1, 60), min_size=1, max_size=4), st.integers(1, 300))
def test_the_least_sum_above_a_value(prices: list[int], least: int) -> None:
    """Against every sum there is, one price at a time."""
    sums = {0}
    for price in prices:
        sums = {s + k * price for s in sums for k in range((least + 60) // price + 1)}
    assert least_above(least, tuple(sorted(set(prices)))) == min(s for s in sums if s >= least)


def test_own_stock_of_no_known_price_is_on_the_shelf_all_the_same() -> None:
    case, c, _ = read()
    b = make_bench(case, c, settle(case, c, defaults(), Supply((offer("seal", "", 0, status="own_stock"),), {}, 1)))
    bought = buy(c, b, scope(b, "seal_job"), 0.0, 1)
    assert bought is not None
    (order,) = bought[0].orders
    assert (order.seller, [x.part for x in order.lines]) == ("", ["seal"])
    assert order.goods == Decimal(int(b.unit_cost[b.parts.index("seal")])) / 100
    assert tickets(b, members(b, [scope(b, "seal_job")])).shipping.tolist() == [0]


def test_the_basket_of_one_seller_stands_beside_a_split() -> None:
    """Two seals at 100 from ann and the bearing at 100 from bob; each asks 300 for what the other sells."""
    who = {"Ann": Seller("Ann"), "Bob": Seller("Bob")}
    offers = [
        offer("seal", "Ann", 10_000), offer("seal", "Bob", 30_000), offer("bearing", "Ann", 30_000),
        offer("bearing", "Bob", 10_000),
    ]  # fmt: skip
    case, c, _ = read()
    b = make_bench(case, c, settle(case, c, defaults(), Supply(tuple(offers), who, 1)))
    bought = buy(c, b, scope(b, "seal_job", "bearing_job"), 0.0, 1)
    assert bought is not None
    found = bought[0]
    assert sorted(o.seller for o in found.orders) == ["Ann", "Bob"]
    assert len(found.single_orders) == 1
    assert found.single is not None
    assert found.single == sum(o.goods + o.shipping for o in found.single_orders) > found.landed
    alone = buy(c, b, scope(b, "seal_job"), 0.0, 1)
    assert alone is not None
    assert alone[0].single_orders == ()
