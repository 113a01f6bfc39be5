"""Play: which faults are enumerated exactly, and how those left out are still counted.

At most 16 faults are in play. Which ones is judged by a first look at all faults of the class, with only a few present
at once. A fault that is left out still shows on the checks: it is averaged into their leak with its own chance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from econ.evidence import odds
from econ.rulebook import FAULTS_IN_PLAY, SOMETHING_ELSE, MachineClass

Floats = NDArray[np.float64]

BEARS_BELOW = 0.995  # a fault points at an abnormal outcome if alone it would keep it normal less often than this
LATENT_FROM = 0.02  # a hidden fault of at least this chance is kept in play though nothing heard points to it
LIKELY_FROM = 0.1  # so is a visible one of at least this chance, where the history has raised it by RAISED
RAISED = 2.0  # Others come with a complaint of their own when they are there: what was not said is not weighed.
CLEARED_FROM = 0.1  # so is one of which normal findings took this much: its absence speaks against its history
FEW = 3  # faults present at once in the first look; as many as abnormal outcomes where those are more, up to FEW + 1


def _row(c: MachineClass, fault: str, check: str) -> tuple[float, ...]:
    return c.faults[fault].shows.get(check, (1.0,) * len(c.checks[check].leak))


def _sets(n: int, size: int) -> NDArray[np.int64]:
    found = list(combinations(range(n), size))
    return np.array(found, dtype=np.int64).reshape(len(found), size)


def after_normal(c: MachineClass, priors: Mapping[str, float], told: Mapping[str, int]) -> dict[str, float]:
    """Return the chance of each fault once the normal outcomes are in; those leave the faults independent."""
    found = {}
    for fault, p in priors.items():
        o = odds(p)
        for check, k in told.items():
            if k == 0:
                o *= _row(c, fault, check)[0]
        found[fault] = o / (1 + o)
    return found


def first_look(
    c: MachineClass, chances: Mapping[str, float], told: Mapping[str, int], seen: Mapping[str, bool]
) -> dict[str, float]:
    """Return about how likely each fault is, from states with only a few faults present.

    chances: from `after_normal`. told: outcome number by check. seen: what opening showed.
    """
    names = [f for f in chances if f not in seen]
    abnormal = [(check, k) for check, k in told.items() if k > 0]
    few = min(max(FEW, len(abnormal)), FEW + 1)
    blocks = [_sets(len(names), d) for d in range(few + 1)]
    nobody = len(names)  # an extra fault that is never there fills the shorter rows
    states = np.concatenate([np.pad(b, ((0, 0), (0, few - b.shape[1])), constant_values=nobody) for b in blocks])
    weights = np.append([odds(chances[f]) for f in names], 1.0)[states].prod(axis=1)
    there = [f for f, present in seen.items() if present and f in chances]
    for check, k in abnormal:
        leak, rows = c.checks[check].leak, [_row(c, f, check) for f in names]

        def upto(
            j: int, leak: Sequence[float] = leak, rows: Sequence[Sequence[float]] = rows, check: str = check
        ) -> Floats:
            shown: Floats = np.append([r[j] for r in rows], 1.0)[states].prod(axis=1)
            return shown * leak[j] * float(np.prod([_row(c, f, check)[j] for f in there]))

        weights *= (upto(k) if k < len(leak) else 1.0) - upto(k - 1)
    total = float(weights.sum())
    if total <= 0:  # only more faults at once explain it, or nothing does: the exact look will tell
        return dict(chances)
    each = np.array([np.bincount(column, weights, nobody + 1) for column in states.T]).sum(axis=0) / total
    return {
        **dict(zip(names, each[:-1].tolist(), strict=True)),
        **{f: float(p) for f, p in seen.items() if f in chances},
    }


def explains(c: MachineClass, fault: str, told: Mapping[str, int]) -> bool:
    """Return whether a fault shows on anything that was not normal."""
    return any(_row(c, fault, check)[0] < BEARS_BELOW for check, k in told.items() if k > 0)


def choose(
    c: MachineClass, priors: Mapping[str, float], told: Mapping[str, int], seen: Mapping[str, bool]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the faults in play, in the order of the rulebook, and those that bear on the case but did not fit.

    priors: chance of each fault with its history, before anything was heard.
    """
    chances = after_normal(c, priors, told)
    likely = first_look(c, chances, told, seen)
    cleared = {f: priors[f] - chances[f] if c.faults[f].factors else 0.0 for f in priors}
    bearing = [
        f
        for f in priors
        if f == SOMETHING_ELSE
        or f in seen
        or explains(c, f, told)
        or (c.faults[f].hidden and likely[f] >= LATENT_FROM)
        or cleared[f] >= CLEARED_FROM
        or (likely[f] >= LIKELY_FROM and odds(priors[f]) >= RAISED * odds(c.faults[f].prior or 0.0))
    ]
    first = {f for f in bearing if f == SOMETHING_ELSE or seen.get(f)}
    ranked = sorted(bearing, key=lambda f: (f not in first, -max(likely[f], cleared[f]), f))
    chosen = set(ranked[:FAULTS_IN_PLAY])
    return tuple(f for f in priors if f in chosen), tuple(ranked[FAULTS_IN_PLAY:])


def leak_with(c: MachineClass, check: str, chances: Mapping[str, float], left_out: Sequence[str]) -> tuple[float, ...]:
    """Return the leak of a check with the faults left out averaged into it."""
    leak = np.array(c.checks[check].leak)
    for f in left_out:
        if check in c.faults[f].shows:
            leak *= 1 - chances[f] + chances[f] * np.array(c.faults[f].shows[check])
    return tuple(leak.tolist())
