"""Earlier: jobs done before on the machine whose fault is likely again: their warranty, and what may lie behind it.

A job that has to be done again before its time raises the odds of the faults that wear its part out: where its own
fault is there again, and by as much as that is likely.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace

from econ.ahead import ROOT_CHANCE, root_cause
from econ.case import Case, PriorJob
from econ.evidence import Posterior, odds
from econ.knowledge import PartLife
from econ.life import Life
from econ.rulebook import MachineClass
from econ.terms import Assumption, life_figures

AGAIN_FROM = 0.1  # chance from which a fault that a job has cleared counts as likely again [1]; judgement
USUAL_WARRANTY = 12.0  # months for which it is worth asking whether a job is still covered; judgement
FIRST = {
    "covered": "Ask for the warranty first: the last repair was {ago} ago and is covered for {cover:g}.",
    "ask": "Ask first whether the last repair, {ago} ago, is still under warranty.",
}


def warranty(months_ago: float, months: float | None) -> str:
    """Return whether a job is ``covered``, ``ask`` where it may be, or ``over``; months: covered for, if known."""
    if months is None:
        return "ask" if months_ago <= USUAL_WARRANTY else "over"
    return "covered" if months_ago <= months else "over"


def warranty_words(months_ago: float, months: float | None) -> str:
    """Return what to ask for first; empty where the warranty is over."""
    ago = f"{months_ago:g} month" + ("" if months_ago == 1 else "s")
    return FIRST.get(warranty(months_ago, months), "").format(ago=ago, cover=months or 0.0)


def own_life(case: Case, c: MachineClass, life: PartLife) -> Life:
    """Return the life of a part in years of the machine's own use."""
    own = case.terms.hours_per_year or life_figures(case, c).hours_per_year
    return Life(life.median_years * c.life["residential"].hours_per_year / own, life.shape)


@dataclass(frozen=True)
class Earlier:
    """A job done before, the last time it was.

    chance: that something wears its part out, if its fault is there again [1]; None where its parts have no life.
    """

    prior: PriorJob
    chance: float | None


def earlier_jobs(case: Case, c: MachineClass) -> tuple[Earlier, ...]:
    """Return the jobs done before, each once, the last time it was done.

    Of several parts with a life the one that fails soonest is taken: it makes least of an early failure.
    """
    last: dict[str, PriorJob] = {}
    for prior in sorted(case.prior_jobs, key=lambda p: p.months_ago):
        last.setdefault(prior.job, prior)
    found = []
    for prior in last.values():
        parts = [c.parts[q.part].life for q in c.jobs[prior.job].parts]
        lives = [own_life(case, c, life) for life in parts if life is not None]
        shortest = min(lives, key=lambda x: x.median_years, default=None)
        found.append(Earlier(prior, None if shortest is None else root_cause(shortest, prior.months_ago / 12)))
    return tuple(found)


def raised(c: MachineClass, done: Sequence[Earlier]) -> dict[tuple[str, str], float]:
    """Return by job and root cause the factor on the odds of the cause where the job's fault is there again, above 1.

    The odds of a root cause now over its odds before the failure was known (Bayes' rule).
    """
    factors: dict[tuple[str, str], float] = {}
    for x in done:
        factor = 1.0 if x.chance is None else odds(x.chance) / odds(ROOT_CHANCE)
        if factor > 1.0:
            factors |= {(x.prior.job, fault): factor for fault in c.jobs[x.prior.job].root_causes}
    return factors


def failed_again(
    c: MachineClass, done: Sequence[Earlier], pointed: Container[str], faults: Sequence[str], posterior: Posterior
) -> tuple[Earlier, ...]:
    """Return the jobs done before whose faults are likely again.

    pointed: faults that explain something heard. faults: those in play, in bit order of the states. Where a job failed
    early and faults it leaves are in play, the chance is that of any of them by all that was heard and seen.
    """

    def mask(names: Iterable[str]) -> int:
        return sum(1 << faults.index(f) for f in names if f in faults)

    states, weights, found = posterior.states, posterior.weights, []
    likely = dict(zip(faults, posterior.marginal.tolist(), strict=True))
    for x in done:
        job = c.jobs[x.prior.job]
        again = [f for f in job.clears if f in pointed]
        if not any(likely.get(f, 0.0) >= AGAIN_FROM for f in again):
            continue
        there, roots = (states & mask(again)) != 0, mask(job.root_causes)
        if x.chance is not None and x.chance > ROOT_CHANCE and roots:
            x = replace(x, chance=float(weights[there & ((states & roots) != 0)].sum() / weights[there].sum()))
        found.append(x)
    return tuple(found)


def root_notes(failed: Sequence[Earlier]) -> tuple[Assumption, ...]:
    """Return how likely each job that failed again has a cause that it leaves, and why."""
    return tuple(
        Assumption(
            f"root_cause.{x.prior.job}",
            f"{x.chance:.2g}",
            f"Bayes' rule: done {x.prior.months_ago:g} months ago, all heard; {ROOT_CHANCE:g} before (judgement)",
        )
        for x in failed
        if x.chance is not None
    )


def first_of_all(failed: Sequence[Earlier]) -> str:
    """Return what to ask for before anything is paid: the warranty of a job whose fault is likely again, or empty."""
    said = [(x, warranty(x.prior.months_ago, x.prior.warranty_months)) for x in failed]
    asked = [x for kind in FIRST for x, got in said if got == kind]
    return warranty_words(asked[0].prior.months_ago, asked[0].prior.warranty_months) if asked else ""
