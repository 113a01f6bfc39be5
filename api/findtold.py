"""Told of finds: what a cell says of complaints, history or findings, read by the names of a machine class.

A text is read once for each machine class it stands beside. What is wrong in it is told as of a case, see `econ.names`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Generic, TypeVar

from pydantic import BaseModel

from econ.case import SAID_NOTHING, Case
from econ.names import name_problems
from econ.problems import nearest, shown
from econ.rulebook import MachineClass

Item = TypeVar("Item")
JOINED = 4  # pieces of a title with commas in it, at most
_PAIRS = re.compile(r"[;\n]|,(?=[^,;=\n]*=)")  # a comma parts where a pair follows, so that 6,5 stays whole
_NUMBER = re.compile(r"([+-]?)(\d{1,15}(?:[.,]\d{1,15})?|[.,]\d{1,15})\s*(.*)")


def bound(model: type[BaseModel], name: str, of: str) -> float:
    """Return a bound of a field of a case, so that lists are held to what cases are.

    model: the table the field is in. of: ``ge``, ``le`` or ``max_length``.
    """
    return next(float(getattr(x, of)) for x in model.model_fields[name].metadata if getattr(x, of, None) is not None)


MOST_COMPLAINTS, MOST_FACTS, MOST_FINDINGS = (
    int(bound(Case, name, "max_length")) for name in ("complaints", "history", "findings")
)


@dataclass(frozen=True)
class Wrong:
    """What is wrong in a cell: value, rule and remedy of a problem, without the place."""

    value: str
    rule: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Seen:
    """The recorded outcome of a check, or its reading in the check's unit."""

    check: str
    outcome: str | None
    reading: float | None


@dataclass(frozen=True)
class Pattern:
    """What is told of a machine but its age, hours and prices: all that bears on what may be wrong with it.

    history: facts with their levels. complaints, history and findings are in the order of the rulebook, each once.
    """

    machine_class: str
    complaints: tuple[str, ...]
    history: tuple[tuple[str, str], ...]
    findings: tuple[Seen, ...]
    condition: str
    use: str
    rusty: bool


@dataclass(frozen=True)
class Told(Generic[Item]):
    """What a cell says, in the order of the rulebook, and what is wrong in it."""

    said: tuple[Item, ...] = ()
    wrong: tuple[Wrong, ...] = ()


def plain(text: str) -> str:
    """Return a name in small letters and single spaces, without punctuation: that of `will_not_start` and its title."""
    return " ".join(re.sub(r"[\W_]+", " ", text.casefold()).split())


def _as_id(text: str) -> str:
    return plain(text).replace(" ", "_")


@dataclass(frozen=True)
class Names:
    """A machine class, and what cells say by its names."""

    of: MachineClass

    @cached_property
    def complaints(self) -> Mapping[str, str]:
        """Return the ids of complaints by their plain names."""
        return by_name({i: c.title for i, c in self.of.complaints.items()})

    def complaints_in(self, text: str) -> Told[str]:
        """Return the complaints of a cell: ids or titles with a semicolon or a comma between them."""
        pieces = self._pieces(text)
        if len(pieces) > MOST_COMPLAINTS:
            return Told(wrong=(_too_many(len(pieces), MOST_COMPLAINTS, "complaints"),))
        names = [self.complaints.get(plain(p), _as_id(p)) for p in pieces]
        wrong = self._wrong({"complaints": names}, {f"complaints.{i}": p for i, p in enumerate(pieces)})
        return Told((), wrong) if wrong else Told(tuple(c for c in self.of.complaints if c in names))

    def history_in(self, text: str) -> Told[tuple[str, str]]:
        """Return the facts of a cell with their levels: fact=level with a semicolon between them."""
        pieces = [p.strip() for p in _PAIRS.split(text) if p.strip()]
        if len(pieces) > MOST_FACTS:
            return Told(wrong=(_too_many(len(pieces), MOST_FACTS, "facts"),))
        levels: dict[str, str] = {}
        wrong: list[Wrong] = []
        places: dict[str, str] = {}
        for piece in pieces:
            fact, level = self._parted(piece)
            if not fact or not level:
                wrong.append(Wrong(shown(piece), "it is written fact=level", "put = between them"))
            elif levels.setdefault(fact, level) != level:
                wrong.append(told_twice(fact, levels[fact], level))
            else:
                places |= {f"history.{fact}": piece}
        wrong += self._wrong({"history": levels}, places)
        return Told((), tuple(wrong)) if wrong else Told(self.in_order(levels))

    def level_in(self, text: str, fact: str) -> Told[tuple[str, str]]:
        """Return a fact with its level, which is all its cell says."""
        level = _as_id(text) or text.strip()
        wrong = self._wrong({"history": {fact: level}}, {f"history.{fact}": text.strip()})
        return Told((), wrong) if wrong else Told(((fact, level),))

    def findings_in(self, text: str) -> Told[Seen]:
        """Return the findings of a cell: check=outcome or check=reading with a semicolon between them."""
        pieces = [p.strip() for p in _PAIRS.split(text) if p.strip()]
        if len(pieces) > MOST_FINDINGS:
            return Told(wrong=(_too_many(len(pieces), MOST_FINDINGS, "findings"),))
        found: list[Seen] = []
        of: list[str] = []
        wrong: list[Wrong] = []
        for piece in pieces:
            check, said = self._parted(piece, keep=True)
            if not check or not said:
                rule = "it is written check=outcome or check=reading"
                wrong.append(Wrong(shown(piece), rule, "put = between them"))
                continue
            seen = self._seen(check, said)
            if isinstance(seen, Wrong):
                wrong.append(seen)
            else:
                found.append(seen)
                of.append(piece)
        document = {"findings": [finding_document(s) for s in found]}
        wrong += self._wrong(document, {f"findings.{i}": p for i, p in enumerate(of)})
        if wrong:
            return Told((), tuple(wrong))
        place = {check: i for i, check in enumerate(self.of.checks)}
        return Told(tuple(sorted(found, key=lambda s: place[s.check])))

    def in_order(self, levels: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
        """Return facts and levels in the order of the rulebook."""
        return tuple((fact, levels[fact]) for fact in self.of.facts if fact in levels)

    def _pieces(self, text: str) -> list[str]:
        """Return the entries of a cell of complaints; a title that has commas stays whole."""
        found = []
        for block in re.split(r"[;\n]", text):
            parts = block.split(",")
            i = 0
            while i < len(parts):
                ends = range(min(len(parts), i + JOINED), i, -1)
                j = next((j for j in ends if plain(",".join(parts[i:j])) in self.complaints), i + 1)
                found.append(",".join(parts[i:j]).strip())
                i = j
        return [p for p in found if p]

    def _parted(self, piece: str, keep: bool = False) -> tuple[str, str]:
        """Return both sides of a pair as ids. keep: the second as it is written."""
        name, _, said = piece.partition("=")
        return _as_id(name) or name.strip(), said.strip() if keep else _as_id(said) or said.strip()

    def _seen(self, name: str, said: str) -> Seen | Wrong:
        """Return what a pair says of a check, whose outcome or reading stands behind it."""
        check = self.of.checks.get(name)
        outcome = _as_id(said) or said
        number = _NUMBER.fullmatch(said)
        if check is None or outcome in (*check.outcomes, *SAID_NOTHING):
            return Seen(name, outcome, None)
        if check.reveals:
            rule = f"{name} opens the machine, and shows more than a cell can say"
            return Wrong(shown(f"{name}={said}"), rule, "leave it out, or decide this one as a case")
        if number is None:
            return Seen(name, outcome, None)
        sign, digits, unit = number.groups()
        if check.reading is None:
            return Seen(name, None, float(digits.replace(",", ".")))
        value = shown(f"{name}={said}")
        if re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
            rule = "this may be thousands or a fraction"
            return Wrong(value, rule, "write a point before the fraction and nothing between thousands")
        if sign == "-" and float(digits.replace(",", ".")):
            return Wrong(value, "a reading is zero or more", "correct it")
        if unit and unit.casefold() != check.reading.unit.casefold():
            rule = f"a reading of {name} is a number in {check.reading.unit}, or one of its outcomes"
            return Wrong(value, rule, f"write it in {check.reading.unit}; {nearest(outcome, check.outcomes)}")
        return Seen(name, None, float(digits.replace(",", ".")))

    def _wrong(self, document: Mapping[str, object], places: Mapping[str, str]) -> tuple[Wrong, ...]:
        """Return what is wrong with a part of a case document. places: path -> what the cell says there."""
        return tuple(
            Wrong(next((shown(t) for at, t in places.items() if f"{p.path}.".startswith(f"{at}.")), p.value),
                  p.rule, p.remedy)
            for p in name_problems(document, self.of)
        )  # fmt: skip


def by_name(titles: Mapping[str, str]) -> dict[str, str]:
    """Return ids by their plain names and by their titles, as far as those are of one alone."""
    found: dict[str, str] = {}
    named = [plain(t) for t in titles.values()]
    for i, title in titles.items():
        if named.count(plain(title)) == 1:
            found[plain(title)] = i
    return found | {plain(i): i for i in titles}


def finding_document(seen: Seen) -> dict[str, object]:
    """Return a finding as a case document has it."""
    of_it = {"outcome": seen.outcome} if seen.reading is None else {"reading": seen.reading}
    return {"check": seen.check, **of_it}


def told_twice(fact: str, first: str, second: str) -> Wrong:
    """Return what is wrong where a fact has two levels."""
    rule = "a fact has one level"
    return Wrong(f"{shown(fact)} with {shown(first)} and {shown(second)}", rule, "keep the one that holds")


def _too_many(count: int, most: int, what: str) -> Wrong:
    return Wrong(f"{count} {what}", f"a case has at most {most} {what}", f"leave out {count - most}")


def merged(parts: Iterable[Sequence[tuple[str, str]]]) -> tuple[dict[str, str], dict[str, Wrong]]:
    """Return the levels of facts from several cells of a row, and by fact what is wrong where two cells differ."""
    levels: dict[str, str] = {}
    wrong: dict[str, Wrong] = {}
    for fact, level in (pair for part in parts for pair in part):
        if levels.setdefault(fact, level) != level:
            wrong[fact] = told_twice(fact, levels[fact], level)
    return levels, wrong
