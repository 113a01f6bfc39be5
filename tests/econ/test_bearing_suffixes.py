"""Designations as they stand on bearings and in price lists."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from econ.bearing_sizes import INCH, SIZES, with_bore
from econ.bearing_suffixes import SUFFIXES, read_designation, size_named
from econ.bearings import find_bearing
from econ.calliper import is_size
from econ.problems import BadInput

from .bearing_answers import answer

ROW = st.integers(0, len(SIZES) - 1)


@pytest.mark.parametrize(("text", "name", "codes"), [
    ("6203", "6203", [""]), ("6203-2RS", "6203", ["2RS"]), ("6203 ZZ C3", "6203", ["ZZ", "C3"]),
    ("6203-2Z", "6203", ["2Z"]),
    ("R8-2RS", "R8", ["2RS"]), ("62032RSC3", "6203", ["2RS", "C3"]), ("6203.2RSR.C3", "6203", ["2RSR", "C3"]),
    ("6203/2rs1/c3", "6203", ["2RS1", "C3"]), ("608zz", "608", ["ZZ"]), ("6082Z", "608", ["2Z"]),
    ("r82rs", "R8", ["2RS"]),
    ("61903-2RS", "6903", ["2RS"]), ("6204ZNR", "6204", ["Z", "NR"]), ("6204-RSN C3", "6204", ["RS", "N", "C3"]),
    ("S6203-2RS", "6203", ["S", "2RS"]), ("SSR8ZZ", "R8", ["SS", "ZZ"]), ("6203-Z-RS", "6203", ["Z", "RS"]),
    ("688-2Z", "688", ["2Z"]), ("6882RS", "688", ["2RS"]), ("619/8-2Z", "698", ["2Z"]), ("618/5", "685", [""]),
    ("62/22-2RS", "62/22", ["2RS"]), ("60/22ZZ C3", "60/22", ["ZZ", "C3"]), ("62/222RS", "62/22", ["2RS"]),
    ("1635-2RS", "1635", ["2RS"]), ("6203-2RS-5/8", "6203", ["2RS", "5/8"]), ("6203-QQ7", "6203", ["QQ7"]),
])  # fmt: skip
def test_designations_are_read_as_they_are_written(text, name, codes):
    named = read_designation(text)
    assert named.size.designation == name
    assert [s.code for s in named.suffixes] == codes
    assert not is_size(text)


def test_a_suffix_may_change_the_size():
    assert read_designation("R8").size.width == pytest.approx(INCH / 4)
    assert read_designation("R8-2RS").size.width == pytest.approx(INCH * 5 / 16)
    assert find_bearing(designation="R6-ZZ").notes
    assert not find_bearing(designation="R6").notes
    bored = read_designation("6203-2RS 5/8").size
    assert bored == with_bore(size_named("6203"), "5/8")
    assert find_bearing(designation="6203-2RS 5/8").candidates[0].bore == 15.875
    assert "QQ7: not in general use, ask the seller" in find_bearing(designation="6203-QQ7").headline


def test_the_width_of_a_closed_bearing_is_not_that_of_the_open_one():
    """The headline says so where the closed one's is not in the table, or an unknown suffix may say closed."""
    said = "this width is that of the open one, and one with seals or shields is often wider: measure it"
    assert find_bearing(designation="R6ZZ").headline.startswith("R6ZZ: 3/8 x 7/8 x 9/32 in (")
    assert find_bearing(designation="R6-2RS").candidates[0].width == pytest.approx(7.1438, abs=1e-4)
    assert find_bearing(designation="R6-2RS").candidates[0].source.endswith("from a trade catalogue")
    for text in ("R22ZZ", "R24-RS", "R22-QQ7", "R8-QQ7", "688-QQ7"):
        b = find_bearing(designation=text)
        assert said in b.headline, text
        assert not b.candidates[0].closed
    for text in ("R22", "R8", "R8ZZ", "R2ZZ", "R8-ZZ-QQ7", "688", "688-2Z", "6203-QQ7", "1604-2RS"):
        assert said not in find_bearing(designation=text).headline, text
    (note,) = find_bearing(designation="R22-ZZ").notes
    assert "the width of R22 with seals or shields is not in this table: measure it" in note
    assert find_bearing("34.925x63.5x11.113").notes == (note,)


@pytest.mark.parametrize(("text", "two"), [
    ("6203-2RS 6204", "6203 and 6204"), ("6203 6203", "6203 and 6203"), ("6203-2RS/61903", "6203 and 61903"),
    ("R8 R10-2RS", "R8 and R10"), ("608ZZ,62/22", "608 and 62/22"), ("6203 6403", "6203 and 6403"),
    ("6203-2RS 16002", "6203 and 16002"), ("1635 R8", "1635 and R8"),
])  # fmt: skip
def test_two_designations_are_no_suffix(text, two):
    with pytest.raises(BadInput) as refused:
        read_designation(text)
    (problem,) = refused.value.problems
    assert (problem.path, problem.value) == ("designation", f'"{text}"')
    assert problem.rule == f"there are two designations here, {two}, and one is read at a time"


@pytest.mark.parametrize(("text", "begins"), [
    ("683", "683"), ("6999-2RS", "6999"), ("62/24ZZ", "62"), ("62/24", "62/24"), ("6999/2RS", "6999"), ("R7", "R7"),
])  # fmt: skip
def test_a_number_outside_the_table_gets_no_other_one_for_it(text, begins):
    """One figure apart is another bearing: 688 is no 6808."""
    with pytest.raises(BadInput) as refused:
        read_designation(text)
    (problem,) = refused.value.problems
    assert problem.value == f'"{begins}"'
    assert "which holds only some of" in problem.rule
    assert problem.remedy == "look at the number again, or measure it: bore x outside x width, such as 17x40x12"


@settings(deadline=None)
@given(ROW, st.lists(st.sampled_from(sorted(SUFFIXES)), max_size=3), st.sampled_from(["-", " ", "/", ""]))
def test_what_is_written_is_read_back(i, codes, between):
    name = SIZES[i].designation
    text = name + "".join((between or "-") + c for c in codes)
    kinds = [SUFFIXES[c].kind for c in codes]
    found, problems = answer(designation=text)
    if problems:
        assert len(set(kinds)) < len(kinds), problems
        return
    assert found.candidates[0].designation == name
    assert [s.code for s in found.suffixes if s.code] == sorted(codes, key=lambda c: SUFFIXES[c].kind != "closure")


@pytest.mark.parametrize(("text", "count"), [
    ("", 1), ("nonsense", 1), ("6999", 1), ("2RS", 1), ("-6203", 1), ("62030", 1), ("6203-2RS-ZZ", 1),
    ("6203-C3-C4", 1), ("6203 2RS ZZ C3 CN", 2), ("6203-N-NR", 1), ("6203 1/2 5/8", 1), ("6203-3/2", 1), ("R8-5/8", 1),
    ("6204 1/2 3/4 NNR", 3), ("6" * 80, 1),
])  # fmt: skip
def test_designations_that_cannot_be(text, count):
    with pytest.raises(BadInput) as refused:
        read_designation(text)
    assert [p.path for p in refused.value.problems] == ["designation"] * count


def test_a_slash_between_suffixes_is_no_bore():
    assert [s.code for s in read_designation("6203-C2/2RS").suffixes] == ["2RS", "C2"]
    assert [s.code for s in read_designation("6203 5/8/C3").suffixes] == ["", "5/8", "C3"]
