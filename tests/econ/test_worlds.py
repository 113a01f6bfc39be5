"""Worlds: one kernel gives what a whole decision gives with the figure stated; facts of the history add up."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from econ.evidence import condition, prior_states
from econ.findings import hear
from econ.inputs import open_facts
from econ.repairs import IDLE
from econ.setting import course_name
from econ.worlds import Ask, Worlds

from ..strategies import CLASS_IDS, ELECTRIC, read
from .small import read as read_small
from .small import without_holds
from .turning import EVERY, Turned, chosen, stated, turned

HALF_A_CENT = 0.5 + 1e-6  # [minor units]
TILLER: dict[str, Any] = {
    "perspective": "owner",
    "machine": {"class": "tiller_rear_tine", "age_years": 8.0},
    "complaints": ["drives_weakly"],
    "terms": {"do_without_per_year": "150.00"},
    "market": {"as_is": "60.00"},
}
SHOP: dict[str, Any] = {
    "perspective": "shop",
    "machine": {"class": "mower_walk_behind", "hours": 120.0},
    "complaints": ["blade_stops_slowly"],
}
RESELLER: dict[str, Any] = {
    "perspective": "reseller",
    "machine": {"class": "mower_walk_behind", "age_years": 6.0},
    "complaints": ["blade_stops_slowly"],
    "find": {"asking_price": "20.00"},
}
CASES = {"tiller": TILLER, "shop": SHOP, "reseller": RESELLER}


@pytest.fixture(scope="module", params=list(CASES))
def known(request: pytest.FixtureRequest) -> tuple[dict[str, Any], Turned]:
    return CASES[request.param], turned(CASES[request.param])


def test_kernel_is_the_decision_with_the_figure_stated(known: tuple[dict[str, Any], Turned]) -> None:
    """Every input that is a figure of the case, low and high, all courses that both show; outside: the decision.

    To half a cent. The best may differ where the decision leaves out a repair that fewer jobs come within IDLE of.
    """
    document, found = known
    whole = Worlds(found.ground, {}, states=EVERY)
    figures = [i for i in found.inputs if not i.mask]
    assert {i.name.split(".")[0] for i in figures} == {"prices", "terms", "machine", "market"}
    for i in figures:
        values = np.unique(np.round(np.array([i.low, i.high]) / i.step) * i.step)
        (w,) = whole.of([i.ask(values, whole.states, whole.weights)])
        for worth, best, value in zip(w.worth, w.best, values, strict=True):
            decided = chosen(stated(document, i, value))
            both = {name: worth[w.names.index(name)] for name in decided.courses if name in w.names}
            assert len(both) >= 4
            for name, here in both.items():
                assert here == pytest.approx(decided.courses[name].worth, abs=HALF_A_CENT), (i.name, value, name)
            if w.names[best] != decided.best:
                assert w.names[best] not in decided.courses
                assert worth[best] - both[decided.best] <= IDLE, (i.name, value)


def test_case_itself_is_one_of_the_worlds(known: tuple[dict[str, Any], Turned]) -> None:
    """All states, and those looked at with the others' worth added: the worth of the courses to 1e-6."""
    _, found = known
    s = found.scene.setting
    i = next(i for i in found.inputs if i.name.startswith("prices"))
    for worlds in (Worlds(found.ground, {}, states=EVERY), found.worlds):
        (w,) = worlds.of([i.ask(np.array([i.value]), worlds.states, worlds.weights)])
        for course in found.courses:
            here = w.worth[0, w.names.index(course_name(s, course))]
            if course.barred:
                assert here == -np.inf
            else:
                assert here == pytest.approx(course.worth, abs=1e-6)


def test_many_worlds_are_as_good_as_one_by_one(known: tuple[dict[str, Any], Turned]) -> None:
    """Asked for together or each by itself, with chances and figures mixed, to 1e-6."""
    _, found = known
    worlds = found.worlds
    asks = [i.ask(i.grid()[::4], worlds.states, worlds.weights) for i in found.inputs]
    for ask, together in zip(asks, worlds.of(asks), strict=True):
        for k in range(ask.count):
            weights = None if ask.weights is None else ask.weights[[k]]
            (alone,) = worlds.of([Ask({name: x[[k]] for name, x in ask.figures.items()}, weights)])
            np.testing.assert_allclose(alone.worth[0], together.worth[k], rtol=1e-9, atol=1e-6)


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_levels_of_a_fact_add_up_to_what_is_believed(class_id: str) -> None:
    """Law of total probability, to 1e-12; each level beside `evidence.condition` with the fact known, same findings."""
    document = {
        "perspective": "owner",
        "machine": {"class": class_id},
        "complaints": ["cuts_out" if class_id in ELECTRIC else "leaks_oil"],
    }
    case, c = read(document)
    heard = hear(case, c)
    posterior = condition(prior_states(heard.base_odds, heard.causes), heard.complaints)
    facts = open_facts(heard, posterior.states, posterior.weights)
    assert len(facts) >= 2
    for fact in facts:
        assert fact.chances.sum() == pytest.approx(1, abs=1e-12)
        np.testing.assert_allclose(fact.chances @ fact.weights, posterior.weights, atol=1e-12)
        n = next(n for n, cause in enumerate(heard.causes) if cause.name == fact.name)
        for level, weights in enumerate(fact.weights):
            known = tuple(float(k == level) for k in range(len(heard.causes[n].weights)))
            causes = (*heard.causes[:n], replace(heard.causes[n], weights=known), *heard.causes[n + 1 :])
            told = condition(prior_states(heard.base_odds, causes), heard.complaints)
            full = np.zeros(1 << len(heard.faults))
            full[told.states] = told.weights
            np.testing.assert_allclose(weights, full[posterior.states], atol=3e-6)  # each prunes 1e-6


def test_fact_stated_in_a_case_gives_the_level() -> None:
    """The small rulebook, all faults in play: the fact stated in the case against its level worked out."""
    document: dict[str, Any] = {"complaints": ["drips"], "findings": [{"check": "gauge", "outcome": "fair"}]}
    case, c, _ = read_small(without_holds(), **document)
    heard = hear(case, c)
    clues = [*heard.complaints, *heard.clues]
    posterior = condition(prior_states(heard.base_odds, heard.causes), clues)
    (fact,) = open_facts(heard, posterior.states, posterior.weights)
    for level, name in enumerate(c.facts["care"].levels):
        known, _, _ = read_small(without_holds(), history={"care": name}, **document)
        h = hear(known, c)
        told = condition(prior_states(h.base_odds, h.causes), [*h.complaints, *h.clues])
        assert h.faults == heard.faults
        by_state = dict(zip(told.states.tolist(), told.weights.tolist(), strict=True))
        want = [by_state.get(x, 0.0) for x in posterior.states.tolist()]
        np.testing.assert_allclose(fact.weights[level], want, atol=3e-6)
    # by hand: P(bad | drips, fair) from P(bad) = 1/2 and the evidence under each level
    under = []
    for name in c.facts["care"].levels:
        known, _, _ = read_small(without_holds(), history={"care": name}, **document)
        h = hear(known, c)
        under.append(condition(prior_states(h.base_odds, h.causes), [*h.complaints, *h.clues]).evidence)
    np.testing.assert_allclose(fact.chances, np.array(under) / sum(under), rtol=1e-9)


def test_fact_that_bears_on_nothing_is_worth_nothing(known: tuple[dict[str, Any], Turned]) -> None:
    """A fact without factors leaves every level as it is, so that no course changes; no fact is worth less than 0."""
    _, found = known
    heard, worlds = found.scene.heard, found.worlds
    idle = replace(heard.causes[0], weights=(0.3, 0.7), factors={}, name="idle")
    with_idle = replace(heard, causes=(*heard.causes, idle))
    facts = open_facts(with_idle, worlds.states, worlds.weights)
    assert [f.name for f in facts] == [*(f.name for f in found.facts), "idle"]
    np.testing.assert_allclose(facts[-1].chances, [0.3, 0.7], atol=1e-12)
    base = worlds.of([Ask({}, worlds.weights[None, :])])[0]
    for fact, levels in zip(facts, worlds.of([Ask({}, f.weights) for f in facts]), strict=True):
        gain = levels.worth.max(axis=1) @ fact.chances - base.worth.max()
        assert gain >= -1e-6
        if fact.name == "idle":
            np.testing.assert_allclose(levels.worth, np.repeat(base.worth, 2, axis=0), rtol=1e-12)
