"""Bridge: what the worth of each course is made up of, item by item. Money in minor units, costs below nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from econ.costing import members, tickets
from econ.courses import put_back, service_shares
from econ.payoffs import DISPOSALS
from econ.repairs import AfterRepair, if_missed
from econ.scopes import Scope
from econ.setting import Setting

Items = Mapping[str, float]


def of_repairs(s: Setting, after: AfterRepair, scopes: Sequence[Scope]) -> list[Items]:
    """Return the items of repairs.

    They are: `total` that is paid, `own_time`, `wrong` parts as expected, `waiting`; `over`, waiting where jobs are
    done over; `tracing` and jobs `added` where the test run shows that something was missed; what the machine then
    `brings`. Their sum is the worth of the course. Beside them: `looks`, how often what fails is halved to find it;
    worth where that is `traced`, and where it is `given_up`; and what is paid for: `labour`, `parts` with tools and the
    wrong ones, `charges`, and `tax` on top.
    """
    few, t = s.posterior.states.size, tickets(s.bench, members(s.bench, scopes))
    traced, given_up, added = after.means(("traced", "given_up", "added"), scopes, few)[:, :, 0]
    which = if_missed(s, after, scopes, few)[2][:, 0]
    prices, on_top = after.groundwork.prices(scopes), not s.bench.charges.tax_inclusive
    found: list[Items] = []
    for i, (scope, price) in enumerate(zip(scopes, prices, strict=True)):
        left = after.groundwork.remains(scope, few)
        items = {
            "total": -t.total[i],
            "own_time": -t.own_time[i],
            "wrong": -t.wrong[i],
            "waiting": -price.weeks * s.payoffs.week,
            "over": -left.again,
            "tracing": -left.looks * s.trace_cost if which[i] else 0.0,
            "added": -added[i] if which[i] else 0.0,
            "brings": traced[i] + added[i] if which[i] else given_up[i],
            "looks": left.looks,
            "traced": traced[i],
            "given_up": given_up[i],
            "labour": t.labour[i],
            "parts": t.parts[i] + t.tools[i] + t.wrong[i],
            "charges": t.supplies[i] + t.fees[i] + t.card[i],
            "tax": t.tax[i] if on_top else 0.0,
        }
        found.append({name: float(x) for name, x in items.items()})
    return found


def ways_to_let_go(s: Setting) -> Items:
    """Return what letting it go brings in each of the ways there are."""
    return {kind: float(x @ s.posterior.weights) for kind, x in s.payoffs.let_go(s.present).items()}


def best_way(s: Setting) -> str:
    """Return the way of letting it go that brings most."""
    ways = ways_to_let_go(s)
    return max(DISPOSALS, key=lambda kind: ways[kind] - put_back(s, kind))


def of_others(s: Setting) -> dict[str, Items]:
    """Return by kind the items of the courses without repair.

    They are: what it `lets_go` for; what it `serves` and brings as it is; what `goes_on` with something else is worth;
    `lost`, waiting for that; `closing` what was opened; the `fee`, as it is not repaired. Their sum is the worth.
    """
    p, weights, ways = s.payoffs, s.posterior.weights, ways_to_let_go(s)
    fee = -float(s.terms.money("diagnosis_fee")) if s.terms.by_shop else 0.0

    def items(how: str, **more: float) -> Items:
        return {"fee": fee, "closing": -float(put_back(s, how)), **more}

    if s.terms.perspective == "reseller":
        return {kind: items(kind, lets_go=ways[kind]) for kind in DISPOSALS}
    wait = float(p.replacement_weeks * p.week)
    serves = float(p.mean_as_it_is(s.present, weights))
    short = 1.0 - float(service_shares(s) @ weights)
    found = {"keep_using": items("", serves=serves, lost=-short * wait)}
    best = best_way(s)
    for kind, r in p.replacements.items():
        lost = 0.0 if kind == "do_without" else -wait
        found[kind] = items(best, lets_go=ways[best], goes_on=float(r.worth), lost=lost)
    return found
