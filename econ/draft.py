"""Draft: rulebook texts parsed once, and the raw tables of one machine class with where each figure was written.

A table goes by its dotted name: ``faults.seal``, ``life.residential``, and ``class``, ``value`` and ``season``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterator, Mapping
from dataclasses import dataclass, field
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
from econ.lines import parse
from econ.misfits import misfits
from econ.problems import Problem, nearest, shown

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
SINGLE: dict[str, type[Table]] = {"class": About, "value": ValueFigures, "season": Season}
KINDS: dict[str, type[BaseModel]] = {**SHELVES, **SINGLE, "life": LifeFigures}  # of all that a class holds
M = TypeVar("M", bound=BaseModel)
Tables = dict[str, dict[str, Any]]


def kind_of(name: str) -> type[BaseModel]:
    """Return what a table must be, by its dotted name."""
    return KINDS[name.partition(".")[0]]


def class_ids(texts: Mapping[str, object]) -> tuple[str, ...]:
    """Return the ids of the machine classes among rulebook texts keyed by file name (``classes/x.toml``)."""
    return tuple(sorted(name[8:-5] for name in texts if name.startswith("classes/") and name.endswith(".toml")))


def model(kind: type[M], data: object, name: str, place: Callable[[str], str], problems: list[Problem]) -> M | None:
    """Return a table checked. name: its dotted name; place: where a dotted name was written."""
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        problems += misfits(error, kind, lambda path: place(f"{name}.{path}" if path else name))
        return None


def named(
    document: object, where: str, kinds: Container[str], problems: list[Problem]
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the tables of a document by dotted name; whatever is not one of these kinds is a problem.

    where: what goes before the names of its problems, ``modules/x.toml: ``.
    """
    if not isinstance(document, dict):
        path = where.rstrip(".: ")
        remedy = f"write [{'.'.join((*path.split(': ')[1:], 'shelf.id'))}]"
        problems.append(Problem(path, shown(document), "this holds tables", remedy))
        return
    for shelf, value in document.items():
        path = f"{where}{shelf}"
        heading = path.partition(": ")[2]
        if shelf not in kinds:
            known = [k for k in KINDS if k in kinds]
            problems.append(Problem(path, shown(shelf), "no such shelf", nearest(shelf, known)))
        elif not isinstance(value, dict):
            single = shelf in SINGLE
            rule = "this must be a table" if single else "a shelf holds tables, one for each id"
            problems.append(Problem(path, shown(value), rule, f"write [{heading}{'' if single else '.id'}]"))
        elif shelf in SINGLE:
            yield shelf, value
        else:
            for key, table in value.items():
                if not re.fullmatch("[a-z0-9_]{1,64}", key):
                    rule = "an id is small letters, digits and _, at most 64 of them"
                    problems.append(Problem(f"{path}.{key}", shown(key), rule, "rename it"))
                elif not isinstance(table, dict):
                    remedy = f"write [{heading}.{key}] and its figures below it"
                    problems.append(Problem(f"{path}.{key}", shown(table), "this must be a table", remedy))
                else:
                    yield f"{shelf}.{key}", table


def leaves(figures: Mapping[str, Any], above: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Yield the keys of every figure of a table, near and far; sources are no figures."""
    for key, value in figures.items():
        if isinstance(value, dict):
            yield from leaves(value, (*above, key))
        elif key != "source" and not key.endswith("_source"):
            yield (*above, key)


def _over(before: Any, after: Any) -> Any:
    """Return a table with figures laid over it, tables within it likewise."""
    if not (isinstance(before, dict) and isinstance(after, dict)):
        return after
    return before | {key: _over(before.get(key), value) for key, value in after.items()}


def source_key(kind: type[BaseModel], figure: str) -> str:
    """Return the key that holds the source of a figure of a table, empty where there is none."""
    own = (f for f in kind.model_fields if f.endswith("_source") and figure.startswith(f.removesuffix("_source")))
    return next(own, "source" if "source" in kind.model_fields else "")


@dataclass
class Draft:
    """The raw tables of one machine class by dotted name.

    origin: by the dotted name of a table or figure what goes before it to say where it was written, for a table the
    text that touched it last; home: the same where nothing is known.
    """

    home: str
    tables: Tables = field(default_factory=dict)
    origin: dict[str, str] = field(default_factory=dict)

    def place(self, name: str) -> str:
        """Return where a dotted name was written: ``modules/x.toml: faults.seal.prior``."""
        known = name
        while known and known not in self.origin:
            known = known.rpartition(".")[0]
        return f"{self.origin.get(known, self.home)}{name}"

    def add(self, name: str, table: dict[str, Any], where: str) -> None:
        """Take a new table. where: what goes before its name."""
        self.tables[name] = table
        self.origin |= {name: where} | {f"{name}.{key}": where for key in table}

    def laid_over(self, name: str, figures: Mapping[str, Any]) -> dict[str, Any]:
        """Return a table as it is with figures laid over it."""
        laid: dict[str, Any] = _over(self.tables[name], figures)
        return laid

    def change(self, name: str, figures: Mapping[str, Any], where: str) -> None:
        """Lay figures over a table that is there. where: what goes before its name."""
        new = [key for key in figures if not isinstance(self.tables[name].get(key), dict)]
        self.tables[name] = self.laid_over(name, figures)
        told = {f"{name}.{'.'.join(key)}": where for key in leaves(figures)}
        self.origin |= {name: where} | {f"{name}.{key}": where for key in new} | told

    def unsourced(self, name: str, figures: Mapping[str, Any], where: str) -> Iterator[Problem]:
        """Yield the figures of a change that come without their source."""
        missing = set()
        for key in (leaf[0] for leaf in leaves(figures)):
            before, after, own = self.tables[name].get(key), figures[key], source_key(kind_of(name), key)
            if own and own not in figures:
                missing.add(own)
            if isinstance(before, dict) and isinstance(after, dict) and before.keys() - after.keys() >= {"source"}:
                missing.add(f"{key}.source")
        for own in sorted(missing):
            yield Problem(f"{where}{name}", "no source", "every figure has a source", f"add {own}")


class Documents:
    """Rulebook texts by file name, each parsed when it is first asked for."""

    def __init__(self, texts: Mapping[str, str]) -> None:
        self.texts = texts
        self._read: dict[str, dict[str, Any] | Problem] = {}

    def __getitem__(self, name: str) -> dict[str, Any] | Problem:
        """Return what a text holds, or what is wrong with it. Raises KeyError where there is none of that name."""
        if name not in self._read:
            self._read[name] = parse(name, self.texts[name])
        return self._read[name]

    def has_check(self, check: str) -> bool:
        """Return whether any text has a check of this id: a fault may show on one that its class lacks."""
        modules_first = sorted(self.texts, reverse=True)  # classes seldom have checks of their own
        holders = (self[name] for name in modules_first if check in self.texts[name])
        shelves = (x.get("checks") for x in holders if isinstance(x, dict))
        return any(check in shelf for shelf in shelves if isinstance(shelf, dict))


def gather(documents: Documents, class_id: str, problems: list[Problem]) -> Draft:
    """Return the raw tables of a class and its modules; ids must not repeat.

    Changes of the modules are laid over, in the order of the modules, then those of the class.
    """
    file = f"classes/{class_id}.toml"
    draft = Draft(f"{file}: ")
    text = documents[file]
    own = dict(text) if isinstance(text, dict) else {}
    head = own.get("class")
    modules = head.get("modules") if isinstance(head, dict) else None
    sources: list[tuple[str, dict[str, Any], Container[str]]] = []
    for module in modules if isinstance(modules, list) else ():
        name = f"modules/{module}.toml"
        if name not in documents.texts:
            known = [n[8:-5] for n in documents.texts if n.startswith("modules/")]
            problems.append(Problem(f"{file}: class.modules", shown(module), "no such module", nearest(module, known)))
        elif isinstance(text := documents[name], Problem):
            problems.append(text)
        else:
            document = dict(text)
            model(ModuleHead, document.pop("module", {}), "module", f"{name}: {{}}".format, problems)
            sources.append((f"{name}: ", document, SHELVES))
    sources.append((f"{file}: ", own, KINDS))
    changes = [(f"{where}change.", kinds, document.pop("change", {})) for where, document, kinds in sources]
    for where, document, kinds in sources:
        for name, table in named(document, where, kinds, problems):
            if name in draft.tables:
                key = name.rpartition(".")[2]
                problems.append(Problem(f"{where}{name}", key, "this id is taken by another module", "rename one"))
            draft.add(name, table, where)
    for where, kinds, document in changes:
        for name, figures in named(document, where, kinds, problems):
            if name not in draft.tables:
                problems.append(unknown(name, [draft], where))
                continue
            problems += draft.unsourced(name, figures, where)
            draft.change(name, figures, where)
    for name in SINGLE:
        draft.tables.setdefault(name, {})
    return draft


def unknown(name: str, drafts: list[Draft], where: str) -> Problem:
    """Return the problem of a change to a table that none of the drafts has, with the nearest that one has."""
    shelf, _, key = name.partition(".")
    keys = {n.partition(".")[2] for draft in drafts for n in draft.tables if n.startswith(f"{shelf}.")}
    return Problem(f"{where}{name}", shown(key), "nothing of this name", nearest(key, keys))
