"""Figures in the rulebooks beside the sources they name."""

from __future__ import annotations

import pytest

from ..strategies import CLASS_IDS, machine_class
from .figures import entry, load

SNOW_THROWERS = [i for i in CLASS_IDS if "auger_stop" in machine_class(i).release_checks]
TWO_STROKE = [i for i in CLASS_IDS if "compression" in machine_class(i).checks]


@pytest.mark.parametrize("class_id", SNOW_THROWERS)
def test_auger_stop_time(class_id: str) -> None:
    c = machine_class(class_id)
    check = c.release_checks["auger_stop"]
    assert check.limit == entry("rulebook_figures", "snow_thrower_control_stop")["values"]["max_stop_s"]
    assert (check.unit, check.at_most) == ("s", True)
    assert "auger_stop" in c.about.release_checks
    assert f"within {check.limit:g} s" in c.holds["auger_does_not_stop"].why


@pytest.mark.parametrize("class_id", SNOW_THROWERS)
def test_clearing_a_snow_thrower(class_id: str) -> None:
    c = machine_class(class_id)
    assert len(entry("rulebook_figures", "snow_thrower_clearing")["values"]["steps"]) == 4
    for words in ("engine off", "all parts stand still", "lead off", "with a stick, never a hand"):
        assert words in c.cautions["auger"].text


def test_chain_brake() -> None:
    """Required since 1995 and never to be disabled: a hold that a job on the brake clears, and a test at the end."""
    assert entry("rulebook_figures", "chainsaw_brake")["values"]["chain_brake_required"]
    assert entry("rulebook_figures", "drop_start")["values"]["drop_start_allowed"] is False
    c = machine_class("chain_saw")
    assert not c.holds["chain_brake"].by_cause
    assert "chain_brake_works" in c.about.release_checks
    assert "never by dropping it" in c.cautions["kickback"].text


@pytest.mark.parametrize("class_id", TWO_STROKE)
def test_compression_bands(class_id: str) -> None:
    values = entry("rulebook_figures", "two_stroke_compression")["values"]
    reading = machine_class(class_id).checks["compression"].reading
    assert reading is not None
    assert reading.unit == "psi"
    assert reading.falling
    assert list(reading.bands) == values["marginal_psi"][::-1]
    assert reading.bands == (values["good_psi"][0], values["will_not_run_below_psi"])


CLASS_I, CLASS_II, HANDHELD = "nonhandheld_class_I_h", "nonhandheld_class_II_h", "handheld_class_III_to_V_h"
TOLD = {CLASS_I: "non-handheld class I,", CLASS_II: "non-handheld class II,", HANDHELD: "handheld class III to V,"}


@pytest.mark.parametrize(
    ("class_id", "use", "engine", "category"),
    [
        ("chain_saw", "residential", HANDHELD, "medium"),
        ("leaf_blower", "residential", HANDHELD, "medium"),
        ("string_trimmer", "residential", HANDHELD, "medium"),
        ("snow_thrower_single_stage", "residential", CLASS_I, "residential"),
        ("mower_walk_behind", "residential", CLASS_I, "extended_or_general_purpose"),
        ("mower_blade_clutch", "residential", CLASS_I, "extended_or_general_purpose"),
        ("tiller_rear_tine", "residential", CLASS_I, "extended_or_general_purpose"),
        ("mower_ride_on", "residential", CLASS_II, "extended_or_general_purpose"),
        ("generator_portable", "residential", CLASS_II, "extended_or_general_purpose"),
        ("generator_portable", "commercial", CLASS_II, "commercial"),
        ("pressure_washer", "residential", CLASS_I, "residential"),
        ("pressure_washer", "commercial", CLASS_I, "commercial"),
        ("water_pump", "residential", CLASS_I, "extended_or_general_purpose"),
        ("water_pump", "commercial", CLASS_I, "commercial"),
        ("log_splitter", "commercial", CLASS_II, "commercial"),
        ("chipper_shredder", "residential", CLASS_I, "extended_or_general_purpose"),
        ("chipper_shredder", "commercial", CLASS_I, "commercial"),
    ],
)
def test_median_life_is_the_useful_life(class_id: str, use: str, engine: str, category: str) -> None:
    """40 CFR 1054.107 Table 1."""
    life = machine_class(class_id).life[use]
    assert life.median_hours == load("cfr_1054_107")["values"][engine][category]
    assert f"40 CFR 1054.107 Table 1, {TOLD[engine]} {category.split('_')[0]}" in life.median_hours_source


def test_a_generator_turns_as_fast_as_its_frequency() -> None:
    """120 f / poles; without load a governor lets it run up to 63 Hz (common practice)."""
    rpm = entry("rulebook_figures", "generator_speed")["values"]["rpm"]
    assert (rpm["60Hz_2pole"], rpm["50Hz_2pole"]) == (120 * 60 / 2, 120 * 50 / 2)
    limit = machine_class("generator_portable").release_checks["governed_speed"]
    assert limit.limit == 120 * 63 / 2
    assert f"{120 * 52.5 / 2:g}" in limit.how


def test_the_exhaust_of_a_generator() -> None:
    text = machine_class("generator_portable").cautions["generator_exhaust"].text
    assert f"{entry('rulebook_figures', 'generator_distance')['values']['min_distance_ft']} ft" in text
    assert len(entry("rulebook_figures", "generator_co_label")["values"]["themes"]) == 4
    for words in ("outdoors only", "kills in minutes", "garage", "doors, windows and vents"):
        assert words in text


def test_walk_behind_blades_stop_sooner_than_those_of_a_ride_on() -> None:
    most = entry("rulebook_figures", "mower_blade_stop")["values"]["walk_behind_max_stop_s"]
    for class_id in ("mower_walk_behind", "mower_blade_clutch"):
        assert machine_class(class_id).release_checks["blade_stop"].limit == most
    ride_on = machine_class("mower_ride_on").release_checks["blade_stop"]
    assert ride_on.limit == 5.0
    assert "from memory" in ride_on.source
