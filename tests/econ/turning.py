"""What the break-evens of a case are computed from, and cases with one more figure stated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from copy import deepcopy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from unittest.mock import patch

import econ
from econ import turns, verdict, weighing
from econ.breakeven import BreakEven
from econ.courses import all_courses, best_course
from econ.inputs import Fact, Input
from econ.money import DIGITS
from econ.setting import Course, Setting, course_name
from econ.turns import Scene
from econ.worlds import Ground, Worlds

from ..strategies import defaults, read

EVERY = 10**9  # more states than any posterior has


@dataclass(frozen=True)
class Turned:
    """A decision and what its break-evens come from; finer: worlds of more states where `worlds` has not all."""

    decision: econ.Decision
    scene: Scene
    courses: Sequence[Course]
    worlds: Worlds
    finer: Worlds | None
    inputs: Sequence[Input]
    facts: Sequence[Fact]

    @property
    def ground(self) -> Ground:
        return self.worlds._g

    def input(self, name: str) -> Input:
        return next(i for i in self.inputs if i.name == name)


def turned(document: Mapping[str, Any]) -> Turned:
    """Return a decision on a case of the shipped rulebooks and what its break-evens are computed from."""
    kept: dict[str, tuple[Any, ...]] = {}
    real_turns, real_break_even = verdict.turns, turns.break_even

    def keep_turns(*given: Any) -> BreakEven:
        kept["turns"] = given
        return real_turns(*given)

    def keep_break_even(*given: Any) -> BreakEven:
        kept["break_even"] = given
        return real_break_even(*given)

    with patch.object(verdict, "turns", keep_turns), patch.object(turns, "break_even", keep_break_even):
        decision = econ.decide(*read(document), defaults())
    worlds, finer, inputs, facts, *_ = kept["break_even"]
    scene, _, _, _, courses, _ = kept["turns"]
    return Turned(decision, scene, courses, worlds, finer, inputs, facts)


@dataclass(frozen=True)
class Chosen:
    """The courses of a decision by name, those that are barred left out, and the name of the best."""

    courses: Mapping[str, Course]
    best: str


def chosen(document: Mapping[str, Any]) -> Chosen:
    """Return what a decision chooses and among which courses, without its plan, risk and break-evens."""

    kept: list[tuple[Setting, Sequence[Course]]] = []

    def courses_of(s: Setting, *given: Any) -> Sequence[Course]:
        kept.append((s, all_courses(s, *given)))
        raise _EnoughError

    with patch.object(weighing, "all_courses", courses_of), suppress(_EnoughError):
        econ.decide(*read(document), defaults())
    s, courses = kept[0]
    return Chosen({course_name(s, x): x for x in courses if not x.barred}, course_name(s, best_course(courses)))


class _EnoughError(Exception):
    """The courses are known; the rest of a decision is not needed."""


def stated(document: Mapping[str, Any], i: Input, value: float) -> dict[str, Any]:
    """Return a case in which an input is stated to be a value of its steps [minor units where it is money]."""
    found = deepcopy(dict(document))
    shelf, key = i.name.split(".", 1)
    digits = DIGITS[found.get("currency", "USD")]
    said = f"{Decimal(round(value)).scaleb(-digits):f}" if i.unit == "money" else round(value / i.step) * i.step
    found.setdefault(shelf, {})[key] = said if isinstance(said, str) else float(f"{said:.9g}")
    return found
