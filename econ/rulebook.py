"""Rulebook: texts in, one checked machine class out.

A machine class is composed of modules. Whatever is wrong is reported at once, each with file, key and reason.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from econ.draft import KINDS, SINGLE, Documents, Draft, class_ids, gather, kind_of, model
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
    Operation,
    Part,
    ReleaseCheck,
    Season,
    Tool,
    ValueFigures,
)
from econ.lines import with_lines
from econ.overlay import Laid, Overlay, lay, read_overlays
from econ.problems import BadInput, Problem, nearest, shown

CURRENCY = "USD"  # of every price in a rulebook
FAULTS_IN_PLAY = 16
TEST_RUN = "test_run"  # the operation that ends every repair
TRACING = "trace_fault"  # the operation of finding what a failed test run shows was missed
USES = ("residential", "commercial")
SOMETHING_ELSE = "something_else"  # the fault every class has


@dataclass(frozen=True)
class MachineClass:
    """A machine class, composed and checked; every name used in it is there. laid: what overlays did to it."""

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
    laid: tuple[Laid, ...] = ()

    @property
    def id(self) -> str:
        """The id of the class."""
        return self.about.id

    def clearing(self, fault: str) -> tuple[str, ...]:
        """Return the jobs meant to clear a fault, in the order of the rulebook."""
        return tuple(name for name, job in self.jobs.items() if fault in job.clears)


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


def _absent(c: MachineClass, draft: Draft, is_check: Callable[[str], bool]) -> Iterator[Problem]:
    """Yield every name a class uses that is not there; one whose table does not fit is there all the same."""
    there = {name.rpartition(".")[2] for name in draft.tables}
    for where, name, shelf in _references(c):
        if name not in shelf and name not in there:
            rule = "nothing of this name in the class"
            yield Problem(draft.place(where), shown(name), rule, nearest(name, shelf))
    for i, fault in c.faults.items():
        for check in fault.shows:
            if not is_check(check) and check not in there:
                path = draft.place(f"faults.{i}.shows.{check}")
                yield Problem(path, shown(check), "no such check", nearest(check, c.checks))


def _uncleared(c: MachineClass, draft: Draft) -> Iterator[Problem]:
    """Yield every fault that no job clears; none while a job does not fit, or clears what is not there."""
    jobs = sum(name.startswith("jobs.") for name in draft.tables)
    if len(c.jobs) < jobs or any(x not in c.faults for job in c.jobs.values() for x in job.cleared):
        return
    for i in c.faults:
        if not c.clearing(i):
            remedy = f'add a job with clears = ["{i}"]'
            yield Problem(draft.place(f"faults.{i}"), shown(i), "no job clears this fault", remedy)


def _cross_check(c: MachineClass, draft: Draft) -> list[Problem]:
    """Check the tables of a class against each other, all their names being there."""
    problems = []

    def add(where: str, value: object, rule: str, remedy: str) -> None:
        problems.append(Problem(draft.place(where), shown(value), rule, remedy))

    for i, fault in c.faults.items():
        for fact, row in fault.factors.items():
            if len(row) != len(c.facts[fact].levels):
                levels = c.facts[fact].levels
                remedy = f"write {len(levels)} factors, for {', '.join(levels)}"
                add(f"faults.{i}.factors.{fact}", row, f"one factor per level of {fact}", remedy)
        for shown_by, row in fault.shows.items():
            if shown_by in c.checks and len(row) != len(c.checks[shown_by].leak):
                rule, count = "one figure fewer than the check has outcomes", len(c.checks[shown_by].leak)
                remedy = f"write {count} figure{'s' * (count != 1)}" if count else "remove it: the check reveals faults"
                add(f"faults.{i}.shows.{shown_by}", row, rule, remedy)
    for i, check in c.checks.items():
        hidden = [x for x in check.reveals if not c.faults[x].hidden]
        if hidden:
            add(f"checks.{i}.reveals", hidden, "only hidden faults are revealed by opening", "remove them")
        if check.unusable_from is not None and check.unusable_from not in check.outcomes[1:]:
            add(f"checks.{i}.unusable_from", check.unusable_from, "an abnormal outcome of the check", "correct it")
        if i in _needed_before(c, i):
            add(f"checks.{i}.requires", check.requires, "a check can't wait for itself", "remove it")
    for i, complaint in c.complaints.items():
        if not c.checks[complaint.check].complaint or complaint.outcome not in c.checks[complaint.check].outcomes[1:]:
            said = {x: check.outcomes[1:] for x, check in c.checks.items() if check.complaint}
            remedy = f"give a check with complaint = true: {nearest(complaint.check, said)}"
            if complaint.check in said:
                remedy = nearest(complaint.outcome, said[complaint.check])
            add(f"complaints.{i}", complaint.outcome, "an abnormal outcome of a complaint check", remedy)
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
                remedy = nearest(o.outcome, c.checks[o.check].outcomes[1:])
                add(f"holds.{i}.opened_by", o.outcome, f"an abnormal outcome of {o.check}", remedy)
            if o.fact and o.level not in c.facts[o.fact].levels:
                add(f"holds.{i}.opened_by", o.level, f"a level of {o.fact}", nearest(o.level, c.facts[o.fact].levels))
    return problems


def _compose(draft: Draft, class_id: str, problems: list[Problem]) -> dict[str, Any]:
    """Return the checked tables of a class by shelf, without those that do not fit, which join the problems."""
    shelves: dict[str, dict[str, Any]] = {shelf: {} for shelf in KINDS}
    for name, table in draft.tables.items():
        shelf, _, key = name.partition(".")
        checked = model(kind_of(name), table, name, draft.place, problems)
        if checked is not None:
            shelves[shelf][key] = checked
    about = shelves["class"].get("")
    if about is not None and about.id != class_id:
        rule = "the id is the file's name"
        problems.append(Problem(draft.place("class.id"), about.id, rule, f'write "{class_id}"'))
    if "life.residential" not in draft.tables:
        rule, remedy = "life.residential is missing", "write [life.residential] and its figures below it"
        problems.append(Problem(draft.place("life"), "nothing", rule, remedy))
    uses = {key for shelf, _, key in (name.partition(".") for name in draft.tables) if shelf == "life"}
    for use in sorted(uses - set(USES)):
        problems.append(Problem(draft.place(f"life.{use}"), shown(use), "there is no such use", nearest(use, USES)))
    return shelves


def _read(documents: Documents, class_id: str, overlays: Iterable[Overlay] = ()) -> MachineClass:
    text = documents[f"classes/{class_id}.toml"]
    if isinstance(text, Problem):
        raise BadInput([text])
    problems: list[Problem] = []
    draft = gather(documents, class_id, problems)
    ours = [x for x in overlays if x.of([class_id])]
    laid = lay(draft, ours, problems)
    tables = _compose(draft, class_id, problems)
    heads = {name: tables.pop(name).get("") for name in SINGLE}
    c = MachineClass(heads["class"], value=heads["value"], season=heads["season"], **tables, laid=laid)
    if c.about is not None:
        problems += _absent(c, draft, documents.has_check)
    if not problems:
        problems += _cross_check(c, draft)
    problems += _uncleared(c, draft)
    if problems:
        raise BadInput(problems)
    return c


def read_class(texts: Mapping[str, str], class_id: str) -> MachineClass:
    """Compose and check one machine class.

    texts: rulebook texts keyed by file name, ``modules/x.toml`` and ``classes/y.toml``.
    Raises BadInput with every problem found: file, key, value, rule, remedy.
    """
    if f"classes/{class_id}.toml" not in texts:
        rule = "the rulebooks hold no such machine class"
        raise BadInput([Problem("machine.class", shown(class_id), rule, nearest(class_id, class_ids(texts)))])
    return _read(Documents(texts), class_id)


class Shelf(Mapping[str, MachineClass]):
    """All machine classes of some rulebook texts; each is composed and checked when first asked for.

    overlays: a shop's own figures, texts keyed by file name. own: rulebooks of the shop's own, keyed as the texts are.
    Every class they bear on is composed at once. Raises BadInput with all that is wrong with them.
    """

    def __init__(
        self, texts: Mapping[str, str], overlays: Mapping[str, str] | None = None, own: Mapping[str, str] | None = None
    ) -> None:
        self._texts = {**(own or {}), **texts}
        self._ids = class_ids(self._texts)
        self._read: dict[str, MachineClass] = {}
        self.overlays: tuple[Overlay, ...] = ()
        if overlays or own:
            self._lay(overlays or {}, own or {}, set(texts))

    @cached_property
    def _documents(self) -> Documents:
        return Documents(self._texts)

    def _lay(self, overlays: Mapping[str, str], own: Mapping[str, str], shipped: set[str]) -> None:
        """Read overlays and the shop's own rulebooks, and compose every class they bear on."""
        rule = "a rulebook of this name is there already"
        problems = [Problem(name, shown(name), rule, "rename the file") for name in own if name in shipped]
        problems += [x for x in map(self._documents.__getitem__, own) if isinstance(x, Problem)]
        drafts = {i: gather(self._documents, i, []) for i in self._ids}
        self.overlays = read_overlays(overlays, drafts, problems)
        bearing = {i for x in self.overlays for i in x.of(self._ids)} | set(class_ids(own))
        found: dict[Problem, set[str]] = dict.fromkeys(problems, bearing)
        for class_id in sorted(bearing):
            try:
                self[class_id]
            except BadInput as error:
                for x in error.problems:
                    found.setdefault(x, set()).add(class_id)
        if found:
            of = {x.file: set(x.of(self._ids)) & bearing for x in self.overlays}
            told = [_in_class(x, classes, of, (*overlays, *own)) for x, classes in found.items()]
            raise BadInput(with_lines(told, {**overlays, **own}))

    def __getitem__(self, class_id: str) -> MachineClass:
        """Return a class. Raises KeyError where there is none of that id, BadInput where its rulebook is unusable."""
        if class_id not in self._read:
            if class_id not in self._ids:
                raise KeyError(class_id)
            self._read[class_id] = _read(self._documents, class_id, self.overlays)
        return self._read[class_id]

    def __iter__(self) -> Iterator[str]:
        return iter(self._ids)

    def __len__(self) -> int:
        return len(self._ids)


def _in_class(x: Problem, classes: set[str], of: Mapping[str, set[str]], ours: tuple[str, ...]) -> Problem:
    """Return a problem with the classes it is in where an overlay is for more, and what is laid over a file that ships.

    of: by file of an overlay, the classes it is for. ours: the files of the shop's own.
    """
    file = next((f for f in ours if x.path.startswith(f"{f}: ") or x.path == f), "")
    rule = x.rule
    if not of.get(file, set()) <= classes:
        rule += f" (in {', '.join(sorted(classes))})"
    if not file:
        rule += f", with {' and '.join(ours)} laid over it"
    return Problem(x.path, x.value, rule, x.remedy)
