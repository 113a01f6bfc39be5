"""The price of a part on a day, by hand."""

from __future__ import annotations

from datetime import date

import pytest

from econ.offers import Offer, Seller, Shipping
from econ.pricebook import chain, landed, price_parts

DAY = date(2026, 5, 10)
SELLERS = {
    "Near": Seller("Near"),
    "Post": Seller("Post", Shipping(flat=600, per_kg=100, free_from=10_000)),
}


def offer(seller="Near", price=1000, part="belt", status="new", seen="2026-04-01", **more):
    return Offer(part, "a belt", seller, status, price, date.fromisoformat(seen), **more)


def priced(*offers, part="belt", **more):
    return price_parts([part], offers, SELLERS, DAY, **more)[part]


def test_cheapest_on_the_doorstep():
    near, post = offer(price=1500), offer("Post", price=1000, weight_kg=0.5)
    p = priced(near, post)
    assert (p.seller, p.unit_cost, p.low, p.median, p.high, p.offers) == ("Near", 1500, 1000, 1250, 1500, 2)
    assert priced(near, offer("Post", price=800, weight_kg=0.5)).seller == "Post", "8.00 + 6.00 + 0.50 under 15.00"
    assert landed(offer("Post", price=9_999, weight_kg=2.0), SELLERS["Post"]) == 10_799
    assert landed(offer("Post", price=10_000, weight_kg=2.0), SELLERS["Post"]) == 10_000
    assert landed(offer("Post", price=100, weight_kg=0.25, pack=4), SELLERS["Post"], 9) == 300 + 600 + 75


def test_packs():
    p = priced(offer(price=999, pack=10))
    assert (p.unit_cost, p.pack, p.note) == (100, 10, "sold in packs of 10")


def test_a_newer_price_replaces_the_one_before():
    old, new, to_come = offer(price=900, seen="2026-02-01"), offer(price=1100), offer(price=500, seen="2026-05-11")
    assert priced(old, new, to_come).unit_cost == 1100
    assert priced(old, offer(status="discontinued", price=0)).barred
    assert price_parts(["belt"], [to_come], SELLERS, DAY) == {}


def test_of_two_that_cost_the_same_the_one_seen_later():
    assert priced(offer(seen="2026-04-01"), offer("Corner", seen="2026-04-02")).seller == "Corner"
    assert priced(offer(seen="2026-04-02"), offer("Corner", seen="2026-04-01")).seller == "Near"


def test_of_two_words_of_one_day_the_one_that_promises_less():
    new, gone = offer(price=500), offer(status="discontinued", price=500)
    waits = offer(status="back_ordered", price=500, lead_days=30)
    assert priced(new, gone).barred
    assert priced(waits, gone).barred
    assert priced(new, waits).status == "back_ordered"


def test_stale():
    old = offer(price=500, seen="2026-01-09")
    p = priced(old)
    assert (p.age_days, p.stale, p.note) == (121, True, "stale, 121 days old")
    assert not priced(offer(price=500, seen="2026-01-10")).stale
    assert not priced(old, stale_days=121).stale
    assert priced(old, offer("Post", price=2000)).seller == "Post", "a fresh price before a stale one"


def test_own_stock_is_worth_what_another_one_costs():
    own = offer("Shelf", status="own_stock", price=0)
    p = priced(own, offer(price=1500), offer("Post", price=3000))
    assert (p.unit_cost, p.seller, p.status, p.lead_days) == (1500, "Near", "own_stock", 0)
    assert "own stock" in p.note
    alone = priced(own)
    assert (alone.unit_cost, alone.barred) == (None, False), "to be had, at a price that is not known"
    assert alone.note == "in own stock; no price of another one is known"
    assert priced(offer("Shelf", status="own_stock", price=700)).unit_cost == 700


def test_new_before_back_ordered_before_used():
    new = offer(price=3000)
    waits, used = offer("Post", status="back_ordered", price=800, lead_days=20), offer("C", status="used", price=300)
    assert priced(new, waits, used).unit_cost == 3000
    assert priced(waits, used).status == "back_ordered"
    assert priced(used).note == "used"


@pytest.mark.parametrize(
    ("offers", "note"),
    [
        ([offer(status="discontinued", price=0)], "discontinued"),
        ([offer(status="back_ordered")], "back-ordered, nobody says until when"),
        ([offer(status="discontinued"), offer("Post", status="back_ordered")], "back-ordered, nobody says until when"),
    ],
)
def test_what_cannot_be_had(offers, note):
    p = priced(*offers)
    assert p.barred
    assert p.unit_cost is None
    assert p.note == note


def test_a_part_that_another_took_the_place_of():
    old = offer(status="discontinued", price=0, superseded_by="belt_b")
    middle = offer(part="belt_b", superseded_by="belt_c", price=0, status="discontinued")
    last = offer(part="belt_c", price=1200)
    p = priced(old, middle, last)
    assert (p.part, p.sold, p.unit_cost) == ("belt", "belt_c", 1200)
    assert p.note == "belt_c, which took its place"
    unknown = priced(old)
    assert (unknown.unit_cost, unknown.barred, unknown.sold) == (None, False, "belt_b")
    left_over = offer("Post", price=400)
    assert priced(old, middle, last, left_over).sold == "belt", "another seller still has some, at 10.00 sent"


def test_a_circle_of_parts_ends():
    around = [offer(part="a", superseded_by="b"), offer(part="b", superseded_by="a")]
    assert chain("a", around) == ("a", "b")
    assert priced(*around, part="a").unit_cost is None


def test_of_lists_that_go_round_in_a_circle_the_newest_word_holds():
    """Two lists of two days: neither is at fault by itself, and none says that the part can't be had."""
    then = offer(part="a", superseded_by="b", price=0, seen="2026-02-01")
    now = offer(part="b", superseded_by="a", price=0, seen="2026-04-01")
    assert chain("a", [then, now]) == ("a",)
    assert chain("b", [then, now]) == ("b", "a")
    p = priced(then, now, part="b")
    assert (p.unit_cost, p.barred, p.sold) == (None, False, "a")
    assert p.note == "the lists let a and b take each other's place; no price is known"
    left = offer("Post", part="a", price=700)
    assert priced(then, now, left, part="b").unit_cost == 700, "another seller has it"
    longer = [
        offer(part="a", superseded_by="b", seen="2026-03-01"),
        offer(part="b", superseded_by="c", seen="2026-02-01"),
        offer(part="c", superseded_by="a", seen="2026-04-01"),
    ]
    assert [chain(x, longer) for x in "abc"] == [("a", "b"), ("b",), ("c", "a", "b")]


def test_what_is_used_up_is_on_no_shelf():
    """The newest row of a shelf tells how many there are; none, if its pack is 0."""
    before, after = offer("Shelf", status="own_stock", pack=3, seen="2026-02-01"), offer(price=1500)
    assert priced(before, after).shelf == 3
    fewer = offer("Shelf", status="own_stock", pack=1, seen="2026-03-01")
    assert priced(before, fewer, after).shelf == 1
    gone = offer("Shelf", status="own_stock", pack=0, seen="2026-04-02", price=0)
    p = priced(before, fewer, gone, after)
    assert (p.shelf, p.status, p.unit_cost) == (0, "new", 1500)
    used, none = (
        offer("Barn", status="used", price=300),
        offer("Barn", status="used", price=0, pack=0, seen="2026-04-02"),
    )
    assert price_parts(["belt"], [used, none], SELLERS, DAY) == {}


def test_a_stale_price_only_where_there_is_no_fresher_one_of_any_kind():
    old = offer(price=3000, seen="2024-04-01")
    waits = offer("Post", status="back_ordered", price=1000, lead_days=6.0)
    assert priced(old, waits).status == "back_ordered"
    assert priced(old, offer("C", status="used", price=900)).status == "used"
    assert priced(old).unit_cost == 3000


def test_a_used_part_where_the_wait_for_another_costs_more():
    """60 days at 70.00 a week are 600.00; without a cost of waiting the one that is like new is taken."""
    waits = offer("Near", status="back_ordered", price=1200, lead_days=60.0)
    used = offer("Corner", status="used", price=1000, lead_days=2.0)
    assert priced(waits, used).status == "back_ordered"
    assert priced(waits, used, week=7_000.0).status == "used"
    soon = offer("Near", status="back_ordered", price=1200, lead_days=2.0)
    assert (
        priced(soon, offer("Corner", status="used", price=1190, lead_days=9.0), week=7_000.0).status == "back_ordered"
    )


def test_a_core_charge_comes_back_for_an_old_part_only():
    """A pack of two at 20.00 with 5.00 on each piece, one needed: 25.00, as for the spare one no old part goes back."""
    p = price_parts(["belt"], [offer(price=2000, pack=2, core_charge=500)], SELLERS, DAY, pieces={"belt": 1})["belt"]
    assert p.unit_cost == 2500


def test_a_part_is_for_sale_again_by_the_newest_word_on_it():
    """Replaced in February at 10.00 still to be had; in April the later part is replaced by the first."""
    then = offer(part="a", superseded_by="b", price=1000, seen="2026-02-01")
    now = offer(part="b", superseded_by="a", price=1200, seen="2026-04-01")
    for part in ("a", "b"):
        p = priced(then, now, part=part)
        assert (p.sold, p.unit_cost, p.barred) == ("a", 1000, False)
