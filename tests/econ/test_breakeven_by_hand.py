"""Break-even of a part's price and of the asked price, worked out by hand on one fault, one job and one part."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import econ
from econ.payoffs import DISPOSALS
from econ.turns import LEAVE

from ..strategies import TODAY
from .small import CLASS, texts


def one_part() -> tuple[dict[str, str], dict[str, Any]]:
    """Return a rulebook of one fault, one job of 20 hours and one part, and a reseller's case of it for 300."""
    module = """
        [module]
        id = "small"
        title = "small"
        source = "invented"
        [faults.worn]
        title = "worn"
        prior = 0.2
        service_loss = 1.0
        claim_chance = 1.0
        as_is_share = 1e-9
        shows = { pull = [0.5] }
        source = "invented"
        [faults.something_else]
        title = "something else"
        prior = 1e-12
        service_loss = 1.0
        as_is_share = 1e-9
        shows = { pull = [0.5] }
        source = "invented"
        [jobs.renew]
        title = "renew it"
        operations = ["renew"]
        parts = [{ part = "piece", quantity = 1 }]
        clears = ["worn", "something_else"]
        source = "invented"
        [operations.renew]
        title = "renew it"
        hours = [20, 20, 20]
        source = "invented"
        [parts.piece]
        title = "piece"
        price = [100, 100, 100]
        source = "invented"
        [operations.test_run]
        title = "test run"
        hours = [5, 5, 5]
        source = "invented"
        [operations.trace_fault]
        title = "trace"
        hours = [0, 0, 0]
        source = "invented"
        [checks.pull]
        title = "pull"
        complaint = true
        outcomes = ["normal", "hard"]
        leak = [1.0]
        source = "invented"
        [complaints.hard]
        title = "hard"
        check = "pull"
        outcome = "hard"
        source = "invented"
        [release_checks.dry]
        title = "dry"
        source = "invented"
        [cautions.manual]
        text = "manual"
        source = "invented"
        """
    document: dict[str, Any] = {
        "perspective": "reseller",
        "machine": {"class": "small", "age_years": 3.0, "new_price": "900.00"},
        "complaints": ["hard"],
        "market": {"running": "300.00", "part_out": "0.00", "scrap": "0.00"},
        "prices": {"piece": "100.00"},
        "terms": {
            "work_by": "self", "hour_worth": "1.00", "slowness": 1.0, "selling_fee_rate": 0.0, "selling_hours": 0.0,
            "cleaning_hours": 0.0, "unsold_chance": 0.0, "parts_lead_days": 0.0,
        },
        "find": {"asking_price": "150.00", "travel_cost": "12.00", "travel_hours": 3.0},
    }  # fmt: skip
    return texts(module, CLASS), document


def test_price_of_a_part_by_hand() -> None:
    """Sold for 300, less 20 and 5 hours at 1.00, less the part: 175 with it at 100, nothing with it at 100 + 175.

    At 275.00 both bring nothing and the repair, which stands first, is kept; from 275.01 on the machine is let go.
    What can be paid for it: 175 less the trip, 12.00 and 3 hours at 1.00: 160.00; from 160.01 on it is left.
    """
    books, document = one_part()
    case, c = econ.read_case(document, econ.Shelf(books), TODAY)
    decision = econ.decide(case, c, econ.read_defaults(books))
    lines = {x.input: x for x in decision.break_even.inputs}
    best = next(x for x in decision.courses if x.course == decision.verdict.course)
    assert best.course == "repair:renew"
    assert best.net_worth == Decimal("175.00")
    (change,) = lines["prices.piece"].changes
    assert change.value == Decimal("275.01")
    assert change.below == best.course
    assert change.above in DISPOSALS
    asking = lines["find.asking_price"]
    assert decision.offer is not None
    assert decision.offer.highest == Decimal("160.00")
    assert [(x.value, x.below, x.above) for x in asking.changes] == [(Decimal("160.01"), best.course, LEAVE)]
    assert (asking.low.of_the_answer, asking.high.of_the_answer) == (Decimal("40.00"), Decimal("-20.00"))
    assert (asking.high.course, asking.high.net_worth) == (LEAVE, Decimal(0))
