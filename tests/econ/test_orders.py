"""When to order parts, by sums that can be followed by hand: two faults of which one is there, a part for each."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import econ
from econ import verdict, weighing
from econ.evidence import Posterior
from econ.repairs import AfterRepair
from econ.setting import course_name
from econ.staging import OrderLine, Staged, stage

from ..strategies import TODAY, defaults
from .small import CLASS, texts
from .test_traps import two_faults

WAIT = 5 / 7  # weeks for parts
WEEK = 20.00
POSTAGE = 6.00
PARTS = 30.00, 40.00  # of the first fault, of the second
LOSS = 0.25
TERMS = {
    "work_by": "shop", "shop_rate": "60.00", "billing_step_hours": 0.0, "queue_weeks": 1.0, "parts_lead_days": 5.0,
    "downtime_per_week": "20.00", "parts_shipping": "6.00", "return_loss": LOSS,
}  # fmt: skip
PARTS_AND_LOOK = """
[parts.first_part]
title = "first part"
price = [30, 30, 30]
source = "invented"
[parts.second_part]
title = "second part"
price = [40, 40, 40]
source = "invented"
[checks.look]
title = "look"
outcomes = ["other", "first"]
leak = [1.0]
source = "invented"
"""


def module(look: bool) -> str:
    """Return two faults of which the test run tells, each mended in half an hour with its part; tracing takes one."""
    text = two_faults(False, (0.5, 0.5), 0.25, 1.0) + PARTS_AND_LOOK
    for name in ("first", "second"):
        text = text.replace(
            f'operations = ["mend_{name}"]',
            f'operations = ["mend_{name}"]\n        parts = [{{ part = "{name}_part", quantity = 1 }}]',
        )
    if look:
        text = text.replace("shows = { pull = [0.5] }", "shows = { pull = [0.5], look = [0.0] }", 1)
    return text


def staged(monkeypatch: pytest.MonkeyPatch, chances: tuple[float, float], look: bool, **terms: Any) -> Staged:
    """Return the plan where the first or the second fault is there, never both, with the given chances."""
    kept: list[Staged] = []

    def keep(case: Any, c: Any, s: Any, heard: Any, courses: Any, checks: Any, after: Any) -> Staged:
        post = Posterior(np.array([1, 2]), np.array(chances), np.array([*chances, 0.0]), 1.0, 0.0)
        doubt = replace(s, posterior=post)
        after = AfterRepair(doubt)  # what repairs leave rests on what is believed
        kept.append(stage(case, c, doubt, heard, weighing.all_courses(doubt, after), checks, after))
        names.update(course_name(s, x) for x in courses)
        return kept[-1]

    names: set[str] = set()
    monkeypatch.setattr(verdict, "stage", keep)
    document = {
        "perspective": "owner",
        "machine": {"class": "small", "age_years": 1.0, "new_price": "900.00"},
        "complaints": ["hard"],
        "terms": TERMS | terms,
        "market": {"running": "700.00"},
    }
    case, c = econ.read_case(document, econ.Shelf(texts(module(look), CLASS)), TODAY)
    econ.decide(case, c, defaults())
    return kept[0]


def line(plan: Staged, order: str) -> OrderLine:
    return next(x for x in plan.orders if x.order == order)


def test_ordering_now_saves_the_wait_that_falls_in_the_queue(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first fault for sure. Waiting after looking 1 + 5/7 weeks, ordered now max(1, 5/7) = 1 week.

    Saved: min(1, 5/7) x 20.00 = 14.29; one shipping either way, and nothing goes back.
    """
    plan = staged(monkeypatch, (1.0, 0.0), look=False)
    now = line(plan, "now")
    assert (plan.order, now.parts, now.spare) == ("now", ("first_part",), ())
    assert float(now.worth) == pytest.approx(14.29, abs=0.005)
    assert float(now.worth) == pytest.approx(min(1, WAIT) * WEEK, abs=0.005)
    assert [now.weeks_saved, now.early] == pytest.approx([WAIT, WAIT], abs=5e-4)
    assert now.at_risk == 0
    assert plan.gain == now.worth, "over the best course at once, its parts ordered after looking"


@pytest.mark.parametrize(("queue", "saved"), [(0.5, 10.00), (2.0, 14.29)])
def test_the_shorter_of_the_two_waits_is_saved(monkeypatch: pytest.MonkeyPatch, queue: float, saved: float) -> None:
    """Queue 0.5 weeks: 0.5 x 20.00; queue 2 weeks: 5/7 x 20.00."""
    plan = staged(monkeypatch, (1.0, 0.0), look=False, queue_weeks=queue)
    assert float(line(plan, "now").worth) == pytest.approx(saved, abs=0.005)


def test_ordering_both_parts_before_a_look_that_tells(monkeypatch: pytest.MonkeyPatch) -> None:
    """Either fault, half and half; a free look tells which, and then its part is fitted.

    The first part now: half the time 14.29 saved, else it goes back: (14.29 - 0.25 x 30 - 6.00) / 2 = 0.39.
    The second: (14.29 - 0.25 x 40 - 6.00) / 2 = -0.86.
    Both: 14.29 saved either way, the other one goes back: 14.29 - (0.25 x 40 + 0.25 x 30) / 2 = 5.54.
    """
    plan = staged(monkeypatch, (0.5, 0.5), look=True)
    now = line(plan, "now")
    assert set(now.parts) == {"first_part", "second_part"}
    assert float(now.worth) == pytest.approx(5.54, abs=0.005)
    assert float(now.worth) == pytest.approx(WAIT * WEEK - LOSS * sum(PARTS) / 2, abs=0.005)
    assert float(now.at_risk) == pytest.approx(LOSS * sum(PARTS) / 2, abs=0.005)
    assert now.weeks_saved == pytest.approx(WAIT, abs=5e-4)
    assert plan.then == "look"


def test_a_kit_saves_the_second_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """No queue. The first fault with 0.8, else the second, which the test run then shows.

    The second part with the first: 0.2 x (5/7 x 20.00 + 6.00) - 0.8 x 0.1 x 40 = 4.06 - 3.20 = 0.86.
    """
    plan = staged(monkeypatch, (0.8, 0.2), look=False, queue_weeks=0.0, return_loss=0.1)
    kit = line(plan, "likely_kit")
    assert (set(kit.parts), kit.spare, kit.early) == ({"first_part", "second_part"}, ("second_part",), 0)
    assert float(kit.worth) == pytest.approx(0.86, abs=0.005)
    assert float(kit.worth) == pytest.approx(0.2 * (WAIT * WEEK + POSTAGE) - 0.8 * 0.1 * PARTS[1], abs=0.005)
    assert float(kit.at_risk) == pytest.approx(3.20, abs=0.005)
    assert kit.weeks_saved == pytest.approx(0.2 * WAIT, abs=5e-4)
    assert all(x.order != "now" for x in plan.orders), "without a queue to order now ties: nothing is said"
    assert plan.order == "after_looking", "less than 0.25 % of the new price is not worth saying"


def test_a_kit_that_loses_more_than_it_saves_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """As before at a loss of a quarter: 4.06 - 0.8 x 0.25 x 40 = -3.94."""
    plan = staged(monkeypatch, (0.8, 0.2), look=False, queue_weeks=0.0)
    assert [x.order for x in plan.orders] == ["after_looking"]
