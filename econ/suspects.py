"""Suspects: the faults of a case for people, the likeliest first, and those of them that what was heard points to."""

from __future__ import annotations

from collections.abc import Sequence

from econ.decision import FaultLine
from econ.evidence import Posterior, blame
from econ.findings import Heard
from econ.rulebook import MachineClass

DUE_FROM = 0.5  # share of a fault's chance in which what was heard is due to it, for it to be named [1]; judgement


def fault_lines(c: MachineClass, heard: Heard, before: Posterior, now: Posterior) -> tuple[FaultLine, ...]:
    """Return the faults in play, the likeliest first. before: what is believed before anything is heard."""
    lines = [
        FaultLine(f, c.faults[f].title, float(before.marginal[i]), float(now.marginal[i]), c.faults[f].hidden)
        for i, f in enumerate(heard.faults)
    ]
    return tuple(sorted(lines, key=lambda line: (-line.probability, line.id)))


def pointed_at(faults: Sequence[FaultLine], heard: Heard, now: Posterior) -> list[FaultLine]:
    """Return the faults that explain something heard and are mostly there because of it."""
    due = dict(zip(heard.faults, blame(now, heard.clues).tolist(), strict=True))
    return [f for f in faults if f.id in heard.pointed_at and due[f.id] >= DUE_FROM * f.probability]
