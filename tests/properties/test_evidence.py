"""What holds of any posterior, whatever the rulebook says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from econ.evidence import Cause, Clue, ImpossibleEvidence, Posterior, condition, prior_states

from ..strategies import cases, decide, read, weighed

FAULTS = 5
chance = st.floats(0, 1)


@st.composite
def causes(draw: st.DrawFn) -> Cause:
    raw = draw(st.lists(st.floats(0.01, 1), min_size=2, max_size=3))
    touched = draw(st.lists(st.integers(0, FAULTS - 1), unique=True, min_size=1, max_size=3))
    factor = st.tuples(*[st.floats(0.01, 100)] * len(raw))
    return Cause(tuple(w / sum(raw) for w in raw), {i: draw(factor) for i in touched})


@st.composite
def clues(draw: st.DrawFn) -> Clue:
    name = draw(st.text("abcdef", min_size=1, max_size=3))
    if draw(st.integers(0, 4)) == 0:
        return Clue(name, seen=draw(st.dictionaries(st.integers(0, FAULTS - 1), st.booleans(), max_size=2)))
    k = draw(st.integers(1, 3))
    rising = st.lists(chance, min_size=k, max_size=k).map(lambda x: tuple(sorted(x)))
    shows = draw(st.dictionaries(st.integers(0, FAULTS - 1), rising, max_size=4))
    return Clue(name, draw(st.integers(0, k)), draw(rising), shows)


def posterior(odds: list[float], history: list[Cause], said: list[Clue]) -> Posterior:
    try:
        found = condition(prior_states(odds, history), said)
    except ImpossibleEvidence:
        assume(False)
        raise
    assume(found.evidence > 1e-200)
    return found


evidence = given(
    st.lists(st.floats(1e-6, 1e3), min_size=FAULTS, max_size=FAULTS),
    st.lists(causes(), max_size=3),
    st.lists(clues(), max_size=4),
)


@evidence
@settings(max_examples=200, deadline=None)
def test_a_posterior_is_a_distribution(odds: list[float], history: list[Cause], said: list[Clue]) -> None:
    prior = prior_states(odds, history)
    assert prior.sum() == pytest.approx(1.0, abs=1e-12)
    found = posterior(odds, history, said)
    assert found.weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert (found.weights >= 0).all()
    assert ((found.marginal >= 0) & (found.marginal <= 1 + 1e-12)).all()
    assert 0 <= found.dropped <= 1e-6 + 1e-12
    assert found.evidence <= 1 + 1e-12
    assert (np.diff(found.weights) <= 0).all()
    # The states kept carry the marginals up to the mass that was dropped.
    bits = found.states[:, None] >> np.arange(FAULTS) & 1
    assert found.weights @ bits == pytest.approx(found.marginal, abs=3e-6)


@evidence
@settings(max_examples=100, deadline=None)
def test_findings_in_any_order_give_the_same(odds: list[float], history: list[Cause], said: list[Clue]) -> None:
    one, other = posterior(odds, history, said), posterior(odds, history[::-1], said[::-1])
    assert one.marginal == pytest.approx(other.marginal, abs=1e-9)


def shuffled(document: dict, random: object) -> dict:
    told = {key: list(document[key]) for key in ("complaints", "findings")}
    for rows in told.values():
        random.shuffle(rows)
    return {**document, **told}


@given(cases(), st.randoms(use_true_random=False))
@settings(max_examples=10, deadline=None)
def test_a_case_told_in_any_order_is_weighed_alike(document: dict, random: object) -> None:
    one, other = weighed(*read(document)), weighed(*read(shuffled(document, random)))
    assert one.believed.likely == pytest.approx(other.believed.likely, abs=1e-9)
    assert one.best == other.best


@pytest.mark.slow
@given(cases(), st.randoms(use_true_random=False))
@settings(max_examples=6, deadline=None)
def test_a_case_told_in_any_order_gives_the_same_answer(document: dict, random: object) -> None:
    one, other = decide(document), decide(shuffled(document, random))
    assert [(f.id, pytest.approx(f.probability, abs=1e-9)) for f in one.faults] == [
        (f.id, f.probability) for f in other.faults
    ]
    assert one.verdict.course == other.verdict.course
