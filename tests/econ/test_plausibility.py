"""Worth in use over new price, in fair condition, beside the rules it should bring out.

TB 43-0154 allows 85 % of a new engine for a young one, 44 CFR 206.226(f) half of a replacement; the bands are those
the model was reviewed for, lives of 5 to 18 years. Read in a month whose resale factor is 1, so that the season is
left out.
"""

from __future__ import annotations

import numpy as np
import pytest

from econ.market import own_flows, read_market
from econ.payoffs import make_payoffs
from econ.states import fault_table
from econ.terms import settle

from ..strategies import CLASS_IDS, defaults, machine_class, read

SHARES = (0.1, 0.25, 0.5, 0.75, 1.0, 1.3, 1.6, 2.0)
USES = [
    (i, use)
    for i in CLASS_IDS
    for use, life in machine_class(i).life.items()
    if 5 <= life.median_hours / life.hours_per_year <= 18
]


def document(class_id: str, use: str, age: float, month: int, horizon: float = 5) -> dict:
    machine = {"class": class_id, "use": use, "age_years": age}
    day = f"2026-{month:02d}-10"
    return {"perspective": "owner", "as_of": day, "machine": machine, "terms": {"horizon_years": horizon}}


@pytest.mark.parametrize(("class_id", "use"), USES)
@pytest.mark.parametrize("horizon", [5, 10])
def test_share_of_new_price(class_id: str, use: str, horizon: float) -> None:
    c = machine_class(class_id)
    median = c.life[use].median_hours / c.life[use].hours_per_year
    month = c.season.resale.index(1.0) + 1
    worth = {}
    for share in SHARES:
        case, _ = read(document(class_id, use, share * median, month, horizon))
        terms = settle(case, c, defaults())
        payoffs = make_payoffs(fault_table(c, []), read_market(case, c, terms), terms, c, 1.0, 1.0)
        worth[share] = float(payoffs.kept(np.zeros(1, dtype=np.int64), 0.0).worth[0]) / terms.new_price
    assert 0.7 <= worth[0.1] <= 0.9
    assert 0.42 <= worth[0.5] <= 0.58
    assert 0.08 <= worth[1.6] <= 0.2
    assert (np.diff(list(worth.values())) < 0).all()


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_this_month_moves_a_sale_now_and_none_from_half_a_year_on(class_id: str) -> None:
    """Monthly factors move the resale of today; years from now any month is as likely as another."""
    c = machine_class(class_id)
    flows = []
    dear, cheap = (c.season.resale.index(extreme(c.season.resale)) + 1 for extreme in (max, min))
    for month in (dear, cheap):
        case, _ = read(document(class_id, "residential", 4.0, month))
        terms = settle(case, c, defaults())
        market = read_market(case, c, terms)
        flows.append(own_flows(market, terms))
        plain = float(market.curve.share(4.0)) * terms.new_price
        assert market.running == pytest.approx(plain * c.season.resale[month - 1], rel=1e-12)
    in_dear, in_cheap = flows
    assert (in_dear.sale[:6] > in_cheap.sale[:6]).all()
    assert in_dear.sale[6:] == pytest.approx(in_cheap.sale[6:], rel=1e-12)
