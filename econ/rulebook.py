"""Rulebook: texts in, one checked machine class out.

A machine class is composed of modules. Whatever is wrong is reported at once, each with file, key and reason.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from econ.knowledge import (
    About,
    Caution,
    Check,
    Complaint,
    Fact,
    Fault,
    Hold,
    Job,
    LifeFigures,
    ModuleHead,
    Operation,
    Part,
    ReleaseCheck,
    Season,
    Table,
    Tool,
    ValueFigures,
)
from econ.problems import BadInput, Problem, nearest, shown

CURRENCY = "USD"  # of every price in a rulebook
FAULTS_IN_PLAY = 16
SHELVES: dict[str, type[Table]] = {
    "facts": Fact,
    "faults": Fault,
    "checks": Check,
    "complaints": Complaint,
    "operations": Operation,
    "jobs": Job,
    "parts": Part,
    "tools": Tool,
    "holds": Hold,
    "cautions": Caution,
    "release_checks": ReleaseCheck,
}
M = TypeVar("M", bound=BaseModel)
TEST_RUN = "test_run"  # the operation that ends every repair
TRACING = "trace_fault"  # the operation of finding what a failed test run shows was missed
SOMETHING_ELSE = "something_else"  # the fault every class has


@dataclass(frozen=True)
class MachineClass:
    """A machine class, composed and checked; every name used in it is there."""

    about: About
    life: Mapping[str, LifeFigures]
    value: ValueFigures
    season: Season
    facts: Mapping[str, Fact]
    faults: Mapping[str, Fault]
    checks: Mapping[str, Check]
    complaints: Mapping[str, Complaint]
    operations: Mapping[str, Operation]
    jobs: Mapping[str, Job]
    parts: Mapping[str, Part]
    tools: Mapping[str, Tool]
    holds: Mapping[str, Hold]
    cautions: Mapping[str, Caution]
    release_checks: Mapping[str, ReleaseCheck]

    @property
    def id(self) -> str:
        """The id of the class."""
        return self.about.id

    def clearing(self, fault: str) -> tuple[str, ...]:
        """Return the jobs meant to clear a fault, in the order of the rulebook."""
        return tuple(name for name, job in self.jobs.items() if fault in job.clears)


def class_ids(texts: Mapping[str, str]) -> tuple[str, ...]:
    """Return the ids of the machine classes among rulebook texts keyed by file name (``classes/x.toml``)."""
    return tuple(sorted(name[8:-5] for name in texts if name.startswith("classes/") and name.endswith(".toml")))


def _parse(name: str, text: str, problems: list[Problem]) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        problems.append(Problem(name, "unreadable text", f"a rulebook is TOML: {error}", "correct the line"))
        return {}


def _model(kind: type[M], data: object, where: str, problems: list[Problem]) -> M | None:
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        for e in error.errors(include_url=False):
            path = ".".join(str(p) for p in e["loc"])
            got = "nothing" if e["type"] == "missing" else shown(e["input"])
            rule = str(e["msg"]).removeprefix("Value error, ")
            problems.append(Problem(f"{where}.{path}".rstrip("."), got, rule, "correct the rulebook"))
        return None


def _collect(
    texts: Mapping[str, str], about: About, own: dict[str, Any], problems: list[Problem]
) -> dict[str, dict[str, Any]]:
    """Gather the raw tables of a class and its modules by shelf, changes of modules laid over; ids must not repeat."""
    raw: dict[str, dict[str, Any]] = {shelf: {} for shelf in SHELVES}
    sources: list[tuple[str, dict[str, Any]]] = []
    changes: list[tuple[str, object]] = []
    for module in about.modules:
        name = f"modules/{module}.toml"
        if name not in texts:
            known = [n[8:-5] for n in texts if n.startswith("modules/")]
            problems.append(
                Problem(
                    f"classes/{about.id}.toml: class.modules",
                    module,
                    "no such module",
                    nearest(module, known),
                )
            )
            continue
        document = _parse(name, texts[name], problems)
        if document:
            _model(ModuleHead, document.pop("module", {}), f"{name}: module", problems)
            changes.append((name, document.pop("change", {})))
        sources.append((name, document))
    sources.append((f"classes/{about.id}.toml", own))
    for name, document in sources:
        for shelf, tables in document.items():
            if shelf not in raw:
                problems.append(Problem(f"{name}: {shelf}", shelf, "no such shelf", nearest(shelf, raw)))
                continue
            for key, table in _tables(tables, f"{name}: {shelf}", problems):
                if key in raw[shelf]:
                    problems.append(
                        Problem(f"{name}: {shelf}.{key}", key, "this id is taken by another module", "rename one")
                    )
                raw[shelf][key] = {**table, "_file": name}
    for name, change in changes:
        _change(raw, change, f"{name}: change", problems)
    return raw


def _tables(value: object, where: str, problems: list[Problem]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the tables of a shelf; whatever is not one is a problem."""
    if not isinstance(value, dict):
        problems.append(Problem(where, shown(value), "a shelf holds tables, one for each id", "write [shelf.id]"))
        return
    for key, table in value.items():
        if isinstance(table, dict):
            yield key, table
        else:
            problems.append(Problem(f"{where}.{key}", shown(table), "this must be a table", "write [shelf.id]"))


def _change(raw: dict[str, dict[str, Any]], changes: object, where: str, problems: list[Problem]) -> None:
    """Lay the changes of a class or module over the figures of the modules."""
    for shelf, tables in _tables(changes, where, problems):
        for key, figures in _tables(tables, f"{where}.{shelf}", problems):
            if key not in raw.get(shelf, {}):
                known = raw.get(shelf, {}) or raw
                problems.append(Problem(f"{where}.{shelf}.{key}", key, "nothing of this name", nearest(key, known)))
            elif "source" not in figures:
                rule = "every figure has a source"
                problems.append(Problem(f"{where}.{shelf}.{key}", "no source", rule, "add source"))
            else:
                raw[shelf][key] = {**raw[shelf][key], **figures}


def _references(c: MachineClass) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Yield every reference of a class: where it stands, the id, and the shelf it must be in."""
    for i, fault in c.faults.items():
        yield from ((f"faults.{i}.factors", fact, c.facts) for fact in fault.factors)
    for i, check in c.checks.items():
        yield from ((f"checks.{i}.operations", x, c.operations) for x in check.operations)
        yield from ((f"checks.{i}.requires", x, c.checks) for x in check.requires)
        yield from ((f"checks.{i}.reveals", x, c.faults) for x in check.reveals)
        yield from ((f"checks.{i}.tools", x, c.tools) for x in check.tools)
        yield from ((f"checks.{i}.cautions", x, c.cautions) for x in check.cautions)
    for i, complaint in c.complaints.items():
        yield f"complaints.{i}.check", complaint.check, c.checks
    for i, operation in c.operations.items():
        yield from ((f"operations.{i}.parts", q.part, c.parts) for q in operation.parts)
        yield from ((f"operations.{i}.tools", x, c.tools) for x in operation.tools)
        for trouble in operation.complications:
            yield from ((f"operations.{i}.complications", q.part, c.parts) for q in trouble.parts)
    for i, job in c.jobs.items():
        yield from ((f"jobs.{i}.operations", x, c.operations) for x in job.operations)
        yield from ((f"jobs.{i}.parts", q.part, c.parts) for q in job.parts)
        yield from ((f"jobs.{i}.clears", x, c.faults) for x in job.cleared)
        yield from ((f"jobs.{i}.root_causes", x, c.faults) for x in job.root_causes)
        yield from ((f"jobs.{i}.release_checks", x, c.release_checks) for x in job.release_checks)
        yield from ((f"jobs.{i}.cautions", x, c.cautions) for x in job.cautions)
    for i, hold in c.holds.items():
        yield from ((f"holds.{i}.cleared_by", x, c.jobs) for x in hold.cleared_by)
        yield from ((f"holds.{i}.opened_by", o.check, c.checks) for o in hold.opened_by if o.check)
        yield from ((f"holds.{i}.opened_by", o.fact, c.facts) for o in hold.opened_by if o.fact)
        yield from ((f"holds.{i}.opened_by", o.fault, c.faults) for o in hold.opened_by if o.fault)
    yield from (("class.release_checks", x, c.release_checks) for x in c.about.release_checks)
    yield from (("class.cautions", x, c.cautions) for x in c.about.cautions)
    yield "operations", TEST_RUN, c.operations
    yield "operations", TRACING, c.operations
    yield "faults", SOMETHING_ELSE, c.faults


def _needed_before(c: MachineClass, check: str) -> set[str]:
    """Return all checks that must come before a check, near and far."""
    found: set[str] = set()
    ahead = [*c.checks[check].requires]
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead += c.checks[name].requires
    return found


def _cross_check(c: MachineClass, files: Mapping[tuple[str, str], str], every_check: frozenset[str]) -> list[Problem]:
    """Check the tables of a class against each other."""
    problems = []

    def add(where: str, value: object, rule: str, remedy: str) -> None:
        shelf, _, rest = where.partition(".")
        file = files.get((shelf, rest.partition(".")[0]), f"classes/{c.id}.toml")
        problems.append(Problem(f"{file}: {where}", shown(value), rule, remedy))

    for where, name, shelf in _references(c):
        if name not in shelf:
            add(where, name, "nothing of this name in the class", nearest(name, shelf))
    if problems:
        return problems
    for i, fault in c.faults.items():
        for fact, row in fault.factors.items():
            if len(row) != len(c.facts[fact].levels):
                add(f"faults.{i}.factors.{fact}", row, f"one factor per level of {fact}", "correct the row")
        for shown_by, row in fault.shows.items():
            if shown_by not in every_check:
                add(f"faults.{i}.shows.{shown_by}", shown_by, "no such check", nearest(shown_by, every_check))
            elif shown_by in c.checks and len(row) != len(c.checks[shown_by].leak):
                add(
                    f"faults.{i}.shows.{shown_by}",
                    row,
                    "one figure fewer than the check has outcomes",
                    "correct it",
                )
        if not c.clearing(i):
            add(f"faults.{i}", i, "no job clears this fault", "add a job, or a swap, that does")
    for i, check in c.checks.items():
        hidden = [x for x in check.reveals if not c.faults[x].hidden]
        if hidden:
            add(f"checks.{i}.reveals", hidden, "only hidden faults are revealed by opening", "remove them")
        if i in _needed_before(c, i):
            add(f"checks.{i}.requires", check.requires, "a check can't wait for itself", "remove it")
    for i, complaint in c.complaints.items():
        if not c.checks[complaint.check].complaint or complaint.outcome not in c.checks[complaint.check].outcomes[1:]:
            add(f"complaints.{i}", complaint.outcome, "an abnormal outcome of a complaint check", "correct it")
    for i, job in c.jobs.items():
        wear = all(c.faults[x].wear for x in job.clears) and bool(job.clears)
        if job.extra and not wear:
            add(f"jobs.{i}.clears", job.clears, "an extra clears wear faults only", "set extra = false")
        unfit = [x for x in job.root_causes if x in job.cleared or c.faults[x].wear]
        if unfit:
            add(f"jobs.{i}.root_causes", unfit, "a root cause is a fault with a prior that the job leaves", "remove it")
        if job.root_causes and not any(c.parts[q.part].life for q in job.parts):
            rule = "a job that fails before its time fits a part with a life"
            add(f"jobs.{i}.root_causes", job.root_causes, rule, "give one of its parts a life")
    for i, hold in c.holds.items():
        for o in hold.opened_by:
            if o.check and o.outcome not in c.checks[o.check].outcomes[1:]:
                add(f"holds.{i}.opened_by", o.outcome, f"an abnormal outcome of {o.check}", "correct it")
            if o.fact and o.level not in c.facts[o.fact].levels:
                add(f"holds.{i}.opened_by", o.level, f"a level of {o.fact}", "correct it")
    return problems


def read_class(texts: Mapping[str, str], class_id: str) -> MachineClass:
    """Compose and check one machine class.

    texts: rulebook texts keyed by file name, ``modules/x.toml`` and ``classes/y.toml``.
    Raises BadInput with every problem found: file, key, value, rule, remedy.
    """
    name = f"classes/{class_id}.toml"
    if name not in texts:
        rule = "the rulebooks hold no such machine class"
        raise BadInput([Problem("machine.class", shown(class_id), rule, nearest(class_id, class_ids(texts)))])
    problems: list[Problem] = []
    own = _parse(name, texts[name], problems)
    about = _model(About, own.pop("class", {}), f"{name}: class", problems)
    life = {use: _model(LifeFigures, t, f"{name}: life.{use}", problems) for use, t in own.pop("life", {}).items()}
    value = _model(ValueFigures, own.pop("value", {}), f"{name}: value", problems)
    season = _model(Season, own.pop("season", {}), f"{name}: season", problems)
    changes = own.pop("change", {})
    if about is None:
        raise BadInput(problems)
    if about.id != class_id:
        problems.append(Problem(f"{name}: class.id", about.id, "the id is the file's name", f'write "{class_id}"'))
    raw = _collect(texts, about, own, problems)
    _change(raw, changes, f"{name}: change", problems)
    files = {(shelf, key): str(t.pop("_file")) for shelf, tables in raw.items() for key, t in tables.items()}
    shelves: dict[str, dict[str, Any]] = {
        shelf: {key: _model(kind, t, f"{files[shelf, key]}: {shelf}.{key}", problems) for key, t in raw[shelf].items()}
        for shelf, kind in SHELVES.items()
    }
    if "residential" not in life:
        problems.append(Problem(f"{name}: life", "nothing", "life.residential is missing", "add it"))
    if problems or value is None or season is None:
        raise BadInput(problems)
    checked_life = {use: figures for use, figures in life.items() if figures is not None}
    machine_class = MachineClass(about, checked_life, value, season, **shelves)
    every_check = frozenset(shelves["checks"]) | _checks_anywhere(texts)
    problems = _cross_check(machine_class, files, every_check)
    if problems:
        raise BadInput(problems)
    return machine_class


def _checks_anywhere(texts: Mapping[str, str]) -> frozenset[str]:
    """Return the ids of all checks of all modules: a fault may show on a check that this class lacks."""
    found: set[str] = set()
    for text in texts.values():
        try:
            found.update(tomllib.loads(text).get("checks", {}))
        except tomllib.TOMLDecodeError:
            continue  # reported when a class that uses the file is read
    return frozenset(found)


class Shelf(Mapping[str, MachineClass]):
    """All machine classes of some rulebook texts; each is composed and checked when first asked for."""

    def __init__(self, texts: Mapping[str, str]) -> None:
        self._texts = texts
        self._ids = class_ids(texts)
        self._read: dict[str, MachineClass] = {}

    def __getitem__(self, class_id: str) -> MachineClass:
        """Return a class. Raises KeyError where there is none of that id, BadInput where its rulebook is unusable."""
        if class_id not in self._read:
            if class_id not in self._ids:
                raise KeyError(class_id)
            self._read[class_id] = read_class(self._texts, class_id)
        return self._read[class_id]

    def __iter__(self) -> Iterator[str]:
        return iter(self._ids)

    def __len__(self) -> int:
        return len(self._ids)
