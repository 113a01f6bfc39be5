"""The price of a part on a day: what must hold for any offers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from econ.offers import STATUSES, Offer, Seller, Shipping
from econ.pricebook import age_days, current, group, landed, piece, price_parts

FIRST = date(2026, 1, 1)
DAYS = st.integers(0, 300).map(lambda n: FIRST + timedelta(days=n))
PARTS = st.sampled_from(["belt", "blade", "plug"])
OFFERS = st.lists(
    st.builds(
        Offer, part=PARTS, title=st.just(""), seller=st.sampled_from(["A", "B", "C"]), status=st.sampled_from(STATUSES),
        price=st.integers(1, 100_000), seen_on=DAYS, pack=st.sampled_from([1, 1, 2, 10]),
        core_charge=st.sampled_from([0, 1500]), weight_kg=st.none() | st.floats(0.01, 20),
        lead_days=st.none() | st.floats(0, 60), return_loss=st.none() | st.floats(0, 1),
        superseded_by=st.sampled_from(["", "", "", "belt", "blade", "plug", "gone"]),
    ),
    max_size=14,
)  # fmt: skip
SELLERS = st.fixed_dictionaries(
    {
        name: st.builds(
            lambda flat, kg, free, n=name: Seller(n, Shipping(flat, kg, free)),
            st.integers(0, 2000), st.integers(0, 300), st.none() | st.integers(0, 50_000),
        )
        for name in "AB"
    }
)  # fmt: skip
ALL = ("belt", "blade", "plug", "unheard_of")
many = settings(max_examples=300, deadline=None)


@given(OFFERS, SELLERS, DAYS, st.randoms(use_true_random=False))
@many
def test_the_order_of_the_offers_is_no_matter(offers, sellers, day, random):
    mixed = random.sample(offers, len(offers))
    assert price_parts(ALL, offers, sellers, day) == price_parts(ALL, mixed, sellers, day)


@given(OFFERS, SELLERS, DAYS)
@many
def test_what_comes_later_changes_nothing(offers, sellers, day):
    """A day's prices are the same for ever, whatever is seen after it."""
    then = [o for o in offers if o.seen_on <= day]
    assert price_parts(ALL, offers, sellers, day) == price_parts(ALL, then, sellers, day)


@given(OFFERS, SELLERS, DAYS)
@many
def test_each_answer_is_one_of_its_offers(offers, sellers, day):
    for part, p in price_parts(ALL, offers, sellers, day).items():
        assert p.part == part
        assert not (p.barred and p.unit_cost is not None)
        if p.unit_cost is None:
            assert p.note
            continue
        assert p.low is not None
        assert p.median is not None
        assert p.high is not None
        assert p.low <= p.unit_cost <= p.high
        assert p.low <= p.median <= p.high
        assert any(o.seller == p.seller and o.seen_on == p.seen_on and piece(o) == p.unit_cost for o in offers)
        assert p.seen_on is not None
        assert p.age_days == (day - p.seen_on).days >= 0
        assert p.stale == (p.age_days > 120)


@given(OFFERS, SELLERS, DAYS, st.integers(1, 100_000))
@many
def test_a_dearer_offer_never_changes_the_price(offers, sellers, day, more):
    before = price_parts(["belt"], offers, sellers, day).get("belt")
    if before is None or before.unit_cost is None or before.status != "new":
        return
    there = [o for o in current(offers, day) if o.seller == before.seller and piece(o) == before.unit_cost]
    dear = max(landed(o, sellers.get(o.seller, Seller(o.seller))) for o in there) + more
    extra = Offer("belt", "", "Z", "new", dear, day)
    after = price_parts(["belt"], [*offers, extra], sellers, day)["belt"]
    if not before.stale:
        assert (after.unit_cost, after.seller) == (before.unit_cost, before.seller)


@given(OFFERS, SELLERS, DAYS)
@many
def test_what_is_not_for_sale_brings_no_price(offers, sellers, day):
    """A seller that has it no more changes nothing but what that seller said before."""
    extra = Offer("belt", "", "Z", "discontinued", 1, day)
    before = price_parts(["belt"], offers, sellers, day).get("belt")
    after = price_parts(["belt"], [*offers, extra], sellers, day)["belt"]
    if before is None:
        assert after.barred
    elif before.unit_cost is not None:
        assert after == before


@given(OFFERS, DAYS)
@many
def test_of_each_group_the_newest_holds(offers, day):
    held = current(offers, day)
    assert len({group(o) for o in held}) == len(held)
    for o in held:
        same = [x for x in offers if group(x) == group(o) and x.seen_on <= day]
        assert age_days(o, day) == min(age_days(x, day) for x in same)
    assert {group(o) for o in held} == {group(o) for o in offers if o.seen_on <= day}


@given(OFFERS, SELLERS, DAYS, st.integers(2, 9))
@many
def test_in_another_money_the_same_is_bought(offers, sellers, day, times):
    """All amounts so many times as large; packs of one piece and whole kilograms, so that nothing is rounded."""
    plain = [replace(o, pack=1, weight_kg=2.0) for o in offers]
    dear = [replace(o, price=o.price * times, core_charge=o.core_charge * times) for o in plain]

    def raised(s):
        free = None if s.shipping.free_from is None else s.shipping.free_from * times
        return Seller(s.name, Shipping(s.shipping.flat * times, s.shipping.per_kg * times, free))

    before = price_parts(ALL, plain, sellers, day)
    after = price_parts(ALL, dear, {n: raised(s) for n, s in sellers.items()}, day)
    assert {k: (p.seller, p.seen_on, p.barred) for k, p in before.items()} == {
        k: (p.seller, p.seen_on, p.barred) for k, p in after.items()
    }
    assert all(after[k].unit_cost == p.unit_cost * times for k, p in before.items() if p.unit_cost is not None)
