"""Drawn: random cases of all perspectives for the workbook, by their seed; figures as a person would write them."""

from __future__ import annotations

import random
from typing import Any

from tests.strategies import CLASS_IDS, machine_class

PERSPECTIVES = ("owner", "shop", "reseller")


def _money(rng: random.Random, low: float, high: float) -> str:
    return f"{rng.uniform(low, high):.2f}"


def _some(rng: random.Random, fields: dict[str, Any], chance: float = 0.35) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if rng.random() < chance}


def _terms(rng: random.Random) -> dict[str, Any]:
    rates = [round(rng.uniform(0, 0.8), 3) for _ in range(2)]
    return _some(
        rng,
        {
            "work_by": rng.choice(["self", "shop"]),
            "horizon_years": rng.choice([2, 3.5, 5, 8, 12]),
            "real_rate": round(rng.uniform(0, 0.1), 3),
            "hour_worth": _money(rng, 0, 60),
            "bench_hour_worth": _money(rng, 5, 80),
            "slowness": round(rng.uniform(0.8, 3), 2),
            "shop_rate": _money(rng, 40, 160),
            "hours_factor": round(rng.uniform(0.6, 1.8), 2),
            "billing_step_hours": rng.choice([0, 0.1, 0.25, 0.5]),
            "minimum_charge": _money(rng, 0, 120),
            "parts_markup": [{"up_to": _money(rng, 10, 60), "rate": rates[0]}, {"rate": rates[1]}],
            "supplies_rate": round(rng.uniform(0, 0.1), 3),
            "supplies_cap": _money(rng, 2, 15),
            "diagnosis_fee": _money(rng, 0, 70),
            "diagnosis_credited": rng.random() < 0.5,
            "deposit": _money(rng, 0, 100),
            "pickup_delivery": _money(rng, 0, 50),
            "card_fee_rate": round(rng.uniform(0, 0.04), 4),
            "disposal_fee": _money(rng, 0, 12),
            "storage_per_day": _money(rng, 0, 5),
            "storage_free_days": rng.choice([0, 7]),
            "storage_days": rng.choice([0, 3, 30]),
            "tax_rate": round(rng.uniform(0, 0.22), 4),
            "taxable": rng.sample(["labour", "parts", "supplies", "fees"], rng.randint(0, 4)),
            "tax_inclusive": rng.random() < 0.5,
            "mechanic_wage": _money(rng, 15, 40),
            "queue_weeks": rng.choice([0, 1, 2.5]),
            "parts_lead_days": rng.choice([0, 4, 12]),
            "parts_shipping": _money(rng, 0, 15),
            "replacement_days": rng.choice([0, 7, 21]),
            "replacement_delivery": _money(rng, 0, 60),
            "downtime_per_week": _money(rng, 0, 60),
            "do_without_per_year": _money(rng, 40, 700),
            "upkeep_rate": round(rng.uniform(0, 0.08), 3),
            "upkeep_growth": round(rng.uniform(0, 0.08), 3),
            "hours_per_year": rng.choice([10, 25, 60]),
            "as_is_steepness": round(rng.uniform(0.5, 3), 2),
            "selling_fee_rate": round(rng.uniform(0, 0.15), 3),
            "selling_cost": _money(rng, 0, 20),
            "selling_hours": round(rng.uniform(0, 3), 1),
            "cleaning_hours": round(rng.uniform(0, 2), 1),
            "holding_per_week": _money(rng, 0, 5),
            "unsold_chance": round(rng.uniform(0, 0.3), 2),
            "return_loss": round(rng.uniform(0, 0.5), 2),
        },
    )


def _market(rng: random.Random, new_price: float) -> dict[str, Any]:
    running = rng.uniform(0.2, 0.7) * new_price
    if rng.random() < 0.15:
        rows = [
            {"price": f"{new_price * (0.8 - 0.05 * i) * rng.uniform(0.9, 1.1):.2f}", "age_years": float(i + 1)}
            for i in range(6)
        ]
        return {"comparables": rows}
    return _some(
        rng,
        {
            "running": f"{running:.2f}",
            "as_is": f"{running * rng.uniform(0.1, 0.6):.2f}",
            "part_out": f"{rng.uniform(0, 0.3) * new_price:.2f}",
            "scrap": f"{rng.uniform(-10, 20):.2f}",
            "used_price": f"{rng.uniform(0.3, 0.6) * new_price:.2f}",
            "used_age_years": rng.choice([2, 4.5]),
        },
        0.45,
    )


def drawn_case(seed: int) -> dict[str, Any]:
    """Return the case of a seed; its perspective goes round with it."""
    rng = random.Random(seed)  # noqa: S311 - draws test cases
    name = rng.choice(CLASS_IDS)
    c = machine_class(name)
    new_price = rng.uniform(200, 2500)
    machine: dict[str, Any] = {"class": name, "condition": rng.choice(["restored", "good", "fair", "poor"])}
    machine |= _some(
        rng,
        {
            "age_years": rng.choice([0, 1.5, 4, 9, 16]),
            "hours": rng.choice([20, 150, 400]),
            "new_price": f"{new_price:.2f}",
            "rusty": True,
            "model_verified": False,
            "use": "commercial",
            "serial_number": "=SN-1",
        },
        0.5,
    )
    currency = rng.choice(["USD", "USD", "USD", "EUR", "JPY", "KWD"])
    if currency != "USD":
        machine["new_price"] = f"{new_price:.0f}"
    facts = rng.sample(sorted(c.facts), min(len(c.facts), rng.randint(0, 3)))
    ordinary = sorted(i for i, check in c.checks.items() if check.outcomes and not check.complaint)
    checks = rng.sample(ordinary, rng.randint(0, 3))
    jobs = rng.sample(sorted(c.jobs), 2)
    case: dict[str, Any] = {
        "perspective": PERSPECTIVES[seed % 3],
        "currency": currency,
        "as_of": f"2026-{rng.randint(1, 12):02d}-15",
        "machine": machine,
        "history": {i: rng.choice(c.facts[i].levels) for i in facts},
        "complaints": rng.sample(sorted(c.complaints), min(len(c.complaints), rng.randint(0, 2))),
        "findings": [{"check": i, "outcome": rng.choice(c.checks[i].outcomes)} for i in checks],
        "terms": _terms(rng),
        "market": _market(rng, float(machine.get("new_price", new_price))),
        "prices": {p: _money(rng, 1, 200) for p in rng.sample(sorted(c.parts), 3)},
    }
    wear = sorted(j for j, job in c.jobs.items() if any(c.faults[f].wear for f in job.clears if f in c.faults))
    case |= _some(
        rng,
        {
            "wanted": wear[:1],
            "prior_jobs": [{"job": jobs[0], "months_ago": 2, "warranty_months": 6}],
            "recalled_jobs": jobs[1:],
            "unobtainable": rng.sample(sorted(c.parts), 1),
            "spent_so_far": "40.00",
        },
        0.25,
    )
    if case["perspective"] == "reseller":
        case["find"] = {"asking_price": _money(rng, 0, 150), "travel_cost": "8.00", "travel_hours": 0.75}
    return case
