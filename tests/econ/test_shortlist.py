"""Which finds to buy, by hand and against every choice there is."""

from __future__ import annotations

import tracemalloc
from collections.abc import Sequence
from dataclasses import fields, replace
from decimal import Decimal
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from econ import selection
from econ.money import say, to_minor
from econ.screening import Screened
from econ.shortlist import HALF, SHORT, UNKNOWN, Brief, Figures, Limits, brief, joined, narrow, shortlist, shortlist_of


def figures_of(found: Sequence[Screened], km: Sequence[float], currency: str) -> Figures:
    """Return the figures of finds that were screened. km: to fetch each, there and back."""

    def whole(amounts: Sequence[Decimal | None]) -> NDArray[np.int64]:
        return np.array([0 if x is None else to_minor(x, currency) for x in amounts], dtype=np.int64)

    return Figures(
        np.array([x.profit is not None for x in found], dtype=bool),
        whole([x.profit for x in found]),
        whole([x.highest_offer for x in found]),
        np.array([round(x.bench_hours * 1000) for x in found], dtype=np.int64),
        whole([x.cash for x in found]),
        np.array([round(x * 1000) for x in km], dtype=np.int64),
    )


def find(profit: int | None, hours: float = 1.0, cash: int = 20, offer: int = 10) -> Screened:
    amount = None if profit is None else Decimal(profit)
    asked = None if profit is None else Decimal(5)
    return Screened(
        "mower", "repair:open", "find the cause", Decimal(offer), asked, amount, hours, None,
        None if profit is None else Decimal(cash), None, "", None, None, (),
    )  # fmt: skip


def test_in_plain_words_by_hand() -> None:
    """60 in 2 hours and 50 in 2 beat 70 in 4; by the hour they come first, too.

    A fifth hour by itself brings nothing; if finds could be bought in part it would bring 17.50.
    """
    found = [find(70, 4.0), find(60, 2.0), find(50, 2.0), find(-3), find(None), find(None, offer=-2)]
    s, order = shortlist(figures_of(found, [1.0] * 6, "USD"), "USD", Limits(hours=4.0))
    assert order.tolist() == [1, 2, 0, 4, 5, 3]
    assert (s.buy, s.pays, s.unpriced, s.leave) == (2, 3, 1, 2)
    assert (s.best.profit, s.best.hours, s.best.cash, s.best.km) == (Decimal(110), 4.0, Decimal(40), 2.0)
    assert s.by_rate == s.best
    assert s.gap == 0
    assert s.headline == (
        "With 4 bench hours buy these 2: $110 left with every hour paid, for $40 in cash and 4.0 bench hours. Of 6 "
        "finds 3 are worth what is asked. 1 names no price: offer at most what stands there."
    )
    assert s.hour is not None
    assert Decimal("17.50") <= s.hour <= 25


@pytest.mark.parametrize(
    ("found", "limits", "said"),
    [
        ([], Limits(), "No find could be screened."),
        ([find(-1), find(0)], Limits(), "Of 2 finds none is worth what is asked."),
        (
            [find(9)],
            Limits(),
            "Buy this one: $9.00 left with every hour paid, for $20 in cash and 1.0 bench hours. The find is",
        ),
        ([find(9), find(8)], Limits(places=0), "With 0 places none of them can be bought. Of 2 finds 2 are worth"),
        ([find(9), find(8)], Limits(places=1), "With 1 place buy this one"),
        ([find(9), find(8)], Limits(cash=Decimal(25), km=9.0), "With $25 and 9 km buy this one: $9.00 left"),
    ],
)
def test_headlines(found: list[Screened], limits: Limits, said: str) -> None:
    assert shortlist(figures_of(found, [4.0] * len(found), "USD"), "USD", limits)[0].headline.startswith(said)


def test_what_an_hour_more_brings_is_what_is_bought_with_it() -> None:
    """Of finds of 4 and 3 hours with 6 hours one is bought, with 7 both; with 5 an hour more is idle."""
    found = [find(70, 4.0), find(60, 3.0)]
    six, five = (shortlist(figures_of(found, [1.0] * 2, "USD"), "USD", Limits(hours=h))[0] for h in (6.0, 5.0))
    assert six.best.hours == five.best.hours == 4.0
    assert six.headline.endswith(" One bench hour more would bring $60.")
    assert "bench hour more" not in five.headline


def test_of_many_finds_an_hour_more_is_told_as_about(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where they are too many to prove it: what it would bring if finds could be bought in part, and only if it lacks.

    That is so where less than an hour is left over.
    """
    monkeypatch.setattr("econ.shortlist.PROVEN", 2)
    found = [find(70, 4.0), find(60, 2.0), find(50, 2.0)]
    short = shortlist(figures_of(found, [1.0] * 3, "USD"), "USD", Limits(hours=4.0))[0]
    assert short.headline.endswith(" A bench hour more would be worth about $18.")
    idle = shortlist(figures_of(found, [1.0] * 3, "USD"), "USD", Limits(hours=7.0))[0]
    assert "bench hour more" not in idle.headline


def test_limits_hold_to_the_last_digit() -> None:
    """16.1 and 16.2 km are 32.3 km, of which a float has a little less; 0.1 more is too much."""
    found = [find(70), find(60)]
    for km, buy in ((32.3, 2), (32.2, 1), (64.1, 2)):
        assert shortlist(figures_of(found, [16.1, 16.2], "USD"), "USD", Limits(km=km))[0].buy == buy


def test_an_unknown_way_is_not_within_kilometres() -> None:
    """70 at an unknown way, 60 at 5 km, 50 at 9: without a limit all, within 10 km the 60, told as 5 km."""
    f = figures_of([find(70), find(60), find(50)], [0.0, 5.0, 9.0], "USD")
    f = replace(f, metres=np.array([UNKNOWN, 5_000, 9_000]))
    (free, _), (within, order) = (shortlist(f, "USD", x) for x in (Limits(), Limits(km=10.0)))
    assert (free.buy, free.best.km) == (3, 14.0)
    assert (within.buy, within.best.profit, within.best.km) == (1, Decimal(60), 5.0)
    assert order.tolist() == [1, 0, 2]
    assert (within.pays, within.leave) == (3, 0)


@pytest.mark.parametrize(
    ("limits", "rate"),
    [(Limits(), ""), (Limits(hours=1.0, cash=Decimal(5)), "bench hour"), (Limits(places=1), "place")],
)
def test_what_the_best_are_ranked_by_is_told(limits: Limits, rate: str) -> None:
    assert shortlist(figures_of([find(9)], [1.0], "USD"), "USD", limits)[0].rate == rate


ONE = st.builds(find, st.none() | st.integers(-20, 90), st.integers(0, 9).map(float), st.integers(0, 60))
MOST = st.none() | st.integers(0, 20), st.none() | st.integers(0, 150), st.none() | st.integers(0, 5)


@given(st.lists(ONE, max_size=8), *MOST)
@settings(max_examples=150, deadline=None)
def test_the_best_of_every_choice(
    found: list[Screened], hours: int | None, cash: int | None, places: int | None
) -> None:
    limits = Limits(None if hours is None else float(hours), None if cash is None else Decimal(cash), places)
    s, order = shortlist(figures_of(found, [0.0] * len(found), "USD"), "USD", limits)
    able = [x for x in found if x.profit is not None]

    def most(hours: int | None) -> Decimal:
        return max(
            (
                sum((x.profit or Decimal(0) for x in some), Decimal(0))
                for n in range(len(able) + 1)
                for some in combinations(able, n)
                if (hours is None or sum(x.bench_hours for x in some) <= hours)
                and (cash is None or sum((x.cash or Decimal(0) for x in some), Decimal(0)) <= cash)
                and (places is None or n <= places)
            ),
            default=Decimal(0),
        )

    best = most(hours)
    more = Decimal(0) if hours is None else most(hours + 1) - best
    said = f" One bench hour more would bring {say(to_minor(more, 'USD'), 'USD')}." if more else "."
    assert s.headline.endswith(said)
    assert ("bench hour more" in s.headline) == (more > 0)
    assert s.gap == 0
    assert s.best.profit == best
    assert sorted(order.tolist()) == list(range(len(found)))
    chosen = [found[i] for i in order[: s.buy]]
    assert sum((x.profit or Decimal(0) for x in chosen), Decimal(0)) == best
    assert s.by_rate.profit <= best


def drawn(n: int, seed: int, largest: int = 50_000) -> Figures:
    """Return invented finds, many of them alike, some without a price. largest: profit or offer, and loss."""
    draw = np.random.default_rng(seed)
    named = draw.random(n) < 0.8
    amount = draw.integers(-20, 21, n) * (largest // 20)
    amount[: min(n, 2)] = (-largest, largest)[: min(n, 2)]
    hours, cash, metres = draw.integers(0, 40, n) * 100, draw.integers(0, 90, n) * 50, draw.integers(0, 30, n) * 1000
    return Figures(named, np.where(named, amount, 0), amount, hours, np.where(named, cash, 0), metres)


def cut(f: Figures, at: Sequence[int]) -> list[Figures]:
    """Return finds in parts that end at some places."""
    ends = [0, *at, f.profit.size]
    return [Figures(*(getattr(f, x.name)[a:b] for x in fields(Figures))) for a, b in pairwise(ends)]


def plain_order(f: Figures, buy: set[int]) -> list[int]:
    """Return the order find by find, as it is told in words."""

    def key(i: int) -> tuple[int, int]:
        if f.named[i]:
            return (0 if i in buy else 1 if f.profit[i] > 0 else 3), -int(f.profit[i])
        return (2 if f.highest[i] > 0 else 3), -int(f.highest[i])

    return sorted(range(f.profit.size), key=key)


TIGHT = Limits(hours=30.0, cash=Decimal(300), places=90, km=900.0)


@pytest.mark.parametrize("limits", [Limits(), Limits(hours=20.0), Limits(places=60, km=300.0), TIGHT])
@pytest.mark.parametrize("many", [100, 20_000])
def test_in_parts_as_at_once(limits: Limits, many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Thousands of finds in many parts, one of them empty and one of large numbers: same choice, order and words."""
    monkeypatch.setattr(selection, "MANY", many)
    monkeypatch.setattr(selection, "AT_ONCE", 500)
    for seed, largest in ((1, 50_000), (2, 2**33)):
        f = drawn(3_000, seed)
        f.profit[2_100], f.highest[2_100], f.named[2_100] = -largest, -largest, True
        f.cash[2_000] = f.metres[2_050] = largest
        once, order = shortlist(f, "USD", limits)
        parts = cut(f, [1, 700, 700, 1_999, 2_200])
        cut_up, order_of_parts = shortlist_of(joined(brief(x) for x in parts), "USD", limits)
        assert cut_up == once
        assert order_of_parts.tolist() == order.tolist()
        assert order.tolist() == plain_order(f, set(order[: once.buy].tolist()))
        assert once.pays == (f.profit > 0).sum()
        assert once.unpriced == (~f.named & (f.highest > 0)).sum()
        taken = order[: once.buy]
        assert once.best.profit == Decimal(int(f.profit[taken].sum())) / 100
        assert once.best.cash == Decimal(int(f.cash[taken].sum())) / 100


@pytest.mark.parametrize("largest", [20, HALF - 1, HALF, SHORT.max, SHORT.max + 1, -SHORT.min + 1, 2**40])
def test_order_of_amounts_however_large(largest: int) -> None:
    f = drawn(500, 3, largest)
    short, order = shortlist(f, "USD", Limits(places=20))
    assert short.buy == 20
    assert order.tolist() == plain_order(f, set(order[:20].tolist()))
    f.highest[:], f.named[:] = f.highest - 1, False
    assert shortlist(f, "USD", Limits())[1].tolist() == plain_order(f, set())


def test_numbers_are_halved_only_where_they_fit() -> None:
    for most, least in ((SHORT.max, SHORT.min), (SHORT.max + 1, 0), (0, SHORT.min - 1)):
        x = np.array([most, 3, least])
        assert narrow(x).tolist() == x.tolist()
        assert (narrow(x).dtype == np.int32) == (SHORT.min <= least and most <= SHORT.max)
    assert narrow(np.zeros(0, np.int64)).size == 0


def test_sums_of_halved_numbers_are_whole() -> None:
    """Each fits in 32 bits, all together do not."""
    n, each = 9, SHORT.max - 7
    whole = np.full(n, each)
    b = brief(Figures(np.ones(n, bool), whole, whole, whole, whole, whole))
    assert {x.dtype for x in (b.amount, b.hours, b.cash, b.metres)} == {np.dtype(np.int32)}
    for limits in (Limits(), Limits(hours=8.5 * each / 1000)):
        s, _ = shortlist_of(b, "USD", limits)
        assert s.buy == (8 if limits.hours else 9)
        assert s.best.profit == s.best.cash == Decimal(s.buy * each) / 100
        assert s.best.hours == s.best.km == round(s.buy * each / 1000, 3)
        assert s.by_rate == s.best


@pytest.mark.parametrize("limits", [Limits(), Limits(hours=40.0, cash=Decimal(2000))])
def test_what_is_held_of_a_find(limits: Limits, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some bytes while finds come in, some tens while they are chosen among; the order is four of them."""
    monkeypatch.setattr(selection, "MANY", 500)
    monkeypatch.setattr(selection, "AT_ONCE", 2_000)
    n = 200_000
    draw = np.random.default_rng(4)
    profit, hours, cash, metres = draw.integers((-50_000, 0, 0, 0), (50_000, 6_000, 40_000, 90_000), (n, 4)).T.copy()
    f = Figures(draw.random(n) < 0.8, profit, profit, hours, cash, metres)
    f.profit[~f.named] = 0
    shortlist_of(brief(drawn(1_000, 5)), "USD", limits)  # whatever is loaded but once
    tracemalloc.start()
    try:
        b: Brief = brief(f)
        assert tracemalloc.get_traced_memory()[0] < 12 * n
        tracemalloc.reset_peak()
        short, order = shortlist_of(b, "USD", limits, gap=0.1)  # without a search, which takes what it takes
        assert tracemalloc.get_traced_memory()[1] < 45 * n
        assert short.pays > 70_000
        assert order.nbytes == 4 * n
    finally:
        tracemalloc.stop()
