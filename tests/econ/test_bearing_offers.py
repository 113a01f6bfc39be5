"""What a bearing costs: which offer comes first, how old it is, what is in own stock, and what the headline says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from econ.bearing_offers import DayPrices
from econ.bearings import find_bearing
from econ.offers import STATUSES, Offer
from econ.pricebook import STALE_DAYS
from econ.problems import BadInput

DAY = date(2026, 5, 20)


def offer(price, designation="6203-2RS", status="new", age=10, part="bearing", seller="A", **more):
    return Offer(part, "", seller, status, price, DAY - timedelta(age), designation=designation, **more)


def asked(*offers, size="17x40x12", designation=None, currency="USD", **others):
    prices = DayPrices(DAY, {"USD": offers, **others})
    return find_bearing(None if designation else size, designation, prices=prices, currency=currency)


def said(*offers, **more):
    """Return what a headline says of prices, behind what it says of the size."""
    return asked(*offers, **more).headline.partition(". ")[2]


def rows(*offers, **more):
    return asked(*offers, **more).candidates[0].offers


def test_a_row_says_what_to_order_and_how_old_its_price_is():
    (fresh, stale) = rows(offer(500, part="b_6203", age=STALE_DAYS, lead_days=4.0), offer(400, age=STALE_DAYS + 1))
    assert (fresh.part, fresh.designation, fresh.seen_on, fresh.age_days) == ("b_6203", "6203-2RS", "2026-01-20", 120)
    assert (fresh.lead_days, fresh.as_asked, fresh.stale, stale.stale) == (4.0, None, False, True)
    assert asked().as_of == "2026-05-20"


def test_the_headline_says_the_cheapest_new_one_that_is_not_stale():
    offers = (
        offer(520, seller="B", age=65), offer(676), offer(300, age=200), offer(200, status="used"),
        offer(250, status="back_ordered", lead_days=9.0), offer(100, status="discontinued"),
        offer(90, superseded_by="another"),
    )  # fmt: skip
    assert said(*offers) == "Best price: 5.20 USD a piece for 6203-2RS at B, seen on 2026-03-16."
    assert [(o.status, o.price_each) for o in rows(*offers)] == [
        ("new", Decimal("5.20")), ("new", Decimal("6.76")), ("new", Decimal("3.00")),
        ("back_ordered", Decimal("2.50")), ("used", Decimal("2.00")),
    ]  # fmt: skip
    pack = said(offer(1990, pack=10), offer(450))
    assert pack.startswith("Best price: 1.99 USD a piece in packs of 10 for 6203-2RS at A"), "by the piece"


@pytest.mark.parametrize(("offers", "says"), [
    ([offer(500, age=150)], "only stale offers: 5.00 USD a piece for 6203-2RS at A, seen on 2025-12-21, 150 days old."),
    ([offer(500, status="used", age=3)], "only used offers: 5.00 USD a piece for 6203-2RS, used, at A, seen on"),
    ([offer(500, status="donor")], "only donor offers: 5.00 USD a piece for 6203-2RS, from a donor machine, at A,"),
    ([offer(500, status="back_ordered", lead_days=9.0)], "only back-ordered offers: 5.00 USD a piece for 6203-2RS, "
     "back-ordered, at A,"),
    ([offer(500, status="back_ordered")], "6203-2RS, back-ordered, nobody says until when, at A,"),
    ([offer(900, age=150), offer(500, status="back_ordered"), offer(700, status="used")],
     "only stale, used and back-ordered offers: 9.00 USD a piece"),
])  # fmt: skip
def test_where_no_new_one_can_be_had_it_says_what_there_is(offers, says):
    assert says in said(*offers)
    assert "Best price" not in said(*offers)


def test_own_stock_is_said_first_and_needs_no_price():
    own = offer(0, status="own_stock", part="spindle_bearing", seller="Shelf", age=19)
    assert said(offer(520), own) == (
        "In own stock: 6203-2RS, seen on 2026-05-01. "
        "Best price: 5.20 USD a piece for 6203-2RS at A, seen on 2026-05-10."
    )
    first, second = rows(offer(520), own)
    assert (first.status, first.part, first.price_each, first.price) == ("own_stock", "spindle_bearing", None, None)
    assert second.price_each == Decimal("5.20")
    assert said(own).endswith("The price book has no other of this size in USD on 2026-05-20.")
    assert rows(replace(own, price=700))[0].price_each == Decimal("7.00")
    assert rows(replace(own, superseded_by="another")), "it is there all the same"
    assert rows(offer(0)) == (), "an offer without a price is none"


def test_own_stock_is_there_in_any_currency():
    own = offer(700, status="own_stock")
    (line,) = rows(own, currency="EUR")
    assert (line.currency, line.price_each) == ("EUR", None), "dollars are no euros"
    (line,) = rows(own, currency="EUR", EUR=(replace(own, price=600),))
    assert line.price_each == Decimal("6.00")
    assert not asked(own, currency="EUR").notes, "nobody sells it"


def test_no_price_is_told_without_a_book_or_where_no_size_stands_out():
    assert said() == "The price book has none of this size in USD on 2026-05-20."
    bare = find_bearing("17x40x12")
    assert (bare.headline, bare.as_of) == ("6203: 17 x 40 x 12 mm, all three as measured.", None)
    twins = [offer(100, designation="6202-2RS-5/8"), offer(200, designation="1623")]
    both = asked(*twins, size="15.9x35x11")
    assert not both.clear
    assert both.headline == find_bearing("15.9x35x11").headline
    assert [len(c.offers) for c in both.candidates] == [1, 1], "they are listed all the same"
    none_fits = asked(offer(100, designation="6302"), size="17x41.5x20")
    assert none_fits.headline == find_bearing("17x41.5x20").headline
    clear = asked(offer(100, designation="1603"), offer(200, designation="608"), size="8x22x7")
    assert "2.00 USD a piece for 608 at" in clear.headline


def test_other_currencies_are_named_where_the_one_asked_for_has_none():
    others = {"EUR": (offer(450),), "CHF": (offer(430), offer(1, designation="6204")), "GBP": (offer(1, "6204"),)}
    b = asked(**others)
    assert "The price book has none of this size in USD on 2026-05-20." in b.headline
    assert b.notes == ("6203 is offered in CHF and EUR only, not in USD.",)
    assert asked(designation="6203", **others).notes == b.notes
    assert asked(offer(500), **others).notes == ()
    assert "4.50 EUR a piece" in asked(currency="EUR", **others).headline
    two = asked(size="15.9x35x11", EUR=(offer(450, designation="1623"),))
    assert two.notes[-1] == "1623 is offered in EUR only, not in USD."


def test_other_suffixes_than_asked_for_are_marked():
    offers = (offer(310, "6203"), offer(520, "6203 2RS1", seller="B"), offer(0, "6203 ZZ", "own_stock"))
    told = said(*offers, designation="6203-2RS")
    assert "In own stock: 6203 ZZ (other suffixes than asked), seen on" in told
    assert "Best price: 3.10 USD a piece for 6203 (other suffixes than asked) at A, seen on" in told
    assert "; as asked from 5.20 USD a piece for 6203 2RS1 at B, seen on 2026-05-10." in told
    assert [o.as_asked for o in rows(*offers, designation="6203-2RS")] == [False, False, True]
    assert "other suffixes" not in said(*offers), "a size asks for none"
    assert rows(offer(1, "6203 CN"), designation="6203")[0].as_asked, "normal clearance goes without saying"
    assert not rows(offer(1, "6203-2RS QQ7"), designation="6203-2RS")[0].as_asked
    own = (offer(0, "6203 ZZ", "own_stock", age=1), offer(0, "6203-2RS", "own_stock", age=9))
    assert [o.designation for o in rows(*own, designation="6203-2RS")] == ["6203-2RS", "6203 ZZ"]
    assert [o.designation for o in rows(*own)] == ["6203 ZZ", "6203-2RS"], "the newest"


@pytest.mark.parametrize(("currency", "remedy"), [("XXX", "known: AUD, BHD"), ("usd", '"USD"'), ("EURO", '"EUR"')])
def test_an_unknown_currency_is_refused_beside_all_else(currency, remedy):
    with pytest.raises(BadInput) as refused:
        find_bearing("17x0x12", tolerance="7", currency=currency)
    assert [p.path for p in refused.value.problems] == ["size.outside", "tolerance", "currency"]
    problem = refused.value.problems[-1]
    assert problem.value == f'"{currency}"'
    assert remedy in problem.remedy


OFFERS = st.builds(
    offer,
    st.integers(0, 2000),
    st.sampled_from(["6203", "6203-2RS", "6203 ZZ C3", "6204", ""]),
    st.sampled_from(STATUSES),
    st.integers(0, 300),
    pack=st.integers(1, 10),
    lead_days=st.none() | st.just(5.0),
    superseded_by=st.sampled_from(["", "", "another"]),
)


@settings(deadline=None)
@given(st.lists(OFFERS, max_size=8), st.randoms())
def test_the_best_price_is_the_least_of_those_that_may_be_named(offers, shuffle):
    b = asked(*offers)
    may = [o.price_each for o in b.candidates[0].offers if o.status == "new" and not o.stale]
    assert ("Best price" in b.headline) == bool(may)
    assert not may or f"Best price: {min(may)} USD" in b.headline
    assert all((o.price_each is None) == (o.price is None) for o in b.candidates[0].offers)
    assert all(o.price_each is not None or o.status == "own_stock" for o in b.candidates[0].offers)
    again = list(offers)
    shuffle.shuffle(again)
    assert asked(*again) == b
