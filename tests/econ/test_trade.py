"""What every repairer knows, asked of the shipped rulebooks (common practice)."""

from __future__ import annotations

import pytest

from econ.costing import make_bench
from econ.estimate import make_estimate
from econ.evidence import condition, prior_states
from econ.findings import hear
from econ.terms import settle

from ..strategies import CLASS_IDS, ELECTRIC, ENGINES, base, believed, decide, defaults, machine_class, read

FOUR_STROKE = [i for i in CLASS_IDS if "open_crankcase" in machine_class(i).checks]
TWO_STROKE = [i for i in CLASS_IDS if "open_cylinder" in machine_class(i).checks]
SNOW_THROWERS = [i for i in CLASS_IDS if i.startswith("snow_thrower")]
NO_CAUSE = 0.08  # most that a machine with a complaint may be believed sound [1]; judgement
UNNAMED = 0.2  # most that it may be believed to have what no rulebook names [1]; judgement


def test_every_class_has_one_engine_or_one_motor() -> None:
    assert sorted([*FOUR_STROKE, *TWO_STROKE]) == sorted(ENGINES)
    assert sorted([*ENGINES, *ELECTRIC]) == sorted(CLASS_IDS)


def inside(document: dict) -> float:
    """Return the expected number of damages inside the engine, those that taking the sump off would show."""
    seen = machine_class(document["machine"]["class"]).checks["open_crankcase"].reveals
    return sum(p for fault, p in believed(document).items() if fault in seen)


@pytest.mark.parametrize("class_id", FOUR_STROKE)
def test_free_with_plug_and_drive_off_speaks_against_hidden_damage(class_id: str) -> None:
    """A starter that pulls free without compression and without load makes damage inside improbable."""
    before = inside(base(class_id, complaints=["pulls_hard"]))
    finding = {"check": "drive_off_pull", "outcome": "free"}
    after = inside(base(class_id, complaints=["pulls_hard"], findings=[finding]))
    assert after < 0.10
    assert after < before / 2
    locked = inside(base(class_id, complaints=["starter_locked"], findings=[{**finding, "outcome": "locked"}]))
    assert locked > 0.5


@pytest.mark.parametrize("class_id", FOUR_STROKE)
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


@pytest.mark.parametrize("class_id", FOUR_STROKE)
def test_leak_down_points_to_the_cylinder(class_id: str) -> None:
    """A reading counts as its band; a leaking cylinder makes a scored bore many times likelier (common practice)."""
    chances = []
    for percent in (5.0, 20.0, 35.0, 60.0):
        finding = {"check": "leak_down", "reading": percent}
        chances.append(believed(base(class_id, complaints=["low_power"], findings=[finding]))["bore_scored"])
    assert chances[0] < chances[1] < min(chances[2:])
    assert min(chances[2:]) > 5 * chances[0]


def first(document: dict) -> str:
    """Return the likeliest fault."""
    found = believed(document)
    return max(found, key=lambda f: found[f])


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_a_complaint_has_a_cause(class_id: str) -> None:
    """An owner who says what it does wrong is seldom mistaken, and the rulebook names what it is."""
    for complaint in machine_class(class_id).complaints:
        case, c = read(base(class_id, complaints=[complaint]))
        heard = hear(case, c)
        found = condition(prior_states(heard.base_odds, heard.causes), heard.clues)
        assert found.weights[found.states == 0].sum() < NO_CAUSE, complaint
        chances = dict(zip(heard.faults, found.marginal, strict=True))
        sump = class_id in FOUR_STROKE or complaint != "leaks_oil"  # oil below a two-stroke comes from anywhere
        assert chances["something_else"] < (UNNAMED if sump else 2 * UNNAMED), complaint
        assert max(chances, key=lambda f: chances[f]) != "something_else", complaint


@pytest.mark.parametrize("class_id", ENGINES)
def test_fuel_comes_first_where_it_will_not_start(class_id: str) -> None:
    """Stale fuel in the carburettor, the more so where it was left in (common practice)."""
    fault = "stale_fuel_jet" if class_id in FOUR_STROKE else "stale_fuel_carburettor"
    kept, dry = (
        base(class_id, complaints=["will_not_start"], history={"storage": level})
        for level in ("indoors_with_fuel", "run_dry_or_stabilised")
    )
    assert first(kept) == fault
    assert believed(kept)[fault] > 1.3 * believed(dry)[fault]


@pytest.mark.parametrize("class_id", SNOW_THROWERS)
def test_a_snow_thrower_that_stood_all_summer_with_fuel(class_id: str) -> None:
    history = {"storage": "indoors_with_fuel", "last_ran": "last_season"}
    assert believed(base(class_id, complaints=["will_not_start"], history=history))["stale_fuel_jet"] > 0.5


def test_the_shear_bolt_breaks_first() -> None:
    """A stone and an auger that stands still: the shear bolt, not the gearbox it is there to spare."""
    found = believed(base("snow_thrower_two_stage", complaints=["auger_does_not_turn"], history={"hit_object": "yes"}))
    assert max(found, key=lambda f: found[f]) == "shear_bolt_broken"
    assert found["shear_bolt_broken"] > 3 * found["auger_gear_worn"]


@pytest.mark.parametrize("class_id", TWO_STROKE)
def test_fuel_without_oil_scores_the_piston(class_id: str) -> None:
    for complaint in ("will_not_start", "low_power", "starter_locked"):
        right, straight = (
            base(class_id, complaints=[complaint], history={"fuel_mix": level})
            for level in ("right_mix", "straight_fuel")
        )
        assert first(straight) == "piston_scored", complaint
        assert believed(straight)["piston_scored"] > 4 * believed(right)["piston_scored"], complaint


@pytest.mark.parametrize("class_id", TWO_STROKE)
def test_low_compression_points_to_the_piston_and_good_compression_away(class_id: str) -> None:
    """Two-stroke, common practice: good from 110 psi, marginal to 90, below that it will not run."""
    chances = []
    for psi in (130.0, 100.0, 70.0):
        document = base(class_id, complaints=["will_not_start"], findings=[{"check": "compression", "reading": psi}])
        found = believed(document)  # a fault that is not in play is too unlikely to be
        chances.append(1 - (1 - found.get("piston_scored", 0.0)) * (1 - found.get("rings_worn", 0.0)))
    assert chances[0] < 0.06
    assert chances[0] < chances[1] < chances[2]
    assert chances[2] > 0.5
    assert first(document) == "piston_scored"


@pytest.mark.parametrize("class_id", TWO_STROKE)
def test_a_crankcase_that_does_not_hold_air_leaks_at_seal_or_boot(class_id: str) -> None:
    document = base(class_id, complaints=["surging"], findings=[{"check": "pressure_test", "outcome": "falls"}])
    found = believed(document)
    assert first(document) in ("intake_leaks", "crank_seal_air")
    assert found["intake_leaks"] + found["crank_seal_air"] > 0.6


def test_a_chain_that_stands_still_asks_for_its_brake() -> None:
    document = base("chain_saw", complaints=["chain_stands_still"])
    assert first(document) == "chain_brake_jammed"
    seen = [{"check": "brake_trip", "outcome": "snaps_and_holds"}]
    assert first({**document, "findings": seen}) != "chain_brake_jammed"


@pytest.mark.parametrize("class_id", ELECTRIC)
def test_a_pack_tells_of_itself(class_id: str) -> None:
    """A short running time is the pack's; one that wintered empty is refused; another pack splits pack and machine."""
    assert first(base(class_id, complaints=["runs_short"])) == "pack_worn"
    empty = base(class_id, complaints=["will_not_charge"], history={"storage": "dry_left_empty"})
    assert first(empty) == "pack_left_empty"
    pack = {
        "pack_worn",
        "cell_group_dead",
        "pack_board_tripped",
        "pack_board_failed",
        "pack_left_empty",
        "pack_damaged",
    }
    pack |= {"pack_terminals_bad", "charger_dead", "charger_contacts_bad"}
    share = {}
    for outcome in ("cured", "no_change"):
        seen = [{"check": "other_pack", "outcome": outcome}]
        found = believed(base(class_id, complaints=["will_not_start"], findings=seen))
        share[outcome] = sum(p for f, p in found.items() if f in pack) / sum(found.values())
    assert share["cured"] > 0.6
    assert share["no_change"] < 0.15


@pytest.mark.parametrize("class_id", ELECTRIC)
def test_a_motor_that_runs_again_when_cool_has_its_vents_clogged(class_id: str) -> None:
    document = base(class_id, complaints=["cuts_out"], findings=[{"check": "cool_retry", "outcome": "runs_again"}])
    assert first(document) == "cooling_blocked"


@pytest.mark.parametrize("class_id", ELECTRIC)
def test_a_bail_that_sticks_lets_the_blade_run_on(class_id: str) -> None:
    document = base(class_id, complaints=["blade_does_not_stop"])
    assert first(document) == "bail_sticks"
    free = [{"check": "bail_return", "outcome": "snaps_back"}]
    assert believed({**document, "findings": free})["motor_brake_failed"] > believed(document)["motor_brake_failed"]


# Checks that show what several faults do alike, or what sound machines show too: no one fault is seen.
SYMPTOMS = {
    "auger_turn", "bail_test", "battery_load", "battery_volts", "blade_spin", "brake_trip", "charger_light",
    "compression", "control_compare", "cool_retry", "crank_sound", "drive_off_pull", "frequency_read", "fuel_look",
    "gear_oil_look", "hose_swap", "hot_cold", "leak_down", "load_voltage", "low_oil_wire_off", "mixture_read",
    "oil_look", "oil_path", "oil_throw", "other_pack", "outlet_test", "pack_voltage", "plug_look", "plug_out_pull",
    "pressure_gauge", "pressure_test", "pump_flow", "pump_oil_look", "rotor_turn", "shaft_draw", "shut_head_test",
    "spark_test", "starter_off_pull", "tine_shaft_play", "tine_turn", "weep_look", "wheel_turn_up", "winding_ohms",
    "wrench_turn",
}  # fmt: skip
DIRECT = 0.15  # a check looks at a fault itself where that fault alone leaves it normal no oftener [1]; judgement
SEEN = 0.85  # least that what a look shows is believed, with no complaint and nothing else known [1]; judgement


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_what_is_seen_is_believed(class_id: str) -> None:
    """A look at the fault itself, and it is there: no prior talks a repairer out of it (common practice)."""
    c = machine_class(class_id)
    for i, check in c.checks.items():
        if check.complaint or check.reveals or i in SYMPTOMS:
            continue
        for k, outcome in enumerate(check.outcomes[1:], 1):

            def share(fault: str, k: int = k, i: str = i) -> float:
                row = (*c.faults[fault].shows[i], 1.0)
                return row[k] - row[k - 1]

            direct = [f for f, x in c.faults.items() if i in x.shows and x.shows[i][0] <= DIRECT]
            here = [f for f in direct if share(f) == max(share(f, n) for n in range(1, len(check.outcomes)))]
            if here:
                found = believed(base(class_id, findings=[{"check": i, "outcome": outcome}]))
                assert sum(found[fault] for fault in here) > SEEN, (i, outcome, here, found)


DECISIVE = [  # class, findings, fault, least chance of it: measured or seen, nothing else known
    ("generator_portable", {"winding_ohms": "down_to_frame"}, "winding_failed", 0.9),
    ("generator_portable", {"earth_test": "open"}, "earth_open", 0.9),
    ("generator_portable", {"earth_test": "open", "winding_ohms": "down_to_frame"}, "winding_failed", 0.9),
    ("generator_portable", {"cord_look": "leaks_to_earth"}, "load_leaks", 0.9),
    ("mower_battery", {"pack_look": "swollen_cracked_or_wet"}, "pack_damaged", 0.9),
    ("mower_ride_on", {"blade_brake_look": "worn_glazed_or_clear"}, "blade_clutch_brake", 0.9),
    ("mower_ride_on", {"fuse_look": "blown"}, "fuse_blown", 0.9),
    ("mower_walk_behind", {"flywheel_key_look": "sheared"}, "key_sheared", 0.9),
    ("mower_walk_behind", {"stop_wire_test": "open"}, "stop_switch_open", 0.9),
    ("mower_walk_behind", {"blade_look": "bent"}, "blade_bent", 0.9),
    ("mower_blade_clutch", {"shaft_runout": "bent"}, "crank_bent", 0.9),
    ("tiller_rear_tine", {"leak_path": "head"}, "head_gasket_blown", 0.9),
    ("tiller_front_tine", {"case_slack": "slack_or_turns_free"}, "chain_case_chain_worn", 0.85),
    ("chain_saw", {"kill_wire_off": "spark_returns"}, "stop_switch_grounded", 0.9),
    ("leaf_blower", {"fan_look": "cracked_or_chipped"}, "fan_cracked", 0.9),
    ("log_splitter", {"coupling_look": "slips_or_broken"}, "pump_coupling_failed", 0.9),
    ("log_splitter", {"hydraulic_oil_look": "milky_or_wrong"}, "hydraulic_oil_bad", 0.85),
    ("pressure_washer", {"head_look": "cracked"}, "head_cracked", 0.9),
    ("snow_thrower_two_stage", {"shear_bolt_look": "broken"}, "shear_bolt_broken", 0.9),
]


@pytest.mark.parametrize(("class_id", "seen", "fault", "least"), DECISIVE)
def test_a_decisive_measurement(class_id: str, seen: dict, fault: str, least: float) -> None:
    findings = [{"check": i, "outcome": o} for i, o in seen.items()]
    assert believed(base(class_id, findings=findings))[fault] > least


def test_the_frame_tingles_and_the_switch_trips_are_two_troubles() -> None:
    """An open earth lets the frame be felt and trips no switch; a cord and a second bond trip it (common practice)."""
    tingles = believed(base("generator_portable", complaints=["frame_tingles"]))
    trips = believed(base("generator_portable", complaints=["earth_fault_trips"]))
    assert first(base("generator_portable", complaints=["frame_tingles"])) in ("earth_open", "winding_failed")
    assert trips.get("earth_open", 0.0) < 0.05 < tingles["earth_open"]
    assert trips["load_leaks"] > 0.2
    assert trips["second_bond"] > 0.1
    assert tingles["winding_failed"] > 0.2


def test_a_frame_that_tingles_is_measured_first() -> None:
    found = decide(base("generator_portable", perspective="shop", complaints=["frame_tingles"]))
    assert found.plan.next_check is not None
    assert found.plan.next_check.check in ("earth_test", "winding_ohms")


def test_milky_oil_is_changed_and_low_oil_topped_up() -> None:
    c = machine_class("log_splitter")
    assert "hydraulic_oil_job" in c.clearing("hydraulic_oil_low")
    assert "hydraulic_oil_job" not in c.clearing("hydraulic_oil_bad")
    assert all("drain_hydraulic_oil" in c.jobs[j].operations for j in c.clearing("hydraulic_oil_bad"))
