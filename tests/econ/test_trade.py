"""What every repairer knows, asked of the shipped rulebooks (common practice)."""

from __future__ import annotations

import pytest

from econ.costing import make_bench
from econ.estimate import make_estimate
from econ.evidence import condition, prior_states
from econ.findings import hear
from econ.terms import settle

from ..strategies import CLASS_IDS, base, defaults, machine_class, read


def believed(document: dict) -> dict[str, float]:
    """Return the probability of each fault in play, all findings heard."""
    case, c = read(document)
    heard = hear(case, c)
    found = condition(prior_states(heard.base_odds, heard.causes), heard.clues)
    return dict(zip(heard.faults, found.marginal.tolist(), strict=True))


def inside(document: dict) -> float:
    """Return the expected number of damages inside the engine, those that taking the sump off would show."""
    seen = machine_class(document["machine"]["class"]).checks["open_crankcase"].reveals
    return sum(p for fault, p in believed(document).items() if fault in seen)


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_free_with_plug_and_drive_off_speaks_against_hidden_damage(class_id: str) -> None:
    """A starter that pulls free without compression and without load makes damage inside improbable."""
    before = inside(base(class_id, complaints=["pulls_hard"]))
    finding = {"check": "drive_off_pull", "outcome": "free"}
    after = inside(base(class_id, complaints=["pulls_hard"], findings=[finding]))
    assert after < 0.10
    assert after < before / 2
    locked = inside(base(class_id, complaints=["starter_locked"], findings=[{**finding, "outcome": "locked"}]))
    assert locked > 0.5


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_neglected_oil_makes_hidden_damage_several_times_likelier(class_id: str) -> None:
    chance = {
        level: inside(base(class_id, complaints=["pulls_hard"], history={"oil_care": level}))
        for level in ("changed_yearly", "topped_up_only", "neglected")
    }
    assert chance["changed_yearly"] < chance["topped_up_only"] < chance["neglected"]
    assert chance["neglected"] > 3 * chance["changed_yearly"]


def test_a_bearing_costs_little_beside_the_labour_to_reach_it() -> None:
    """The clutch bearing at a shop: part price against the labour lines of the same estimate."""
    case, c = read(base("mower_blade_clutch", complaints=["pulls_hard"], terms={"work_by": "shop"}))
    bench = make_bench(case, c, settle(case, c, defaults()))
    for job in ("upper_bearing_job", "lower_bearing_job"):
        lines = make_estimate(bench, c, (bench.jobs.index(job),)).lines
        (bearing,) = (line for line in lines if "6203" in line.what)
        labour = sum(line.amount for line in lines if line.kind in ("labour", "allowance"))
        assert labour > 5 * bearing.amount


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_leak_down_points_to_the_cylinder(class_id: str) -> None:
    """A reading counts as its band; a leaking cylinder makes a scored bore many times likelier (common practice)."""
    chances = []
    for percent in (5.0, 20.0, 35.0, 60.0):
        finding = {"check": "leak_down", "reading": percent}
        chances.append(believed(base(class_id, complaints=["low_power"], findings=[finding]))["bore_scored"])
    assert chances[0] < chances[1] < min(chances[2:])
    assert min(chances[2:]) > 5 * chances[0]
