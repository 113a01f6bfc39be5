"""What must hold of the risk of any case."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from econ.costing import make_bench, members, tickets, work
from econ.setting import Setting
from econ.spread import billed
from econ.terms import settle

from ..econ.risky import settled
from ..strategies import CLASS_IDS, cases, defaults, read, shop_terms


@given(cases())
@settings(max_examples=12, deadline=None, derandomize=True)
def test_risk_of_any_case(document: dict[str, Any]) -> None:
    """The mean is the exact one within its error; figures rise and are chances; no more is authorised than is right."""
    case, c = read(document)
    found = settled(case, c, defaults())
    risk = found.risk()
    for line, course in zip(risk.outturns, found.courses, strict=True):
        assert line.p10 <= line.p50 <= line.p90
        assert abs(float(line.mean) - course.worth / 100) <= 6 * float(line.standard_error) + 0.05, line
        assert 0 <= line.chance_of_loss <= 1
        assert 0 <= line.chance_of_regret <= 1
        assert all(x.is_finite() for x in (line.mean, line.p10, line.p90, line.standard_error))
    assert (risk.authorisation is None) == (found.named is None)
    if risk.authorisation is not None:
        told = risk.authorisation
        assert told.p10 <= told.p50 <= told.p90
        assert Decimal(0) <= told.not_to_exceed <= told.p90
        assert float(told.not_to_exceed) <= max(0.0, found.limits[id(found.named)] / 100) + 0.01


@given(shop_terms(), st.data())
@settings(max_examples=40, deadline=None)
def test_a_ticket_at_mean_hours_is_the_ticket(terms: dict[str, Any], data: st.DataObject) -> None:
    """`spread.billed` bills by the rules of `costing.tickets`, to the minor unit."""
    name = data.draw(st.sampled_from(CLASS_IDS))
    case, c = read({"perspective": "shop", "machine": {"class": name, "age_years": 5.0}, "terms": terms})
    bench = make_bench(case, c, settle(case, c, defaults()))
    scope = data.draw(st.lists(st.integers(0, len(bench.jobs) - 1), unique=True, max_size=4))
    member = members(bench, [scope])
    t, w = tickets(bench, member), work(bench, member)
    hours = (bench.op_hours + bench.op_trouble_hours).astype(np.int64)
    charged, done = ((x.astype(np.int64) @ hours)[:, None] for x in (w.charged, w.done))
    s = object.__new__(Setting)
    object.__setattr__(s, "bench", bench)
    object.__setattr__(s, "terms", bench.terms)
    assert billed(s, t, charged, done, t.parts[:, None])[:, 0] == pytest.approx(t.cost, abs=0)
