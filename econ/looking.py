"""Looking: the checks still open, least effort first, and what each result would do to the odds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from econ.case import Case
from econ.costing import THOUSAND, Bench
from econ.evidence import Posterior
from econ.findings import Heard
from econ.knowledge import Check
from econ.rulebook import MachineClass

Floats = NDArray[np.float64]
LOOKED_AT = 0.999  # share of the posterior that is looked at
NAMED = 5  # faults named for each result
TELLS_FROM = 0.01  # a check that moves the faults' probabilities by less on average is not listed


@dataclass(frozen=True)
class Leaning:
    """A fault's probability once a result is in."""

    id: str
    probability: float


@dataclass(frozen=True)
class Result:
    """One possible result of a check: its chance, the leading faults then, and the chance of any hidden damage."""

    outcome: str
    chance: float
    faults: tuple[Leaning, ...]
    hidden_damage: float


@dataclass(frozen=True)
class OpenCheck:
    """A check not made yet. minutes: own time and the operations it needs. waits_for: checks to be made first.

    how, cautions: for whoever does it.
    """

    id: str
    title: str
    minutes: float
    how: str
    waits_for: tuple[str, ...]
    cautions: tuple[str, ...]
    results: tuple[Result, ...]


def result_rows(check: Check, c: MachineClass, heard: Heard, present: NDArray[np.bool_], name: str) -> Floats | None:
    """Return P(result | state), (results, m), or None where no fault in play bears on the check."""
    if check.reveals:
        shown, place = _patterns(check, heard, present)
        return None if shown is None else (place[None, :] == np.arange(len(shown))[:, None]).astype(float)
    rows = {i: c.faults[f].shows[name] for i, f in enumerate(heard.faults) if name in c.faults[f].shows}
    if not rows:
        return None
    steps = [
        check.leak[k] * np.prod([np.where(present[:, i], r[k], 1.0) for i, r in rows.items()], axis=0)
        for k in range(len(check.leak))
    ]
    upto = np.array([np.zeros(present.shape[0]), *steps, np.ones(present.shape[0])])
    return np.maximum(np.diff(upto, axis=0), 0.0)


def _patterns(
    check: Check, heard: Heard, present: NDArray[np.bool_]
) -> tuple[list[tuple[str, ...]] | None, NDArray[np.int64]]:
    """Return what an opening check may show, every set of hidden faults as one result, and each state's result."""
    at = [i for i, f in enumerate(heard.faults) if f in check.reveals]
    if not at:
        return None, np.zeros(0, dtype=np.int64)
    rows, place = np.unique(present[:, at], axis=0, return_inverse=True)
    order = np.argsort(rows.sum(axis=1), kind="stable")
    shown = [tuple(heard.faults[at[k]] for k in np.flatnonzero(rows[r])) for r in order]
    return shown, np.argsort(order)[place.ravel()].astype(np.int64)


def result_names(check: Check, heard: Heard, present: NDArray[np.bool_]) -> tuple[str, ...]:
    """Return the names of a check's results; what opening shows is named by its faults, joined by +."""
    if check.reveals:
        return tuple("+".join(faults) or "nothing" for faults in _patterns(check, heard, present)[0] or [])
    return check.outcomes


def effort_minutes(check: Check, bench: Bench) -> float:
    """Return own time of a check and of the operations it needs, at mean hours [minutes]."""
    ops = [bench.ops.index(o) for o in check.operations]
    hours = int(bench.op_hours[ops].sum() + bench.op_trouble_hours[ops].sum()) if ops else 0
    return round(check.minutes + 60 * hours / THOUSAND, 1)


def open_checks(
    case: Case, c: MachineClass, heard: Heard, posterior: Posterior, bench: Bench, held: bool = False
) -> tuple[OpenCheck, ...]:
    """Return the open checks that can still tell something, least effort first.

    held: a hold is open; it bars checks for which the engine must run.
    """
    enough = int(np.searchsorted(np.cumsum(posterior.weights), LOOKED_AT)) + 1
    states, weights = posterior.states[:enough], posterior.weights[:enough]
    weights = weights / weights.sum()
    present = (states[:, None] >> np.arange(len(heard.faults)) & 1).astype(bool)
    hidden = present[:, [c.faults[f].hidden for f in heard.faults]].any(axis=1)
    now = weights @ present
    made = set(heard.outcomes) | heard.opened | {f.check for f in case.findings}
    found = []
    for name, check in c.checks.items():
        if check.complaint or name in made or (held and check.running):
            continue
        if set(check.tools) & set(case.tools.cannot_get):
            continue
        rows = result_rows(check, c, heard, present, name)
        if rows is None:
            continue
        joint = rows * weights
        chances = joint.sum(axis=1)
        after = np.divide(
            joint @ present,
            chances[:, None],
            out=np.zeros((len(rows), present.shape[1])),
            where=chances[:, None] > 0,
        )
        moved = np.abs(after - now).max(axis=1) if present.shape[1] else np.zeros(len(rows))
        if float(chances @ moved) < TELLS_FROM:
            continue
        results = tuple(
            Result(
                outcome,
                float(chances[k]),
                tuple(
                    Leaning(heard.faults[i], float(after[k, i])) for i in np.argsort(-after[k], kind="stable")[:NAMED]
                ),
                float((joint[k] * hidden).sum() / chances[k]),
            )
            for k, outcome in enumerate(result_names(check, heard, present))
            if chances[k] > 1e-5
        )
        waits = tuple(r for r in check.requires if r not in made)
        cautions = tuple(c.cautions[x].text for x in check.cautions)
        minutes = effort_minutes(check, bench)
        found.append(OpenCheck(name, check.title, minutes, check.how, waits, cautions, results))
    return tuple(sorted(found, key=lambda x: (x.minutes, x.id)))
