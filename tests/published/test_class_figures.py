"""Figures of the rulebooks that name a published source, against that source."""

from __future__ import annotations

import pytest

from ..strategies import machine_class
from .figures import entry, load

ACTIVITY = load("epa_activity")
ROWS = ACTIVITY["values"]
HOURS = load("cfr_1054_107")["values"]

# Use of a class, and the row of the activity file it is taken from: equipment, its use, least horsepower.
TAKEN_FROM = {
    ("generator_portable", "commercial"): ("generator_set", "light_commercial", 6),
    ("pressure_washer", "commercial"): ("pressure_washer", "light_commercial", 3),
    ("water_pump", "commercial"): ("pump", "light_commercial", 3),
    ("mower_ride_on", "residential"): ("lawn_garden_tractor", "residential", 11),
    ("mower_ride_on", "commercial"): ("lawn_garden_tractor", "commercial", 11),
    ("tiller_front_tine", "residential"): ("rotary_tiller_under_6hp", "residential", 3),
    ("tiller_front_tine", "commercial"): ("rotary_tiller_under_6hp", "commercial", 3),
    ("chipper_shredder", "commercial"): ("shredder_under_6hp", "commercial", 3),
}
USEFUL_LIFE = {
    ("generator_portable", "residential"): ("II", "extended_or_general_purpose"),
    ("generator_portable", "commercial"): ("II", "commercial"),
    ("pressure_washer", "residential"): ("I", "residential"),
    ("pressure_washer", "commercial"): ("I", "commercial"),
    ("water_pump", "residential"): ("I", "extended_or_general_purpose"),
    ("water_pump", "commercial"): ("I", "commercial"),
    ("mower_ride_on", "residential"): ("II", "extended_or_general_purpose"),
    ("log_splitter", "commercial"): ("II", "commercial"),
    ("chipper_shredder", "residential"): ("I", "extended_or_general_purpose"),
    ("chipper_shredder", "commercial"): ("I", "commercial"),
}


@pytest.mark.parametrize(("of", "row"), TAKEN_FROM.items(), ids=[f"{i}-{use}" for i, use in TAKEN_FROM])
def test_hours_and_median_of_the_activity_file(of: tuple[str, str], row: tuple[str, str, int]) -> None:
    life = machine_class(of[0]).life[of[1]]
    (found,) = (
        r for r in ROWS if (r["equipment"], r["use"], r["hp_min"]) == row and r["engine"] == "4-stroke"
    )  # fmt: skip
    assert life.hours_per_year == found["hours_per_year"]
    assert life.epa_median_years == pytest.approx(found["implied_median_years"], abs=0.0051)
    for figure in (found["median_life_h_full_load"], found["hours_per_year"], found["load_factor"]):
        assert f"{figure:g} " in life.epa_source or f"{figure:g})" in life.epa_source


def test_hours_of_a_wood_splitter() -> None:
    """The activity file has one figure for both uses and no machines of either."""
    hours = {r["use"]: r["hours_per_year"] for r in ACTIVITY["activity_without_population"] if "wood" in r["equipment"]}
    life = machine_class("log_splitter").life
    assert life["commercial"].hours_per_year == hours["commercial"] == hours["residential"]
    assert f"{hours['residential']:g} h" in life["residential"].hours_per_year_source


@pytest.mark.parametrize(("of", "row"), USEFUL_LIFE.items(), ids=[f"{i}-{use}" for i, use in USEFUL_LIFE])
def test_median_hours_are_the_nominal_useful_life(of: tuple[str, str], row: tuple[str, str]) -> None:
    life = machine_class(of[0]).life[of[1]]
    assert life.median_hours == HOURS[f"nonhandheld_class_{row[0]}_h"][row[1]]
    assert f"class {row[0]}," in life.median_hours_source


@pytest.mark.parametrize("of", [i for i in TAKEN_FROM if i not in USEFUL_LIFE], ids="-".join)
def test_other_median_hours_lie_above_those_of_the_activity_file(of: tuple[str, str]) -> None:
    """Machines scrapped for any reason are counted there; those worth mending last longer."""
    found = next(r for r in ROWS if (r["equipment"], r["use"], r["hp_min"]) == TAKEN_FROM[of])
    assert machine_class(of[0]).life[of[1]].median_hours > found["implied_median_operating_hours"]


def test_a_generator_turns_as_fast_as_its_frequency() -> None:
    """120 f / poles; without load a governor lets it run up to 63 Hz (common practice)."""
    rpm = entry("safety", "generator_speed")["values"]["rpm"]
    assert (rpm["60Hz_2pole"], rpm["50Hz_2pole"]) == (120 * 60 / 2, 120 * 50 / 2)
    limit = machine_class("generator_portable").release_checks["governed_speed"]
    assert limit.limit == 120 * 63 / 2
    assert f"{120 * 52.5 / 2:g}" in limit.how


def test_the_exhaust_of_a_generator() -> None:
    text = machine_class("generator_portable").cautions["generator_exhaust"].text
    assert f"{entry('safety', 'generator_distance')['values']['min_distance_ft']} ft" in text
    for word in ("outdoors only", "kills in minutes", "garage", "doors, windows and vents"):
        assert word in text


def test_walk_behind_blades_stop_sooner_than_those_of_a_ride_on() -> None:
    most = entry("safety", "mower_blade_stop")["values"]["walk_behind_max_stop_s"]
    assert machine_class("mower_walk_behind").release_checks["blade_stop"].limit == most
    assert machine_class("mower_ride_on").release_checks["blade_stop"].limit == 5.0
    assert "from memory" in machine_class("mower_ride_on").release_checks["blade_stop"].source
