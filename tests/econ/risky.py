"""What the risk of a case is computed from, taken from a decision on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from econ import verdict
from econ.case import Case
from econ.repairs import AfterRepair
from econ.risk import POINTS, REPLICATES, SEED, Risk, assess
from econ.rulebook import MachineClass
from econ.setting import Course, Setting
from econ.spread import Draws, Spread, WorkSpread, draw, sobol
from econ.terms import Default

from ..strategies import weighed


@dataclass(frozen=True)
class Settled:
    case: Case
    c: MachineClass
    s: Setting
    courses: tuple[Course, ...]
    limits: Mapping[int, float]
    after: AfterRepair

    @property
    def named(self) -> Course | None:
        """The first repair whose jobs are fixed, else the first."""
        mending = [x for x in self.courses if x.kind == "repair" and not x.barred]
        return next((x for x in mending if not x.open_ended), mending[0] if mending else None)

    def risk(self, named: Course | None = None) -> Risk:
        return assess(self.case, self.c, self.s, self.courses, self.limits, named or self.named, self.after)

    def spread(self, points: int = POINTS) -> tuple[Spread, Draws]:
        d = draw(self.s, sobol(SEED, REPLICATES, points))
        return Spread(self.s, self.after, WorkSpread(self.case, self.c, self.s, d)), d


def settled(case: Case, c: MachineClass, defaults: Mapping[str, Default]) -> Settled:
    """Return the setting and the courses that a decision on a case works with."""
    found = weighed(case, c, defaults).weighed
    s, courses = found.setting, found.courses
    idle = verdict.best_without_repair(courses)
    limits = {id(x): verdict._limit(s, x, idle) for x in courses if x.kind == "repair"}
    return Settled(case, c, s, courses, limits, found.after)


def document(class_id: str, **fields: Any) -> dict[str, Any]:
    """Return a case of a machine some years old; keyword arguments lay over it."""
    return {"perspective": "owner", "machine": {"class": class_id, "age_years": 5.0}, **fields}
