"""Classes: what a machine class offers to whoever writes a case: its complaints, history, checks, extras and parts."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from econ.rulebook import CURRENCY, MachineClass


@dataclass(frozen=True)
class Named:
    """An id and what it is called."""

    id: str
    title: str


@dataclass(frozen=True)
class FactLine:
    """A history fact: what to ask, and the levels it may have, the best first."""

    id: str
    title: str
    question: str
    levels: tuple[str, ...]


@dataclass(frozen=True)
class CheckLine:
    """A check. outcomes from normal to worst; reading_unit where a figure may be given; reveals for opening checks."""

    id: str
    title: str
    complaint: bool
    outcomes: tuple[str, ...]
    reading_unit: str | None
    reveals: tuple[str, ...]
    requires: tuple[str, ...]
    minutes: float
    how: str


@dataclass(frozen=True)
class PartLine:
    """A part or consumable with its typical price, likely and in its range."""

    id: str
    title: str
    designation: str
    consumable: bool
    low: Decimal
    typical: Decimal
    high: Decimal


@dataclass(frozen=True)
class ClassLine:
    """A machine class and all the ids a case of it may use."""

    id: str
    title: str
    uses: tuple[str, ...]
    currency: str
    complaints: tuple[Named, ...]
    history: tuple[FactLine, ...]
    checks: tuple[CheckLine, ...]
    faults: tuple[Named, ...]
    jobs: tuple[Named, ...]
    wanted: tuple[Named, ...]
    parts: tuple[PartLine, ...]
    tools: tuple[Named, ...]
    source: str


@dataclass(frozen=True)
class ClassList:
    """All machine classes."""

    machine_classes: tuple[ClassLine, ...]


def _price(figure: float) -> Decimal:
    return Decimal(str(figure)).quantize(Decimal("0.01"))


def describe(c: MachineClass) -> ClassLine:
    """Return what a machine class offers."""
    return ClassLine(
        c.id,
        c.about.title,
        tuple(c.life),
        CURRENCY,
        tuple(Named(i, x.title) for i, x in c.complaints.items()),
        tuple(FactLine(i, x.title, x.question, x.levels) for i, x in c.facts.items()),
        tuple(
            CheckLine(
                i,
                x.title,
                x.complaint,
                x.outcomes,
                x.reading.unit if x.reading else None,
                x.reveals,
                x.requires,
                x.minutes,
                x.how,
            )
            for i, x in c.checks.items()
        ),
        tuple(Named(i, x.title) for i, x in c.faults.items()),
        tuple(Named(i, x.title) for i, x in c.jobs.items() if not x.extra),
        tuple(Named(i, x.title) for i, x in c.jobs.items() if x.extra),
        tuple(PartLine(i, x.title, x.designation, x.consumable, *map(_price, x.price)) for i, x in c.parts.items()),
        tuple(Named(i, x.title) for i, x in c.tools.items()),
        c.about.source,
    )
