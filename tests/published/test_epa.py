"""The EPA's scrappage curve and median lives: NR-007c and the NONROAD2008a default files."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from econ.life import EPA_LONGEST_MEDIAN_YEARS, epa_median_years, epa_percent_scrapped

from ..strategies import CLASS_IDS, machine_class
from .figures import load

SCRAPPAGE = load("epa_scrappage")
CURVE = np.array(SCRAPPAGE["values"]["curve"])
RUNS = SCRAPPAGE["worked_runs"]["runs"]
# The last term is binary rounding alone: several printed points lie at exactly the stated distance.
WHOLE_PERCENT = SCRAPPAGE["closed_form"]["max_abs_error_in_x_at_whole_percent"] + 1e-12
# Half-percent points of the table are midpoints of a chord; the cubic departs from it by at most 3 u h^2 with
# u <= 1 and h = 0.01 (a step of half a percent is 0.01 in u).
HALF_PERCENT = WHOLE_PERCENT + 3 * 0.01**2


def x_at(percent: float) -> float:
    """Invert the curve by root finding, not by its formula."""
    return float(brentq(lambda x: float(epa_percent_scrapped(x)) - percent, 0.0, 2.0, xtol=1e-14))


@pytest.mark.parametrize(("x", "percent"), [row for row in CURVE.tolist() if row[1] == int(row[1])])
def test_whole_percent_points_of_the_table(x: float, percent: float) -> None:
    assert x_at(percent) == pytest.approx(x, abs=WHOLE_PERCENT)


@pytest.mark.parametrize(("x", "percent"), [row for row in CURVE.tolist() if row[1] != int(row[1])])
def test_half_percent_points_of_the_table(x: float, percent: float) -> None:
    assert x_at(percent) == pytest.approx(x, abs=HALF_PERCENT)


@pytest.mark.parametrize("run", RUNS, ids=lambda run: run["case"])
def test_median_years_of_the_worked_runs(run: dict) -> None:
    years = epa_median_years(run["median_life_h"], run["load_factor"], run["hours_per_year"])
    assert years == pytest.approx(run["median_life_years"], abs=5e-7)


@pytest.mark.parametrize("run", RUNS, ids=lambda run: run["case"])
def test_percent_scrapped_of_the_worked_runs(run: dict) -> None:
    """The model steps down to a row of its table; the closed form lies between that row and the next."""
    printed = np.array(run["percent_scrapped_by_age"])
    years = epa_median_years(run["median_life_h"], run["load_factor"], run["hours_per_year"])
    x = np.arange(len(printed)) / years
    row = np.searchsorted(CURVE[:, 0], x, side="right") - 1
    assert CURVE[row, 1].tolist() == printed.tolist()
    next_row = CURVE[np.minimum(row + 1, len(CURVE) - 1), 1]
    assert (epa_percent_scrapped(x + HALF_PERCENT) >= printed).all()
    assert (epa_percent_scrapped(np.maximum(x - HALF_PERCENT, 0.0)) <= next_row).all()


@pytest.mark.parametrize(
    "row", load("epa_activity")["values"], ids=lambda r: f"{r['equipment']}-{r['use']}-{r['hp_min']}hp"
)
def test_median_years_of_the_activity_file(row: dict) -> None:
    years = epa_median_years(row["median_life_h_full_load"], row["load_factor"], row["hours_per_year"])
    assert years == pytest.approx(min(row["implied_median_years"], EPA_LONGEST_MEDIAN_YEARS), abs=5e-5)


ROWS = {
    "chain_saw": ("chainsaw_under_6hp", "2-stroke", 1),
    "chipper_shredder": ("shredder_under_6hp", "4-stroke", 3),
    "generator_portable": ("generator_set", "4-stroke", 6),
    "leaf_blower": ("leaf_blower_vacuum", "2-stroke", 1),
    "mower_blade_clutch": ("lawn_mower", "4-stroke", 3),
    "mower_ride_on": ("lawn_garden_tractor", "4-stroke", 11),
    "mower_walk_behind": ("lawn_mower", "4-stroke", 3),
    "pressure_washer": ("pressure_washer", "4-stroke", 3),
    "snow_thrower_single_stage": ("snowblower", "2-stroke", 3),
    "snow_thrower_two_stage": ("snowblower", "4-stroke", 6),
    "string_trimmer": ("trimmer_edger_brushcutter", "2-stroke", 1),
    "tiller_front_tine": ("rotary_tiller_under_6hp", "4-stroke", 3),
    "tiller_rear_tine": ("rotary_tiller_under_6hp", "4-stroke", 3),
    "water_pump": ("pump", "4-stroke", 3),
}
LIVES = [(i, use) for i in ROWS for use in machine_class(i).life]


def activity(class_id: str, use: str) -> list[dict]:
    """Return the rows of the activity file for a use of a class; commercial may be light commercial there."""
    uses = ("commercial", "light_commercial") if use == "commercial" else (use,)
    return [
        r
        for r in load("epa_activity")["values"]
        if (r["equipment"], r["engine"], r["hp_min"]) == ROWS[class_id] and r["use"] in uses
    ]


@pytest.mark.parametrize(
    ("class_id", "use"), [(i, use) for i, use in LIVES if machine_class(i).life[use].epa_median_years]
)
def test_a_class_says_what_the_activity_file_says(class_id: str, use: str) -> None:
    (row,) = activity(class_id, use)
    life = machine_class(class_id).life[use]
    assert life.hours_per_year == row["hours_per_year"]
    assert life.epa_median_years == pytest.approx(row["implied_median_years"], abs=0.0051)
    told = f"{row['median_life_h_full_load']:g} h at full load / ({row['hours_per_year']:g} h x {row['load_factor']:g})"
    assert told in life.epa_source
    assert life.median_hours > row["implied_median_operating_hours"]  # scrapped for any reason: the pessimistic bound


@pytest.mark.parametrize(
    ("class_id", "use"), [(i, use) for i, use in LIVES if not machine_class(i).life[use].epa_median_years]
)
def test_a_use_without_a_median_has_no_row_and_says_so(class_id: str, use: str) -> None:
    assert activity(class_id, use) == []
    assert f"no {use} median" in machine_class(class_id).life[use].epa_source


def test_every_class_that_states_a_median_of_the_activity_file_is_compared() -> None:
    assert {i for i in CLASS_IDS for life in machine_class(i).life.values() if life.epa_median_years} == set(ROWS)


def test_hours_of_a_wood_splitter() -> None:
    """The activity file has one figure for both uses, and no machines of either from which a median would come."""
    rows = load("epa_activity")["activity_without_population"]
    hours = {r["use"]: r["hours_per_year"] for r in rows if r["equipment"] == "wood_splitter"}
    life = machine_class("log_splitter").life
    assert life["commercial"].hours_per_year == hours["commercial"] == hours["residential"]
    assert f"{hours['residential']:g} h" in life["residential"].hours_per_year_source


def test_curve_is_held_between_none_and_all() -> None:
    assert epa_percent_scrapped([0.0, 1.0, 2.0, 40.0]).tolist() == [0.0, 50.0, 100.0, 100.0]
    with pytest.raises(ValueError, match=r"fraction_of_median_life: got -0\.1"):
        epa_percent_scrapped([0.5, -0.1])
