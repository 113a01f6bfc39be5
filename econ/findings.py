"""Findings: what was told and seen, turned into the causes and clues of the evidence kernel.

Also: which holds are open. Which faults are in play is `play.py`'s to say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from econ.case import SAID_NOTHING, Case, Finding, Report
from econ.evidence import Cause, Clue, Link, odds
from econ.knowledge import Check, Opener
from econ.play import after_normal, choose, explains, leak_with
from econ.problems import BadInput, Problem
from econ.rulebook import MachineClass


@dataclass(frozen=True)
class Heard:
    """What a case tells the evidence kernel.

    faults: ids in play, bit order of the states. left_out: ids that would bear on the case but did not fit.
    base_odds: (n,). causes: history. links: of faults that earlier jobs leave. complaints,
    findings: clues. outcomes: check -> outcome number heard; worst: the
    worst of complaint and finding. opened: opening checks made; found: the faults they showed. pointed_at:
    faults that explain something heard.
    """

    faults: tuple[str, ...]
    left_out: tuple[str, ...]
    base_odds: tuple[float, ...]
    causes: tuple[Cause, ...]
    links: tuple[Link, ...]
    complaints: tuple[Clue, ...]
    findings: tuple[Clue, ...]
    outcomes: Mapping[str, int]
    worst: Mapping[str, int]
    opened: frozenset[str]
    found: tuple[str, ...]
    pointed_at: frozenset[str]

    @property
    def clues(self) -> tuple[Clue, ...]:
        """Everything that counts as a finding, complaints included."""
        return self.complaints + self.findings


def outcome_of(check: Check, finding: Finding) -> int | None:
    """Return the outcome number of a finding, or None where it says nothing. Names must have been checked."""
    if finding.reading is not None and check.reading is not None:
        bands = check.reading.bands
        within = [finding.reading >= b if check.reading.falling else finding.reading <= b for b in bands]
        return within.index(True) if True in within else len(bands)
    if finding.outcome is None or finding.outcome in SAID_NOTHING:
        return None
    return check.outcomes.index(finding.outcome)


def level_weights(case: Case, c: MachineClass, fact: str) -> tuple[float, ...]:
    """Return how likely each level of a fact is: known, reported with some reliability, or unknown."""
    levels, share = c.facts[fact].levels, c.facts[fact].weights
    told = case.history.get(fact)
    if told is None or told in SAID_NOTHING:
        return share
    level, trust = (told.level, told.reliable) if isinstance(told, Report) else (told, 1.0)
    return tuple(trust * (name == level) + (1 - trust) * w for name, w in zip(levels, share, strict=True))


def heard_outcomes(case: Case, c: MachineClass) -> tuple[dict[str, int], dict[str, int], dict[str, Finding]]:
    """Return outcomes by check, the worst told or seen of each, and the findings of opening checks.

    A finding stands for the complaint about the same thing; a hold is opened by the worse of the two.
    """
    told: dict[str, int] = {}
    for complaint in case.complaints:
        entry = c.complaints[complaint]
        told[entry.check] = max(told.get(entry.check, 0), c.checks[entry.check].outcomes.index(entry.outcome))
    opened: dict[str, Finding] = {}
    worst = dict(told)
    for finding in case.findings:
        if finding.found is not None:
            opened[finding.check] = finding
            continue
        k = outcome_of(c.checks[finding.check], finding)
        if k is not None:
            told[finding.check] = k
            worst[finding.check] = max(k, worst.get(finding.check, 0))
    return told, worst, opened


def _prior(case: Case, c: MachineClass, fault: str, base: float) -> float:
    """Return the prior probability of a fault with its history, each unknown fact averaged by itself; base: odds."""
    figures, o = c.faults[fault], base
    for fact, row in figures.factors.items():
        o *= sum(w * f for w, f in zip(level_weights(case, c, fact), row, strict=True))
    return o / (1 + o)


def hear(case: Case, c: MachineClass, raised: Mapping[tuple[str, str], float] | None = None) -> Heard:
    """Return what the case tells, for the faults in play. All names of the case must have been checked.

    raised: by earlier job and fault, the factor on the odds of the fault where one that the job clears is there again;
    those count whose job clears what explains something heard.
    """
    base = {i: odds(f.prior or 0.0) for i, f in c.faults.items() if not f.wear}
    told, worst, opened = heard_outcomes(case, c)
    seen = {f: f in (o.found or ()) for i, o in opened.items() for f in c.checks[i].reveals}
    priors = {i: _prior(case, c, i, o) for i, o in base.items()}
    again = {
        (job, fault): factor
        for (job, fault), factor in (raised or {}).items()
        if any(explains(c, f, told) for f in c.jobs[job].clears)
    }
    most = {fault: max(x for (_, f), x in again.items() if f == fault) for _, fault in again}
    chosen, left_out = choose(c, {i: _prior(case, c, i, o * most.get(i, 1.0)) for i, o in base.items()}, told, seen)
    chances = after_normal(c, priors, told)
    outside = [f for f in priors if f not in chosen and f not in seen]
    number = {i: n for n, i in enumerate(chosen)}
    causes = [
        Cause(
            level_weights(case, c, fact),
            {number[i]: c.faults[i].factors[fact] for i in chosen if fact in c.faults[i].factors},
            fact,
        )
        for fact in c.facts
    ]

    def clue(check: str, k: int) -> Clue:
        rows = {number[i]: c.faults[i].shows[check] for i in chosen if check in c.faults[i].shows}
        return Clue(check, k, leak_with(c, check, chances, outside) if k else c.checks[check].leak, rows)

    return Heard(
        chosen,
        left_out,
        tuple(base[i] for i in chosen),
        tuple(cause for cause in causes if cause.factors),
        tuple(
            Link(frozenset(number[f] for f in c.jobs[job].clears if f in number), number[fault], factor)
            for (job, fault), factor in again.items()
            if fault in number
        ),
        tuple(clue(i, k) for i, k in told.items() if c.checks[i].complaint),
        tuple(clue(i, k) for i, k in told.items() if not c.checks[i].complaint)
        + tuple(
            Clue(i, seen={number[f]: f in (o.found or ()) for f in c.checks[i].reveals if f in number})
            for i, o in opened.items()
        ),
        told,
        worst,
        frozenset(opened),
        tuple(f for f, present in seen.items() if present),
        frozenset(f for f in chosen if seen.get(f) or explains(c, f, told)),
    )


HOLD_FROM = 0.5  # a fault likelier than this opens the holds it is named for [1]; judgement


def open_holds(case: Case, c: MachineClass, worst: Mapping[str, int], likely: Mapping[str, float]) -> tuple[str, ...]:
    """Return the open holds in the order of the rulebook.

    worst: the worst outcome of each check, by complaint or finding. likely: probability of each fault now.
    """

    def hit(o: Opener) -> bool:
        if o.fault is not None:
            return likely.get(o.fault, 0.0) >= HOLD_FROM
        if o.check is not None and o.outcome is not None:
            return worst.get(o.check, 0) >= c.checks[o.check].outcomes.index(o.outcome)
        told = case.history.get(o.fact or "")
        return (told.level if isinstance(told, Report) else told) == o.level

    return tuple(i for i, hold in c.holds.items() if any(hit(o) for o in hold.opened_by))


def impossible(names: Sequence[str], case: Case) -> BadInput:
    """Return the error for findings that can't occur together."""
    said = {f.check: next(str(x) for x in (f.outcome, f.reading, f.found) if x is not None) for f in case.findings}
    value = ", ".join(f"{n} = {said[n]}" if n in said else n for n in names)
    rule = "the rulebook gives these together no chance at all"
    return BadInput([Problem("findings", value, rule, "look again at one of them, or mark it not_sure")])
