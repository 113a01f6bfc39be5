"""Policy: the whole plan as text, what to do at each result of each check, pruned to what matters."""

from __future__ import annotations

from collections.abc import Sequence

from api.columns import table, wrap
from api.wording import result_name, short
from econ.repairs import LEADS_FROM
from econ.rulebook import MachineClass
from econ.staging import Branch
from econ.words import percent

SUSPECT_FROM = 0.2  # chance of a fault from which it is named where the cause is still to be found [1]
PRINTED_FROM = 0.02  # chance of coming to a result under which it is left to the JSON [1]


def plan_lines(tree: Sequence[Branch], c: MachineClass) -> list[str]:
    """Return the plan as lines: each result with its chance of all cases, then what to do; further looks below it."""
    rows = _rows(tree, c, 1)
    lines = table(rows, right=(1,), wide=2)
    if any(b.check for b in tree):
        lines += wrap("Percentages are of all cases; what comes in fewer than 2 % is left out here.", "  ")
    return lines


def _rows(branches: Sequence[Branch], c: MachineClass, depth: int) -> list[tuple[str, str, str]]:
    """Return (result, chance, what then) for results and those below them; results that lead to the same are one."""
    rows = []
    together: dict[str, list[Branch]] = {}
    for b in branches:
        if b.chance >= PRINTED_FROM:
            together.setdefault(b.result if b.check else _then(b, c), []).append(b)
    for then, same in together.items():
        names = " or ".join(result_name(b.result, c) for b in same)
        said = _then(same[0], c) if same[0].check else then
        rows.append(("  " * depth + names, percent(sum(b.chance for b in same)), said))
        rows += _rows(same[0].branches, c, depth + 1)
    return rows


def _then(b: Branch, c: MachineClass) -> str:
    """Return what to do at a result: the next look, or what to do with the machine, and what it then most likely is."""
    if b.check:
        return f"then look on: {b.then[0].lower()}{b.then[1:]}"
    if b.course == "repair:open" and b.leading is not None and b.leading.probability >= SUSPECT_FROM:
        told = "most likely" if b.leading.probability >= LEADS_FROM else "first suspect"
        return f"{b.then}; {told} {short(c.faults[b.leading.id].title)} ({percent(b.leading.probability)})"
    return b.then
