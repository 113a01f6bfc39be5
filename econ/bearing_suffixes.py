"""Bearing suffixes: a designation such as ``6203-2RS C3`` into its size and what each of its letters means.

Only suffixes in general use, by trade and standards; what one maker alone writes is left to the seller.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal
from unicodedata import normalize

from econ.bearing_sizes import OTHER_NAMES, SIZES, Size, with_bore
from econ.problems import BadInput, Problem, shown

Kind = Literal["prefix", "closure", "clearance", "snap_ring", "bore", "other"]
LONGEST = 60  # characters
MOST_BORE_CHANGE = 5.0  # of an inch bore in a metric size [mm]; judgement
SERIES = "metric 60, 62, 63, 68, 69 and inch R and 1600"
MEASURE = "look at the number again, or measure it: bore x outside x width, such as 17x40x12"
TRADE = "common practice"
CLEARANCE = "ISO 5753-1"


@dataclass(frozen=True)
class Suffix:
    """Letters of a designation and what they mean. code: empty where nothing is written, which means open."""

    code: str
    kind: Kind
    meaning: str
    source: str


@dataclass(frozen=True)
class Named:
    """A designation read. size: with the width of the closed version and the inch bore, where it has them."""

    text: str
    size: Size
    suffixes: tuple[Suffix, ...]


MEANINGS: tuple[tuple[tuple[str, ...], Kind, str, str], ...] = (
    (("2RS", "2RS1", "2RSR"), "closure", "contact seals on both sides", TRADE),
    (("RS", "RS1", "RSR"), "closure", "a contact seal on one side", TRADE),
    (("2RZ",), "closure", "seals on both sides that do not touch the inner ring", TRADE),
    (("RZ",), "closure", "a seal on one side that does not touch the inner ring", TRADE),
    (("ZZ", "2Z"), "closure", "metal shields on both sides", TRADE),
    (("Z",), "closure", "a metal shield on one side", TRADE),
    (("NR",), "snap_ring", "a groove for a snap ring in the outer ring, with the ring", TRADE),
    (("N",), "snap_ring", "a groove for a snap ring in the outer ring", TRADE),
    (("C2",), "clearance", "less clearance inside than normal", CLEARANCE),
    (("CN",), "clearance", "normal clearance inside", CLEARANCE),
    (("C3",), "clearance", "more clearance inside than normal", CLEARANCE),
    (("C4",), "clearance", "more clearance inside than C3", CLEARANCE),
)
SUFFIXES: dict[str, Suffix] = {
    c: Suffix(c, kind, said, source) for codes, kind, said, source in MEANINGS for c in codes
}
OPEN = Suffix("", "closure", "open (no seals or shields)", TRADE)
BOTH_SIDES = frozenset({"2RS", "2RS1", "2RSR", "2RZ", "ZZ", "2Z"})
NAMES: dict[str, str] = {s.designation: s.designation for s in SIZES} | OTHER_NAMES

_LONGEST_FIRST = sorted(NAMES, key=lambda name: (-len(name), name))
_CODES = re.compile("|".join(sorted(SUFFIXES, key=len, reverse=True)))
_PREFIX = re.compile(r"SS?(?=[R0-9-])-?")
_BORE = re.compile(r"(?<![0-9A-Z])(?:[1-9]|1[0-5])/(?:2|4|8|16)(?![0-9A-Z])")
_FOLLOWS = re.compile(r"$|[^0-9]|2R[SZ]|2Z")  # what may stand behind the name of a size
_BEGINS = re.compile(r"R?[0-9]+(?:/[0-9]+(?![0-9A-Z]))?")
# A size behind the first: one of the table, or what is written as one. No suffix is so many figures.
_SECOND = re.compile(
    rf"(?<![0-9A-Z])(?:{'|'.join(map(re.escape, _LONGEST_FIRST))}|6[0-9]{{3,4}}|16[0-9]{{3}})(?={_FOLLOWS.pattern})"
)


def size_named(name: str, closed: bool = False) -> Size:
    """Return the row of a designation without suffixes; of its closed version where that differs and is asked for."""
    rows = [s for s in SIZES if s.designation == name and not s.bore_inches]
    return next((s for s in rows if s.closed == closed), rows[0])


def _codes(rest: str) -> tuple[list[Suffix], list[str]]:
    """Return the suffixes in what follows a size, and what is not in general use."""
    found: list[Suffix] = []
    unknown: list[str] = []
    for bore in _BORE.findall(rest):
        found.append(Suffix(bore, "bore", f"a bore of {bore} in instead of the standard one", TRADE))
    for chunk in re.split(r"[\s\-/.,()]+", _BORE.sub(" ", rest)):
        codes = _CODES.findall(chunk)
        if "".join(codes) == chunk:
            found += [SUFFIXES[c] for c in codes]
        else:
            unknown.append(chunk)
    return found, unknown


def _contradictions(suffixes: list[Suffix]) -> list[Problem]:
    found = []
    closures = [s.code for s in suffixes if s.kind == "closure"]
    if len(closures) > 2 or (len(closures) == 2 and set(closures) & BOTH_SIDES):
        rule = "a bearing has two sides to close"
        found.append(Problem("designation", shown(" ".join(closures)), rule, "keep the suffix that is on the bearing"))
    for kind in ("clearance", "snap_ring", "bore"):
        codes = [s.code for s in suffixes if s.kind == kind]
        if len(codes) > 1:
            rule = f"one suffix says the {kind.replace('_', ' ')}"
            found.append(Problem("designation", shown(" ".join(codes)), rule, "keep the one that is on the bearing"))
    return found


def _misfits(size: Size, suffixes: list[Suffix]) -> list[Problem]:
    """Return the inch bores that can't be in a size."""
    rule = f"an inch bore is within {MOST_BORE_CHANGE:g} mm of the bore of a metric size, here {size.bore:g} mm"
    return [
        Problem("designation", f"a bore of {s.code} in", rule, "give bore x outside x width instead, as measured")
        for s in suffixes
        if s.kind == "bore" and (size.inches or abs(with_bore(size, s.code).bore - size.bore) > MOST_BORE_CHANGE)
    ]


def read_designation(text: str) -> Named:
    """Return what a designation says, e.g. ``6203-2RS``, ``6203 ZZ C3``, ``R8-2RS``, ``61903``.

    Suffixes that are not in general use are kept, as kind ``other``: they may say how it is closed. Raises BadInput
    with every problem.
    """
    plain = normalize("NFKC", text).strip().upper()
    rule = "a designation begins with its size, such as 6203-2RS, 608 or R8"
    if not plain or len(text) > LONGEST:
        raise BadInput([Problem("designation", shown(text), rule, f"give it, in {LONGEST} characters at most")])
    prefix = _PREFIX.match(plain)
    body = plain[prefix.end() :] if prefix else plain
    for name in _LONGEST_FIRST:
        if body.startswith(name) and _FOLLOWS.match(body[len(name) :]):
            break
    else:
        begins = _BEGINS.match(body)
        if not begins:
            remedy = "give a designation, or a size such as 17x40x12"
            raise BadInput([Problem("designation", shown(text), rule, remedy)])
        rule = f"this size is not in the table, which holds only some of the {SERIES} series"
        raise BadInput([Problem("designation", shown(begins[0]), rule, MEASURE)])
    rest = body[len(name) :]
    second = _SECOND.search(rest)
    if second:
        rule = f"there are two designations here, {name} and {second[0]}, and one is read at a time"
        raise BadInput([Problem("designation", shown(text.strip()), rule, "ask for each by itself")])
    found, unknown = _codes(rest)
    closures = [s for s in found if s.kind == "closure"]
    size = size_named(NAMES[name], bool(closures))
    wrong = [*_contradictions(found), *_misfits(size, found)]
    if wrong:
        raise BadInput(wrong)
    said = [Suffix(prefix[0].strip("-"), "prefix", "rings and balls of stainless steel", TRADE)] if prefix else []
    said += [*(closures or ([] if unknown else [OPEN])), *(s for s in found if s.kind != "closure")]
    said += [Suffix(c, "other", "not in general use: ask the seller what it means", TRADE) for c in unknown]
    for s in found:
        size = with_bore(size, s.code) if s.kind == "bore" else size
    return Named(text.strip(), size, tuple(said))
