"""Inputs shared by the tests: the shipped rulebooks, read once, and generated cases, scopes and shop terms."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import strategies as st

import econ
from econ.case import Case
from econ.courses import best_course
from econ.earlier import earlier_jobs, raised
from econ.evidence import condition, linked, prior_states
from econ.findings import hear
from econ.rulebook import MachineClass
from econ.setting import Course, course_name
from econ.terms import Default
from econ.weighing import Believed, Weighed, believe, weigh

TODAY = date(2026, 4, 10)


@cache
def rulebook_texts() -> Mapping[str, str]:
    root = Path(econ.__file__).parent / "rulebooks"
    return {p.relative_to(root).as_posix(): p.read_text(encoding="utf-8") for p in sorted(root.rglob("*.toml"))}


SHELF = econ.Shelf(rulebook_texts())
CLASS_IDS = tuple(SHELF)
ELECTRIC = tuple(i for i in CLASS_IDS if "electric_drive" in SHELF[i].about.modules)
ENGINES = tuple(i for i in CLASS_IDS if "engine" in SHELF[i].about.modules)
# Decisions of the classes beyond these three are made in the long run only (-m slow).
QUICK_IDS = ("mower_blade_clutch", "mower_walk_behind", "tiller_rear_tine")
EACH_CLASS = [pytest.param(i, marks=() if i in QUICK_IDS else pytest.mark.slow) for i in CLASS_IDS]


def machine_class(class_id: str) -> MachineClass:
    return SHELF[class_id]


@cache
def defaults() -> Mapping[str, Default]:
    return econ.read_defaults(rulebook_texts())


def read(document: Mapping[str, Any]) -> tuple[Case, MachineClass]:
    return econ.read_case(document, SHELF, TODAY)


def decide(document: Mapping[str, Any]) -> econ.Decision:
    case, c = read(document)
    return econ.decide(case, c, defaults())


@dataclass(frozen=True)
class Kernel:
    """What a decision rests on: what is believed, the setting, every course by its name, and the best one's name."""

    believed: Believed
    weighed: Weighed
    courses: Mapping[str, Course]
    best: str


def weighed(case: Case, c: MachineClass, terms: Mapping[str, Default] | None = None) -> Kernel:
    """Return what `econ.decide` weighs, without what it works out beside that: checks, break-evens, risk, the text.

    That the answer tells the same is tested in `test_screening` and in `test_safety.test_hold_in_the_whole_answer`.
    """
    told = believe(case, c, raised(c, earlier_jobs(case, c)))
    found = weigh(case, c, terms or defaults(), told)
    courses = {course_name(found.setting, x): x for x in found.courses}
    return Kernel(told, found, courses, course_name(found.setting, best_course(found.courses)))


def believed(document: Mapping[str, Any]) -> dict[str, float]:
    """Return the probability of each fault in play, by all that was told and seen."""
    case, c = read(document)
    heard = hear(case, c)
    found = condition(linked(prior_states(heard.base_odds, heard.causes), heard.links), heard.clues)
    return dict(zip(heard.faults, found.marginal.tolist(), strict=True))


def base(class_id: str, **more: Any) -> dict[str, Any]:
    """Return a plain owner's case of a class; keyword arguments lay over it."""
    return {"perspective": "owner", "machine": {"class": class_id, "age_years": 5.0}, **more}


def drawn_evidence(class_id: str, seed: int, complaints: int, findings: int) -> dict[str, Any]:
    """Return a case with a random history (known, unreliable or unknown) and random results of checks."""
    c, rng = machine_class(class_id), random.Random(seed)  # noqa: S311 - draws test cases
    history: dict[str, Any] = {}
    for name, fact in c.facts.items():
        level = rng.choice(fact.levels)
        told = rng.choice(["known", "doubtful", "unknown"])
        if told == "known":
            history[name] = level
        elif told == "doubtful":
            history[name] = {"level": level, "reliable": round(rng.uniform(0.05, 0.95), 3)}
    said = {c.complaints[i].check: i for i in rng.sample(sorted(c.complaints), complaints)}
    ordinary = sorted(i for i, check in c.checks.items() if check.outcomes and not check.complaint)
    seen = [
        {"check": i, "outcome": rng.choice(c.checks[i].outcomes)}
        for i in rng.sample(ordinary, min(findings, len(ordinary)))
    ]
    return base(class_id, history=history, complaints=sorted(said.values()), findings=seen)


# A few cases of each perspective, for what is tested over drawn ones in the long run.
DRAWN = [
    {**drawn_evidence(i, seed, 1 + seed % 2, seed), "perspective": perspective}
    for seed, (i, perspective) in enumerate(zip(QUICK_IDS, ("owner", "shop", "reseller"), strict=True))
]


@st.composite
def cases(draw: st.DrawFn, class_id: str | None = None) -> dict[str, Any]:
    """Draw a case document: whose money, who works, a machine, a history, complaints and up to three findings."""
    name = class_id or draw(st.sampled_from(CLASS_IDS))
    c = machine_class(name)
    facts = draw(st.lists(st.sampled_from(sorted(c.facts)), unique=True, max_size=3))
    history = {i: draw(st.sampled_from(c.facts[i].levels)) for i in facts}
    complaints = draw(st.lists(st.sampled_from(sorted(c.complaints)), unique=True, min_size=1, max_size=2))
    ordinary = sorted(i for i, check in c.checks.items() if check.outcomes and not check.complaint)
    checks = draw(st.lists(st.sampled_from(ordinary), unique=True, max_size=3))
    findings = [{"check": i, "outcome": draw(st.sampled_from(c.checks[i].outcomes))} for i in checks]
    return {
        "perspective": draw(st.sampled_from(["owner", "shop", "reseller"])),
        "machine": {
            "class": name,
            "age_years": draw(st.floats(0, 20)),
            "condition": draw(st.sampled_from(["restored", "good", "fair", "poor"])),
            "rusty": draw(st.booleans()),
        },
        "history": history,
        "complaints": complaints,
        "findings": findings,
    }


def amounts(most: int) -> st.SearchStrategy[str]:
    """Return amounts of money as text, to the cent."""
    return st.integers(0, most * 100).map(lambda cents: f"{cents // 100}.{cents % 100:02d}")


@st.composite
def shop_terms(draw: st.DrawFn) -> dict[str, Any]:
    """Draw the terms by which hours and parts become a ticket."""
    limit, rates = draw(amounts(60)), draw(st.lists(st.floats(0, 2), min_size=2, max_size=2))
    return {
        "work_by": draw(st.sampled_from(["shop", "self"])),
        "shop_rate": draw(amounts(200)),
        "billing_step_hours": draw(st.sampled_from([0, 0.1, 0.25, 0.333, 1.0])),
        "minimum_charge": draw(amounts(150)),
        "parts_markup": draw(st.sampled_from([[], [{"up_to": limit, "rate": rates[0]}, {"rate": rates[1]}]])),
        "supplies_rate": draw(st.floats(0, 0.2)),
        **draw(st.sampled_from([{}, {"supplies_cap": "7.77"}])),
        "diagnosis_fee": draw(amounts(80)),
        "diagnosis_credited": draw(st.booleans()),
        "pickup_delivery": draw(amounts(60)),
        "disposal_fee": draw(amounts(15)),
        "storage_per_day": draw(amounts(5)),
        "storage_days": draw(st.floats(0, 40)),
        "storage_free_days": draw(st.floats(0, 20)),
        "card_fee_rate": draw(st.floats(0, 0.05)),
        "tax_rate": draw(st.floats(0, 0.25)),
        "taxable": draw(st.lists(st.sampled_from(["labour", "parts", "supplies", "fees"]), unique=True)),
        "tax_inclusive": draw(st.booleans()),
        "parts_shipping": draw(amounts(20)),
    }
