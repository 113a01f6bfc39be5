"""The evidence kernel against brute force over states and levels, and what must not move it."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest

import econ
from econ.evidence import Cause, Clue, ImpossibleEvidence, condition, odds, prior_of, prior_states
from econ.findings import hear

from ..published.test_posterior_reference import CLUTCH_CASE
from ..strategies import base, read
from . import small
from .network import network, pyagrum_marginals

CAUSES = [
    Cause((0.2, 0.5, 0.3), {0: (0.3, 1.0, 4.0), 1: (0.5, 1.0, 3.0), 2: (0.4, 1.0, 5.0)}),
    Cause((0.7, 0.3), {1: (0.8, 2.0), 3: (0.5, 6.0)}),
    Cause((0.0, 1.0), {0: (9.0, 0.5), 3: (9.0, 2.0)}),
    Cause((0.6, 0.1, 0.3), {1: (0.7, 1.5, 3.0)}),  # two that bear on one fault alone
    Cause((0.8, 0.2), {1: (0.9, 2.5)}),
]
BASE = [odds(p) for p in (0.1, 0.05, 0.2, 0.02)]
CLUES = [
    Clue("pull", 1, (0.95, 0.99), {0: (0.3, 0.8), 2: (0.5, 0.9)}),
    Clue("oil", 2, (0.9, 0.98), {1: (0.4, 0.7), 3: (0.2, 0.5)}),
    Clue("spark", 0, (0.97,), {3: (0.1,)}),
    Clue("cover", seen={1: False}),
]


def brute_force(clues: list[Clue]) -> np.ndarray:
    """Return marginals by summing the joint of levels, states and outcomes term by term."""
    total = np.zeros(16)
    for state in product((0, 1), repeat=4):
        for levels in product(*(range(len(c.weights)) for c in CAUSES)):
            p = 1.0
            for cause, level in zip(CAUSES, levels, strict=True):
                p *= cause.weights[level]
            for i, present in enumerate(state):
                o = BASE[i]
                for cause, level in zip(CAUSES, levels, strict=True):
                    o *= cause.factors.get(i, (1.0,) * 3)[level]
                p *= o / (1 + o) if present else 1 / (1 + o)
            for clue in clues:
                if clue.seen is not None:
                    p *= all(state[i] == present for i, present in clue.seen.items())
                    continue
                upto = [
                    leak * np.prod([row[k] for i, row in (clue.shows or {}).items() if state[i]])
                    for k, leak in enumerate(clue.leak)
                ]
                p *= np.diff([0.0, *upto, 1.0])[clue.outcome]
            total[sum(x << i for i, x in enumerate(state))] += p
    total /= total.sum()
    return np.array([sum(total[s] for s in range(16) if s >> i & 1) for i in range(4)])


@pytest.mark.parametrize("said", [[], [0], [1, 2], [0, 1, 2, 3]])
def test_joint_mixture_against_brute_force(said: list[int]) -> None:
    """An unknown history fact moves all its faults together: design of the model, 4.1."""
    clues = [CLUES[i] for i in said]
    found = condition(prior_states(BASE, CAUSES), clues)
    assert found.marginal == pytest.approx(brute_force(clues), abs=1e-12)


def test_unknown_history_is_not_mixed_fault_by_fault() -> None:
    """Two faults of one unknown fact are likelier together than apart (a wrong prior makes them independent)."""
    prior = prior_states([1.0, 1.0], [Cause((0.5, 0.5), {0: (0.01, 1.0), 1: (0.01, 1.0)})])
    one = prior[1] + prior[3]
    assert prior[3] > 1.8 * one**2


def test_order_of_findings_does_not_matter() -> None:
    prior = prior_states(BASE, CAUSES)
    for clues in permutations(CLUES):
        found = condition(prior, clues)
        assert found.marginal.tolist() == condition(prior, CLUES).marginal.tolist()


def test_not_done_and_not_sure_are_no_finding() -> None:
    plain = small.decide(complaints=["drips"])
    for word in ("not_done", "not_sure"):
        said = [{"check": "gauge", "outcome": word}]
        told = small.decide(complaints=["drips"], findings=said, history={"care": word})
        assert told.faults == plain.faults


def test_unreliable_report_lies_between_unknown_and_known() -> None:
    def chance(history: dict) -> float:
        found = small.decide(complaints=["drips"], history=history)
        return {f.id: f.probability for f in found.faults}["seal"]

    unknown, known = chance({}), chance({"care": "bad"})
    steps = [chance({"care": {"level": "bad", "reliable": r}}) for r in (0.0, 0.3, 0.8, 1.0)]
    assert steps[0] == pytest.approx(unknown, rel=1e-12)
    assert steps[-1] == pytest.approx(known, rel=1e-12)
    assert steps == sorted(steps)
    assert unknown < steps[1] < steps[2] < known


def test_states_rare_beforehand_survive() -> None:
    """Pruning comes after the findings: a state of prior 1e-10 that explains them holds the posterior."""
    prior = prior_states([odds(1e-5), odds(1e-5), odds(0.3)], [])
    assert prior[3] < 1e-9
    never = {0: (1e-9,), 1: (1.0,), 2: (1.0,)}, {0: (1.0,), 1: (1e-9,), 2: (1.0,)}
    clues = [Clue("a", 1, (1 - 1e-12,), never[0]), Clue("b", 1, (1 - 1e-12,), never[1])]
    found = condition(prior, clues)
    assert found.marginal[:2] == pytest.approx([1.0, 1.0], abs=1e-6)
    assert set(found.states[:2]) == {3, 7}
    assert found.weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert found.dropped <= 1e-6


def test_little_is_dropped_and_said() -> None:
    rng = np.random.default_rng(7)
    prior = prior_states(rng.uniform(1e-4, 0.1, 12).tolist(), [])
    found = condition(prior, [])
    assert found.states.size < prior.size
    assert 0 < found.dropped <= 1e-6
    assert found.dropped == pytest.approx(1 - prior[found.states].sum(), abs=1e-12)


def test_impossible_evidence_names_those_in_conflict_and_no_others() -> None:
    prior = prior_states(BASE, CAUSES)
    cover = Clue("other_cover", seen={1: True})
    with pytest.raises(ImpossibleEvidence) as caught:
        condition(prior, [CLUES[0], CLUES[1], CLUES[3], CLUES[2], cover])
    assert sorted(caught.value.names) == ["cover", "other_cover"]


def test_impossible_case_is_refused_by_name() -> None:
    """A rod seen galled and seen sound; the complaint takes no part in it."""
    findings = [
        {"check": "gauge", "outcome": "poor"},
        {"check": "open", "found": ["rod"]},
        {"check": "scope", "found": []},
    ]
    with pytest.raises(econ.BadInput) as caught:
        small.decide(complaints=["drips"], findings=findings)
    (problem,) = caught.value.problems
    assert problem.path == "findings"
    assert "open" in problem.value
    assert "scope" in problem.value
    assert "gauge" not in problem.value
    assert "drips" not in problem.value


def test_impossible_reading_of_zero_is_shown() -> None:
    """A galled rod never reads good: the message shows the figure that was given."""
    findings = [{"check": "gauge", "reading": 0.0}, {"check": "open", "found": ["rod"]}]
    with pytest.raises(econ.BadInput) as caught:
        small.decide(complaints=["drips"], findings=findings)
    assert "gauge = 0.0" in caught.value.problems[0].value


def whole_class(document: dict) -> dict[str, float]:
    """Return P(fault | everything heard) of all faults of the class, by pyAgrum."""
    case, c = read(document)
    every = [i for i, fault in c.faults.items() if not fault.wear]
    nodes, seen = network(case, c, every)
    return dict(zip(every, pyagrum_marginals(nodes, seen, every).tolist(), strict=True))


def in_play(document: dict) -> dict[str, float]:
    case, c = read(document)
    heard = hear(case, c)
    found = condition(prior_states(heard.base_odds, heard.causes), heard.clues)
    return dict(zip(heard.faults, found.marginal.tolist(), strict=True))


@pytest.mark.filterwarnings("ignore")
def test_faults_in_play_give_the_posterior_of_the_whole_class() -> None:
    """One complaint, two checks: the faults left out of play (16 stay) move none by 0.01."""
    whole = whole_class(CLUTCH_CASE)
    assert in_play(CLUTCH_CASE) == pytest.approx({i: whole[i] for i in in_play(CLUTCH_CASE)}, abs=0.01)


LEFT_OUT = {
    "blade_bent": base(
        "mower_walk_behind",
        complaints=["pulls_hard", "starts_then_dies"],
        findings=[{"check": "blade_look", "outcome": "bent"}, {"check": "shaft_end_play", "outcome": "excess"}],
    ),
    "stale_fuel_jet": base(
        "mower_blade_clutch",
        complaints=["blade_stops_slowly", "smokes_black", "starter_locked"],
        findings=[
            {"check": "bowl_look", "outcome": "stale"},
            {"check": "control_compare", "outcome": "hard_both_ways"},
        ],
    ),
    "governor_linkage": base("mower_walk_behind", complaints=["leaks_oil"], history={"governor": "tampered"}),
}


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("fault", LEFT_OUT)
def test_likely_fault_stays_in_play(fault: str) -> None:
    """A fault the whole network holds likelier than one in four is among those in play (pyAgrum)."""
    assert whole_class(LEFT_OUT[fault])[fault] < 0.25 or fault in in_play(LEFT_OUT[fault])


def test_the_prior_of_some_states_is_that_of_all() -> None:
    """States in any order, some twice; causes that bind faults together, in two groups, and a known one."""
    base = [odds(p) for p in (0.02, 0.3, 0.1, 0.05, 0.2)]
    bound = [
        Cause((0.3, 0.7), {0: (1.0, 4.0), 3: (0.5, 2.0)}),
        Cause((0.2, 0.8), {1: (3.0, 1.0), 4: (1.0, 0.25)}),
        Cause((0.6, 0.4), {2: (1.0, 9.0)}),
        Cause((0.0, 1.0), {2: (1.0, 0.5)}),
    ]
    states = np.array([31, 0, 7, 7, 18, 9])
    np.testing.assert_allclose(prior_of(states, base, bound), prior_states(base, bound)[states], rtol=1e-13)
