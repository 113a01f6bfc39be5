"""Textbook networks through `condition`: burglary, water sprinkler and the chest clinic ("Asia").

A node between cause and sign that no noisy-MAX row can stand for (the alarm, "either", dyspnoea) is one more bit of the
state; `condition` takes any prior over states.
"""

from __future__ import annotations

import numpy as np
import pytest

from econ.evidence import Cause, Clue, Posterior, condition, odds, prior_states

from .figures import entry


def with_node(prior: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """Append a bit to the states: chance is P(bit | state before)."""
    return np.concatenate([prior * (1 - chance), prior * chance])


def sign(name: str, bit: int, present: float, absent: float) -> Clue:
    """Return a positive two-outcome sign of one bit as a noisy-MAX row with a leak."""
    return Clue(name, 1, (1 - absent,), {bit: ((1 - present) / (1 - absent),)})


def test_burglary() -> None:
    """Russell and Norvig, AIMA 4th ed., ch. 13."""
    v = entry("bayes_networks", "burglary")["values"]
    alarm = v["p_alarm_given_b_e"]
    causes = prior_states([odds(v["p_burglary"]), odds(v["p_earthquake"])], [])
    prior = with_node(causes, np.array([alarm["b0e0"], alarm["b1e0"], alarm["b0e1"], alarm["b1e1"]]))
    john = sign("john", 2, v["p_john_given_alarm"]["1"], v["p_john_given_alarm"]["0"])
    mary = sign("mary", 2, v["p_mary_given_alarm"]["1"], v["p_mary_given_alarm"]["0"])
    want = v["recomputed"]
    both = condition(prior, [john, mary])
    assert round(float(both.marginal[0]), 3) == v["printed"]["p_b_given_j_m"]
    assert both.marginal == pytest.approx(
        [want["p_b_given_j_m"], want["p_e_given_j_m"], want["p_alarm_given_j_m"]], rel=1e-12
    )
    assert condition(prior, []).marginal[2] == pytest.approx(want["p_alarm"], rel=1e-12)
    assert condition(prior, [mary]).marginal[0] == pytest.approx(want["p_b_given_m"], rel=1e-12)
    assert condition(prior, [john]).marginal[0] == pytest.approx(want["p_b_given_j"], rel=1e-12)
    burgled = [Clue("seen", seen={0: True})]
    assert condition(prior, [*burgled, john]).evidence / v["p_burglary"] == pytest.approx(want["p_j_given_b"])
    assert condition(prior, [*burgled, mary]).evidence / v["p_burglary"] == pytest.approx(want["p_m_given_b"])


def test_sprinkler() -> None:
    """Murphy 1998: an unknown cloudy sky moves sprinkler and rain jointly, and wet grass is a noisy-OR of them."""
    v = entry("bayes_networks", "sprinkler")["values"]
    cpt = v["cpt"]
    clouds = Cause(
        (1 - cpt["cloudy"], cpt["cloudy"]),
        {
            0: (odds(cpt["sprinkler"]["cloudy0"]), odds(cpt["sprinkler"]["cloudy1"])),
            1: (odds(cpt["rain"]["cloudy0"]), odds(cpt["rain"]["cloudy1"])),
        },
    )
    wet = Clue("wet", 1, (1 - cpt["wet"]["s0r0"],), {0: (1 - cpt["wet"]["s1r0"],), 1: (1 - cpt["wet"]["s0r1"],)})
    prior = prior_states([1.0, 1.0], [clouds])
    found = condition(prior, [wet])
    assert found.evidence == pytest.approx(v["recomputed"]["p_wet"], rel=1e-12)
    want = v["recomputed"]
    assert found.marginal == pytest.approx([want["p_sprinkler_given_wet"], want["p_rain_given_wet"]], rel=1e-12)
    assert np.round(found.marginal, 4).tolist() == [
        v["printed"]["p_sprinkler_given_wet"],
        v["printed"]["p_rain_given_wet"],
    ]
    rained = condition(prior, [wet, Clue("rain", seen={1: True})])
    assert rained.marginal[0] == pytest.approx(want["p_sprinkler_given_wet_rain"], rel=1e-12)


ASIA = entry("bayes_networks", "asia")["values"]
TUB, LUNG, BRONC, EITHER, DYSP, XRAY = range(6)


def clinic(smoke: float, asia: float) -> np.ndarray:
    """Return P(state) of the chest clinic; smoking and the visit to Asia are history facts."""
    cpt = ASIA["cpt"]
    smoking = {
        1: (odds(cpt["lung"]["smoke0"]), odds(cpt["lung"]["smoke1"])),
        2: (odds(cpt["bronc"]["smoke0"]), odds(cpt["bronc"]["smoke1"])),
    }
    visit = {0: (odds(cpt["tub"]["asia0"]), odds(cpt["tub"]["asia1"]))}
    prior = prior_states([1.0] * 3, [Cause((1 - smoke, smoke), smoking), Cause((1 - asia, asia), visit)])
    s = np.arange(8)
    prior = with_node(prior, ((s & 3) != 0).astype(float))
    s = np.arange(16)
    d = cpt["dysp"]
    table = np.array(
        [[d["either0bronc0"], d["either0bronc1"]], [d["either1bronc0"], d["either1bronc1"]]],
    )
    prior = with_node(prior, table[s >> EITHER & 1, s >> BRONC & 1])
    s = np.arange(32)
    return with_node(prior, np.where(s >> EITHER & 1, cpt["xray"]["either1"], cpt["xray"]["either0"]))


def seen(*bits: int) -> list[Clue]:
    return [Clue(f"seen {b}", seen={b: True}) for b in bits]


def at(found: Posterior, want: dict, names: dict[str, int]) -> None:
    for name, bit in names.items():
        assert found.marginal[bit] == pytest.approx(want[name], abs=6e-7), name


def test_asia() -> None:
    """Lauritzen and Spiegelhalter, J. Royal Statistical Society B 50 (1988) 157-224."""
    cpt = ASIA["cpt"]
    unknown = clinic(cpt["smoke"], cpt["asia"])
    names = {"tub": TUB, "lung": LUNG, "bronc": BRONC, "either": EITHER, "dysp": DYSP}
    at(condition(unknown, []), ASIA["marginal"], {**names, "xray": XRAY})
    at(condition(unknown, seen(XRAY)), ASIA["given_xray"], names)
    visited = clinic(cpt["smoke"], 1.0)
    at(condition(visited, seen(XRAY, DYSP)), ASIA["given_asia_xray_dysp"], {"tub": TUB, "lung": LUNG, "bronc": BRONC})
    smoker = condition(clinic(1.0, cpt["asia"]), seen(DYSP))
    assert smoker.evidence == pytest.approx(ASIA["p_dysp_given_smoke"], abs=6e-7)
    # A history fact itself, by Bayes' rule from the chance of the evidence at each level.
    for asia, key in ((cpt["asia"], "p_smoke_given_dysp"), (1.0, "p_smoke_given_dysp_asia")):
        yes, no = (condition(clinic(x, asia), seen(DYSP)).evidence for x in (1.0, 0.0))
        share = yes * cpt["smoke"] / (yes * cpt["smoke"] + no * (1 - cpt["smoke"]))
        assert share == pytest.approx(ASIA[key], rel=1e-12)
