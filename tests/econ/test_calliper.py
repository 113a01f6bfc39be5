"""What people write for what they measured, read as they mean it, or refused with all its faults."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from econ.bearing_sizes import INCH
from econ.bearing_suffixes import size_named
from econ.bearings import find_bearing
from econ.calliper import is_size, mm, read_size, read_tolerance
from econ.problems import BadInput

from .bearing_answers import answer


@pytest.mark.parametrize(("text", "expected"), [
    ("17 x 40 x 12 mm", (17, 40, 12)), ("17*40*12", (17, 40, 12)), ("17×40×12", (17, 40, 12)),
    ("17X40X12MM", (17, 40, 12)),
    ("17 by 40 by 12", (17, 40, 12)), ("16,9 x 39,8 x 12,1", (16.9, 39.8, 12.1)), ("17mmx40mmx12mm", (17, 40, 12)),
    ("17x40x?", (17, 40, None)), ("17x40", (17, 40, None)), ("?x40x12", (None, 40, 12)), (".5 x 1.125 x .25 in", "R8"),
    ("3/4 x 1 3/4 x 1/2 in", "1635"), ("3/4x1-3/4x1/2", "1635"), ("0.75x1.75x0.5in", "1635"),
    ("¾ x 1¾ x ½ inch", "1635"),
    ('3/4" x 1 3/4" x 1/2"', "1635"), ("3/4″×1 3/4″×1/2″", "1635"), ("3/4''x1 3/4''x1/2''", "1635"),
    ("3/4x2x9/16", "1638"), ("1x2x3/8in", "R16"), ("25.4mm x 2in x 9/16in", "1641"), ("1 in x 2 x 9/16", "1641"),
])  # fmt: skip
def test_sizes_are_read_as_people_write_them(text, expected):
    size = size_named(expected) if isinstance(expected, str) else None
    wanted = (size.bore, size.outside, size.width) if size else expected
    assert [x.mm for x in read_size(text).each()] == [None if x is None else pytest.approx(x) for x in wanted]
    assert is_size(text)


def test_how_far_rounding_may_have_moved_a_figure():
    assert [x.step for x in read_size("17x39.8x12.05").each()] == [0.5, 0.05, pytest.approx(0.005)]
    steps = [x.step for x in read_size("3/4 x 1.75 x 1 in").each()]
    assert steps == [INCH / 128, pytest.approx(0.005 * INCH), INCH / 128]
    assert read_size("0.8x1.8x0.5in").bore.step == 0.5


FAULTS = [
    ("", {"size"}), ("nonsense", {"size"}), ("17", {"size"}), ("17x40x12x3", {"size"}), ("17 40 12", {"size"}),
    ("?x?x12", {"size"}), ("x" * 200, {"size"}), ("axbxc", {"size.bore", "size.outside", "size.width"}),
    ("0x-4x1.2.3", {"size.bore", "size.outside", "size.width"}), ("40x17x12", {"size.bore"}),
    ("17x17x12", {"size.bore"}),
    ("12x17x40", {"size.width"}), ("5/8x40x12", {"size.outside"}), ("1/0x40x12", {"size.bore"}),
    ("17x4000x12", {"size.outside"}),
    ("3/4mmx40x12", {"size.bore"}), ("17xx12", {"size.outside"}),
    ("nanxinfx1e5", {"size.bore", "size.outside", "size.width"}),
    ("17kgx40x12", {"size.bore"}), ("0.1x40x900", {"size.bore", "size.width"}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "paths"), FAULTS)
def test_all_that_is_wrong_with_a_size_is_said_at_once(text, paths):
    with pytest.raises(BadInput) as refused:
        read_size(text)
    found = [p.path for p in refused.value.problems]
    assert set(found) == paths
    assert found == [p for p in ("size", "size.bore", "size.outside", "size.width") if p in paths], "in reading order"


@pytest.mark.parametrize("text", ["", "-0.1", "1.01", "nan", "inf", "a", "0_1", "1/2", "9" * 200])
def test_tolerances_are_checked(text):
    with pytest.raises(BadInput, match="tolerance"):
        read_tolerance(text)
    assert read_tolerance("0,2") == read_tolerance(" 0.2") == 0.2


def test_faults_of_all_parts_are_said_together():
    def paths(*args):
        with pytest.raises(BadInput) as refused:
            find_bearing(*args)
        return [p.path for p in refused.value.problems]

    assert paths("17x0x12", None, "7") == ["size.outside", "tolerance"]
    assert paths() == ["size"]
    assert paths("17x40x12", "6203") == ["size"]
    assert paths(None, "6203", "0.2") == ["tolerance"]
    assert paths(None, "bogus", "0.2") == ["tolerance", "designation"]


TEXTS = st.one_of(st.text(max_size=30), st.text("0123456789x*×/.,-+? mminRSZC\"'½", max_size=30))


@settings(deadline=None)
@given(TEXTS)
@example("1½x2x9/16")
@example("0" * 40 + "/1x2x1in")
def test_any_text_is_answered_or_refused_with_reasons(text):
    for name in ("size", "designation"):
        b, problems = answer(**{name: text})
        assert problems if b is None else b.candidates and b.headline.endswith(".")
        assert all(len(p.sentence()) < 500 for p in problems)
    assert is_size(text) in (True, False)


def test_millimetres_are_short():
    assert [mm(x) for x in (17.0, 14.2875, 0.1, 28.575)] == ["17", "14.288", "0.1", "28.575"]
