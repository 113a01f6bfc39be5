"""Generators, washers, pumps, ride-on mowers, front-tine tillers, splitters, chippers: what their rulebooks must hold.

What every class must hold is asked elsewhere (test_rulebook.py, test_trade.py, test_safety.py). Here it is asked that
each has the complaints of its own, that the history moves the faults it should, and that what can hurt someone is held
and cautioned. Beliefs alone are asked, no whole decisions, so that all of them are quick.
"""

from __future__ import annotations

import pytest

from ..strategies import CLASS_IDS, base, believed, machine_class

CLASSES = (
    "chipper_shredder",
    "generator_portable",
    "log_splitter",
    "mower_ride_on",
    "pressure_washer",
    "tiller_front_tine",
    "water_pump",
)
OWN = {  # complaints
    "chipper_shredder": {"chips_badly", "jams", "rotor_stands", "feed_stop_fails"},
    "generator_portable": {"no_output", "low_output", "frame_tingles", "earth_fault_trips"},
    "log_splitter": {"ram_slow", "ram_does_not_move", "ram_does_not_return", "ram_does_not_stop"},
    "mower_ride_on": {
        "no_drive", "battery_goes_flat", "blades_do_not_turn", "interlock_runs_on", "brake_does_not_hold",
    },
    "pressure_washer": {"low_pressure", "no_pressure", "pressure_pulses", "drips_water", "gun_does_not_shut"},
    "tiller_front_tine": {"no_tine_drive", "tines_slip", "tines_do_not_stop"},
    "water_pump": {"does_not_prime", "primes_slowly", "weak_flow", "drips_water"},
}  # fmt: skip
HOLDS = {
    "chipper_shredder": {"knife_loose", "rotor_broken", "guard_missing", "feed_stop"},
    "generator_portable": {
        "earth_open",
        "receptacle_damaged",
        "frame_live",
        "earth_fault",
        "winding_to_frame",
        "co_shutoff_cut",
        "low_oil_bypassed",
    },
    "log_splitter": {"hydraulic_hose_bad", "ram_does_not_stop", "wedge_cracked"},
    "mower_ride_on": {"brake_not_working", "interlock_defeated", "blade_cracked", "blade_does_not_stop"},
    "pressure_washer": {"hose_damaged", "gun_does_not_shut", "pump_cracked"},
    "tiller_front_tine": {"tines_do_not_stop"},
    "water_pump": {"casing_cracked", "low_oil_bypassed"},
}
CAUTIONS = {  # caution of the class, words it must hold
    "chipper_shredder": ("rotor", ("coasts", "Never reach")),
    "generator_portable": ("back_feed", ("transfer switch", "licensed electrician", "local code")),
    "log_splitter": ("hydraulic_injection", ("never look for a leak with the hand", "emergency")),
    "mower_ride_on": ("battery", ("acid", "no spark")),
    "pressure_washer": ("water_jet", ("injects water through skin", "emergency")),
    "tiller_front_tine": ("tines", ("lead off", "block the machine")),
    "water_pump": ("pump_water", ("dry",)),
}
RAISED = [  # class, complaint, history fact and level, fault that it makes several times likelier
    ("pressure_washer", "no_pressure", "frozen", "yes", "head_cracked"),
    ("pressure_washer", "low_pressure", "ran_dry", "yes", "packings_worn"),
    ("pressure_washer", "starter_locked", "ran_dry", "yes", "pump_seized"),
    ("water_pump", "runs_water", "frozen", "yes", "casing_cracked"),
    ("water_pump", "drips_water", "ran_dry", "yes", "mechanical_seal_worn"),
    ("water_pump", "weak_flow", "pumped_grit", "yes", "wear_plate_worn"),
    ("generator_portable", "no_output", "overloaded", "yes", "winding_failed"),
    ("generator_portable", "no_output", "last_current", "longer_ago", "residual_lost"),
    ("generator_portable", "will_not_start", "ran_low", "yes", "oil_too_low"),
    ("log_splitter", "ram_slow", "hydraulic_oil", "ran_low", "hydraulic_oil_low"),
    ("log_splitter", "vibrates", "forced", "yes", "wedge_cracked"),
    ("mower_ride_on", "vibrates", "hit_object", "yes", "blade_bent"),
    ("mower_ride_on", "starter_locked", "battery_care", "older_than_four_years", "battery_failed"),
    ("tiller_front_tine", "no_tine_drive", "hit_object", "yes", "drive_pin_sheared"),
    ("chipper_shredder", "vibrates", "hit_object", "yes", "knife_loose"),
]


@pytest.mark.parametrize("class_id", CLASSES)
def test_what_a_class_must_hold(class_id: str) -> None:
    c = machine_class(class_id)
    assert set(c.complaints) >= OWN[class_id] | {"leaks_fuel", "engine_does_not_stop"}
    assert set(c.holds) >= HOLDS[class_id] | {"fuel_leak", "governor_tampered", "engine_does_not_stop", "vibration"}
    caution, words = CAUTIONS[class_id]
    assert caution in c.about.cautions
    assert [w for w in words if w not in c.cautions[caution].text] == []


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_live_work_is_cautioned(class_id: str) -> None:
    """A check for which the engine runs tells of its exhaust or of what moves and is under pressure."""
    c = machine_class(class_id)
    for i, check in c.checks.items():
        if check.running:
            assert check.cautions, i


@pytest.mark.parametrize(("class_id", "complaint", "fact", "level", "fault"), RAISED)
def test_history_makes_its_fault_likelier(class_id: str, complaint: str, fact: str, level: str, fault: str) -> None:
    levels = machine_class(class_id).facts[fact].levels
    other = next(x for x in levels if x != level)
    told = believed(base(class_id, complaints=[complaint], history={fact: level}))
    denied = believed(base(class_id, complaints=[complaint], history={fact: other}))
    assert told[fault] > 1.5 * denied[fault]


def test_with_the_pump_off_a_seized_pump_is_told_from_a_seized_engine() -> None:
    free = {"check": "drive_off_pull", "outcome": "free"}
    after = believed(base("pressure_washer", complaints=["starter_locked"], findings=[free]))
    assert after["pump_seized"] > 10 * after.get("rod_galled", 0.0)


def test_trapped_pressure_is_told_by_the_trigger() -> None:
    seen = {"check": "trigger_pull", "outcome": "pulls_free"}
    after = believed(base("pressure_washer", complaints=["pulls_hard"], findings=[seen]))
    assert after["unloader_traps"] > 0.8


def test_a_frequency_in_range_clears_the_governor_of_low_voltage() -> None:
    seen = {"check": "frequency_read", "outcome": "in_range"}
    before = believed(base("generator_portable", complaints=["low_output"]))
    after = believed(base("generator_portable", complaints=["low_output"], findings=[seen]))
    assert after["governor_linkage"] < before["governor_linkage"] / 3


def test_a_hand_that_turns_the_engine_leaves_battery_and_starter() -> None:
    seen = {"check": "plug_out_pull", "outcome": "free"}
    after = believed(base("mower_ride_on", complaints=["starter_locked"], findings=[seen]))
    assert after["battery_failed"] > 10 * after.get("rod_galled", 0.0)
