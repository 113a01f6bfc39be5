"""Names: the ids of a case document checked against its machine class, whatever else is wrong with the document."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from econ.case import SAID_NOTHING
from econ.problems import Problem, nearest, shown
from econ.rulebook import MachineClass


def _each(document: Mapping[str, Any], key: str) -> Iterator[tuple[int, Any]]:
    value = document.get(key)
    if isinstance(value, list | tuple):
        yield from enumerate(value)


def _unknown(path: str, name: object, kind: str, known: Mapping[str, Any], c: MachineClass) -> Iterator[Problem]:
    if isinstance(name, str) and name not in known:
        yield Problem(path, shown(name), f"{c.about.title}: no such {kind}", nearest(name, known))


def _history(document: Mapping[str, Any], c: MachineClass) -> Iterator[Problem]:
    told = document.get("history")
    for fact, report in told.items() if isinstance(told, Mapping) else ():
        yield from _unknown(f"history.{fact}", fact, "history fact", c.facts, c)
        level = report.get("level") if isinstance(report, Mapping) else report
        if fact in c.facts and isinstance(level, str) and level not in (*c.facts[fact].levels, *SAID_NOTHING):
            rule = f"{c.facts[fact].title} has no such level"
            path = f"history.{fact}.level" if isinstance(report, Mapping) else f"history.{fact}"
            yield Problem(path, shown(level), rule, nearest(level, c.facts[fact].levels))


def _one_finding(path: str, finding: Mapping[str, Any], c: MachineClass) -> Iterator[Problem]:
    name = finding.get("check")
    if not isinstance(name, str):
        return
    yield from _unknown(f"{path}.check", name, "check", c.checks, c)
    check = c.checks.get(name)
    if check is None:
        return
    outcome = finding.get("outcome")
    if isinstance(outcome, str) and outcome not in (*check.outcomes, *SAID_NOTHING):
        remedy = "give found, the hidden faults seen" if check.reveals else nearest(outcome, check.outcomes)
        yield Problem(f"{path}.outcome", shown(outcome), f"{name} has no such outcome", remedy)
    if finding.get("reading") is not None and check.reading is None:
        rule = f"{name} takes no reading"
        yield Problem(f"{path}.reading", shown(finding["reading"]), rule, nearest("", check.outcomes))
    found = finding.get("found")
    if isinstance(found, list | tuple):
        if not check.reveals:
            yield Problem(f"{path}.found", shown(found), f"{name} opens nothing", "give its outcome instead")
        for j, fault in enumerate(found):
            if check.reveals and isinstance(fault, str) and fault not in check.reveals:
                rule = f"{name} does not show this fault"
                yield Problem(f"{path}.found.{j}", shown(fault), rule, nearest(fault, check.reveals))


def _findings(document: Mapping[str, Any], c: MachineClass) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for i, complaint in _each(document, "complaints"):
        yield from _unknown(f"complaints.{i}", complaint, "complaint", c.complaints, c)
    for i, finding in _each(document, "findings"):
        if not isinstance(finding, Mapping):
            continue
        path = f"findings.{i}"
        yield from _one_finding(path, finding, c)
        name, outcome = finding.get("check"), finding.get("outcome")
        if isinstance(name, str) and outcome not in SAID_NOTHING:
            if name in seen:
                rule = f"this check has its outcome at {seen[name]} already"
                yield Problem(f"{path}.check", shown(name), rule, "keep the one that holds")
            seen[name] = path


def name_problems(document: Mapping[str, Any], c: MachineClass) -> tuple[Problem, ...]:
    """Return every id of a case document that its machine class does not know, with the nearest that it does."""
    found = [*_history(document, c), *_findings(document, c)]
    jobs_by_extra = {i: j for i, j in c.jobs.items() if j.extra}
    for i, name in _each(document, "wanted"):
        found += _unknown(f"wanted.{i}", name, "wanted extra", jobs_by_extra, c)
    for i, name in _each(document, "recalled_jobs"):
        found += _unknown(f"recalled_jobs.{i}", name, "job", c.jobs, c)
    for i, prior in _each(document, "prior_jobs"):
        if isinstance(prior, Mapping):
            found += _unknown(f"prior_jobs.{i}.job", prior.get("job"), "job", c.jobs, c)
    for i, name in _each(document, "unobtainable"):
        found += _unknown(f"unobtainable.{i}", name, "part", c.parts, c)
    for field in ("prices", "listed_as"):
        named = document.get(field)
        for name in named if isinstance(named, Mapping) else ():
            found += _unknown(f"{field}.{name}", name, "part", c.parts, c)
    tools = document.get("tools")
    for key in ("owned", "cannot_get"):
        for i, name in _each(tools if isinstance(tools, Mapping) else {}, key):
            found += _unknown(f"tools.{key}.{i}", name, "tool", c.tools, c)
    return tuple(found)
