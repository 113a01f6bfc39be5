"""The rulebook as an ordinary Bayesian network, for inference by other libraries.

Built from the tables of the machine class alone, not from the evidence kernel: history facts are roots, a fault's table
follows from its prior odds and factors, and a check is a chain of maxima with one link per fault (parent divorcing of
the noisy-MAX; Diez 1993), so that no table grows with the number of faults.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from econ.case import Case, Report
from econ.rulebook import MachineClass


@dataclass(frozen=True)
class Node:
    """A variable: its number of values, its parents, and P(value | parents), axes parents..., value."""

    name: str
    values: int
    parents: tuple[str, ...]
    table: np.ndarray


def _fact(case: Case, c: MachineClass, name: str) -> Node:
    """Known: certain. Reported with some reliability: true with that chance, else as unknown. Unknown: the shares."""
    fact, told = c.facts[name], case.history.get(name)
    weights = np.array(fact.weights)
    if told is not None:
        level = told.level if isinstance(told, Report) else told
        trust = told.reliable if isinstance(told, Report) else 1.0
        weights = (1 - trust) * weights
        weights[fact.levels.index(level)] += trust
    return Node(name, len(fact.levels), (), weights)


def _fault(c: MachineClass, name: str) -> Node:
    fault = c.faults[name]
    assert fault.prior is not None
    facts = tuple(fault.factors)
    table = np.zeros((*(len(c.facts[f].levels) for f in facts), 2))
    for levels in product(*(range(n) for n in table.shape[:-1])):
        o = fault.prior / (1 - fault.prior)
        for fact, level in zip(facts, levels, strict=True):
            o *= fault.factors[fact][level]
        table[levels] = [1 / (1 + o), o / (1 + o)]
    return Node(name, 2, facts, table)


def _check(c: MachineClass, name: str, faults: Sequence[str], leak: Sequence[float]) -> list[Node]:
    """Return the chain of a check: the leak, then the worst so far and what each fault shows alone."""
    check = c.checks[name]
    k = len(check.outcomes)
    chain = [Node(f"{name}:leak", k, (), np.diff([0.0, *leak, 1.0]))]
    for fault in faults:
        row = c.faults[fault].shows.get(name)
        if row is None:
            continue
        alone = np.diff([0.0, *row, 1.0])
        table = np.zeros((k, 2, k))
        for before, shown in product(range(k), range(k)):
            table[before, 1, max(before, shown)] += alone[shown]
        table[:, 0, :] = np.eye(k)
        chain.append(Node(f"{name}:{fault}", k, (chain[-1].name, fault), table))
    return chain


def network(
    case: Case, c: MachineClass, faults: Sequence[str], leaks: Mapping[str, Sequence[float]] | None = None
) -> tuple[list[Node], dict[str, int]]:
    """Return the nodes of a case, parents first, for these faults alone, and its findings as node -> value.

    leaks: of checks whose leak also stands for faults left out; the others have the rulebook's.
    """
    facts = [f for f in c.facts if any(f in c.faults[i].factors for i in faults)]
    nodes = [*(_fact(case, c, f) for f in facts), *(_fault(c, f) for f in faults)]
    seen: dict[str, int] = {}
    heard: dict[str, int] = {}
    for i in case.complaints:
        complaint = c.complaints[i]
        heard[complaint.check] = c.checks[complaint.check].outcomes.index(complaint.outcome)
    for finding in case.findings:
        if finding.found is not None:
            seen.update({f: int(f in finding.found) for f in c.checks[finding.check].reveals if f in faults})
        elif finding.outcome is not None:
            heard[finding.check] = c.checks[finding.check].outcomes.index(finding.outcome)
    for check, outcome in heard.items():
        chain = _check(c, check, faults, (leaks or {}).get(check, c.checks[check].leak))
        nodes += chain
        seen[chain[-1].name] = outcome
    return nodes, seen


def pyagrum_marginals(nodes: Sequence[Node], seen: Mapping[str, int], faults: Sequence[str]) -> np.ndarray:
    """Return P(fault | findings) by pyAgrum's lazy propagation."""
    import pyagrum as gum

    net = gum.BayesNet()
    for node in nodes:
        net.add(gum.LabelizedVariable(node.name, "", node.values))
        for parent in node.parents:
            net.addArc(parent, node.name)
        for levels in product(*(range(n) for n in node.table.shape[:-1])):
            net.cpt(node.name)[dict(zip(node.parents, levels, strict=True))] = node.table[levels].tolist()
    engine = gum.LazyPropagation(net)
    engine.setEvidence(dict(seen))
    engine.makeInference()
    return np.array([engine.posterior(f).toarray()[1] if f not in seen else float(seen[f]) for f in faults])


def pgmpy_engine(nodes: Sequence[Node]) -> Any:
    """Return pgmpy's variable elimination over the same network."""
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork

    size = {node.name: node.values for node in nodes}
    net = DiscreteBayesianNetwork()
    net.add_nodes_from(list(size))
    net.add_edges_from([(p, node.name) for node in nodes for p in node.parents])
    for node in nodes:
        rows = node.table.reshape(-1, node.values).T
        net.add_cpds(TabularCPD(node.name, node.values, rows, list(node.parents), [size[p] for p in node.parents]))
    return VariableElimination(net)


def pgmpy_marginals(engine: Any, seen: Mapping[str, int], faults: Sequence[str]) -> np.ndarray:
    """Return P(fault | findings) by pgmpy, one query each."""
    return np.array([engine.query([f], dict(seen), show_progress=False).values[1] for f in faults])
