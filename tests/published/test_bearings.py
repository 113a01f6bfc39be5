"""The bearing table held equal to what was copied, both ways. Sources: in the figure files beside this module."""

from __future__ import annotations

from fractions import Fraction

import pytest

from econ.bearing_sizes import CLOSED_UNKNOWN, INCH, METRIC, OTHER_NAMES, SIZES, inches
from econ.bearing_suffixes import SUFFIXES, read_designation
from econ.bearings import by_size, find_bearing
from econ.calliper import Measure, Measured

from .figures import load

BOUNDARY = load("bearings_boundary")
METRIC_ROWS = {n: r for rows in BOUNDARY["values"].values() for n, r in rows.items()}
R_ROWS = BOUNDARY["inch_r_series"]["values"]
ROWS_1600 = load("bearing_inch_1600")["values"]
CLOSED = BOUNDARY["inch_r_series"]["closed_width"]["values"]
METRIC_CLOSED = BOUNDARY["metric_closed_width"]["values"]
TWINS = {"1604": ["R6"]}  # R6 with seals or shields


def fraction(text: object) -> Fraction:
    """Return ``1-3/8`` as a number, as the catalogue writes it."""
    return sum((Fraction(x) for x in str(text).replace("-", " ").split()), Fraction(0))


ROWS = (
    {n: (r["d"], r["D"], r["B"]) for n, r in METRIC_ROWS.items()}
    | {n: tuple(r[x] * INCH for x in ("d", "D", "B")) for n, r in R_ROWS.items()}
    | {n: tuple(float(fraction(r[x])) * INCH for x in ("d", "D", "B")) for n, r in ROWS_1600.items()}
)


def test_the_table_holds_these_sizes_and_no_others() -> None:
    own = {s.designation: (s.bore, s.outside, s.width) for s in SIZES if not s.closed and not s.bore_inches}
    assert own.keys() == ROWS.keys()
    for name, row in ROWS.items():
        assert own[name] == pytest.approx(row, abs=1e-9), name


def test_inches_and_millimetres_of_the_sources_agree_with_the_table() -> None:
    for rows in (R_ROWS, ROWS_1600):
        for name, row in rows.items():
            size = read_designation(name).size
            printed = (row["d_mm"], row["D_mm"], row["B_mm"])
            assert (size.bore, size.outside, size.width) == pytest.approx(printed, abs=6e-4), name
            written = [inches(x) for x in size.inches.removesuffix(" in").split(" x ")]
            assert [float(x) for x in written] == pytest.approx([float(fraction(row[x])) for x in ("d", "D", "B")])


def test_closed_versions_of_the_r_series() -> None:
    """Four decimals are printed: 0.2812 is 9/32."""
    wide = {s.designation: s.width / INCH for s in SIZES if s.closed and s.inches}
    assert wide == pytest.approx({n: r["closed"] for n, r in CLOSED.items() if r["closed"] != r["open"]}, abs=6e-5)
    from_memory = BOUNDARY["inch_r_series"]["shielded_width_in_from_memory"]
    assert {n: wide[n] for n in from_memory} == pytest.approx(from_memory)
    for name, row in CLOSED.items():
        is_open, closed = (read_designation(x).size for x in (name, f"{name}ZZ"))
        assert [is_open.width / INCH, closed.width / INCH] == pytest.approx([row["open"], row["closed"]], abs=6e-5)
        assert [x / INCH for x in (closed.bore, closed.outside)] == pytest.approx([row["d"], row["D"]])
        assert float(inches(closed.inches.removesuffix(" in").split(" x ")[2])) * INCH == pytest.approx(closed.width)
    assert R_ROWS.keys() - CLOSED.keys() == CLOSED_UNKNOWN


def test_closed_versions_of_metric_sizes() -> None:
    assert {s.designation: s.width for s in SIZES if s.closed and not s.inches} == METRIC_CLOSED
    for name, width in METRIC_CLOSED.items():
        is_open, closed = (read_designation(x).size for x in (name, f"{name}-2Z"))
        assert (closed.bore, closed.outside, closed.width) == (is_open.bore, is_open.outside, width)
        assert closed.width > is_open.width == METRIC_ROWS[name]["B"]


def test_sizes_outside_the_table_are_said_to_be() -> None:
    """A repairer's calliper says whole millimetres, or tenths."""
    for name, row in BOUNDARY["outside_the_table"]["values"].items():
        for form in "{d}x{D}x{B}", "{d}.0x{D}.0x{B}.0":
            b = find_bearing(form.format(**row))
            assert not b.clear, name
            assert b.headline.startswith("No bearing of this table has the size "), name
            assert {c.fit for c in b.candidates} == {"nearest"}


@pytest.mark.parametrize("name", ROWS)
def test_both_ways(name: str) -> None:
    size = read_designation(name).size
    assert (size.designation, size.bore, size.outside, size.width) == (name, *map(pytest.approx, ROWS[name]))
    found = by_size(Measured(name, *(Measure(x) for x in ROWS[name])), 0.0)
    assert (found.candidates[0].designation, found.candidates[0].fit) == (name, "as_measured")
    assert [c.designation for c in found.candidates if c.fit == "as_measured"] == [name, *TWINS.get(name, ())]


def test_bore_codes() -> None:
    """Rule: 00, 01, 02, 03 are 10, 12, 15, 17 mm, from 04 on five times the code; of three digits the last is it.

    So is what stands behind a stroke.
    """
    for name, row in METRIC_ROWS.items():
        code = int(name[2:].removeprefix("/"))
        plain = len(name) == 3 or "/" in name
        assert row["d"] == (code if plain else {0: 10, 1: 12, 2: 15, 3: 17}.get(code, 5 * code)), name


def test_dimension_series() -> None:
    said = BOUNDARY["rules"]["series_to_iso_dimension_series"]
    assert {series: iso for series, iso, _ in METRIC} == {k.partition("/")[0]: v for k, v in said.items()}
    assert {n: x for n, x in OTHER_NAMES.items() if n in ("61803", "61912")} == {"61803": "6803", "61912": "6912"}
    assert {n for n, x in OTHER_NAMES.items() if x in METRIC_CLOSED} == {f"618/{x}" for x in range(4, 10)}
    assert {n: x for n, x in OTHER_NAMES.items() if n in ("618/8", "619/8")} == {"618/8": "688", "619/8": "698"}
    assert read_designation("61808").size.outside == BOUNDARY["known_bad_rows"][0]["correct_D"]


def test_suffixes_never_change_a_metric_size() -> None:
    for name in METRIC_ROWS.keys() - METRIC_CLOSED.keys():
        plain = read_designation(name).size
        assert all(read_designation(f"{name}-{code}").size == plain for code in SUFFIXES)


@pytest.mark.parametrize(("code", "said"), [
    ("Z", "a metal shield on one side"), ("ZZ", "metal shields on both sides"), ("2Z", "metal shields on both sides"),
    ("RS", "a contact seal on one side"), ("RS1", "a contact seal on one side"), ("2RS", "contact seals on both sides"),
    ("2RS1", "contact seals on both sides"), ("2RZ", "seals on both sides that do not touch the inner ring"),
    ("N", "a groove for a snap ring in the outer ring"),
    ("NR", "a groove for a snap ring in the outer ring, with the ring"),
    ("C2", "less clearance inside than normal"), ("CN", "normal clearance inside"),
    ("C3", "more clearance inside than normal"), ("C4", "more clearance inside than C3"),
])  # fmt: skip
def test_what_suffixes_mean(code: str, said: str) -> None:
    listed = {x for key in BOUNDARY["suffixes"]["values"] for x in key.replace(",", " or ").split() if x != "or"}
    assert code in listed
    assert said in {s.meaning for s in read_designation(f"6203-{code}").suffixes}
