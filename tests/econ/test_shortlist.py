"""Which finds to buy, by hand and against every choice there is."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from econ.money import to_minor
from econ.screening import Screened
from econ.shortlist import Figures, Limits, shortlist


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
    """60 in 2 hours and 50 in 2 beat 70 in 4; by the hour they come first, too. A fifth hour is worth 17.50."""
    found = [find(70, 4.0), find(60, 2.0), find(50, 2.0), find(-3), find(None), find(None, offer=-2)]
    s, order = shortlist(figures_of(found, [1.0] * 6, "USD"), "USD", Limits(hours=4.0))
    assert order.tolist() == [1, 2, 0, 4, 5, 3]
    assert (s.buy, s.pays, s.unpriced, s.leave) == (2, 3, 1, 2)
    assert (s.best.profit, s.best.hours, s.best.cash, s.best.km) == (Decimal(110), 4.0, Decimal(40), 2.0)
    assert s.by_rate == s.best
    assert s.gap == 0
    assert s.headline == (
        "With 4 bench hours buy these 2: $110 left with every hour paid, for $40 and 4.0 bench hours. Of 6 finds 3 are "
        "worth what is asked. 1 names no price: offer at most what stands there. A bench hour more would be worth "
        "about $18."
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
            "Buy this one: $9.00 left with every hour paid, for $20 and 1.0 bench hours. The find is",
        ),
        ([find(9), find(8)], Limits(places=0), "With 0 places none of them can be bought. Of 2 finds 2 are worth"),
        ([find(9), find(8)], Limits(places=1), "With 1 place buy this one"),
        ([find(9), find(8)], Limits(cash=Decimal(25), km=9.0), "With $25 and 9 km buy this one: $9.00 left"),
    ],
)
def test_headlines(found: list[Screened], limits: Limits, said: str) -> None:
    assert shortlist(figures_of(found, [4.0] * len(found), "USD"), "USD", limits)[0].headline.startswith(said)


def test_an_hour_more_is_worth_nothing_where_hours_are_idle() -> None:
    """Of finds of 4 and 3 hours, with 6 hours: 2 of them are left over, whatever the relaxation says."""
    found = [find(70, 4.0), find(60, 3.0)]
    short = shortlist(figures_of(found, [1.0] * 2, "USD"), "USD", Limits(hours=6.0))[0]
    assert short.best.hours == 4.0
    assert "bench hour more" not in short.headline


def test_limits_hold_to_the_last_digit() -> None:
    """16.1 and 16.2 km are 32.3 km, of which a float has a little less; 0.1 more is too much."""
    found = [find(70), find(60)]
    for km, buy in ((32.3, 2), (32.2, 1), (64.1, 2)):
        assert shortlist(figures_of(found, [16.1, 16.2], "USD"), "USD", Limits(km=km))[0].buy == buy


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
    s, order = shortlist(figures_of(found, [0.0] * len(found), "USD"), "USD", limits, gap=0.0)
    able = [x for x in found if x.profit is not None]
    best = max(
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
    assert s.best.profit == best
    assert sorted(order.tolist()) == list(range(len(found)))
    chosen = [found[i] for i in order[: s.buy]]
    assert sum((x.profit or Decimal(0) for x in chosen), Decimal(0)) == best
    assert s.by_rate.profit <= best
