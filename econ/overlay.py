"""Overlay: a shop's own figures, texts of their own, laid over the raw tables of machine classes.

Overlays that would change or add the same thing clash and are refused, so the order they come in is of no matter.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import combinations
from typing import Annotated, Any

from pydantic import Field, Strict, TypeAdapter, ValidationError

from econ.draft import KINDS, SINGLE, Draft, Tables, kind_of, leaves, model, named, source_key, unknown
from econ.knowledge import Id, Source, Table
from econ.lines import parse
from econ.misfits import misfits
from econ.problems import Problem, nearest, shown

FIXED = ("id", "modules")  # of a class: a class of other modules is another class
NAMED = 12  # figures named in an answer; the rest is counted
_SOURCE: TypeAdapter[str] = TypeAdapter(Annotated[Source, Strict()])


class OverlayHead(Table):
    """The head of an overlay. classes: the machine classes it is for; every one where left out."""

    id: Id
    title: str
    classes: Annotated[tuple[Id, ...], Strict(False), Field(min_length=1)] | None = None


@dataclass(frozen=True)
class Overlay:
    """An overlay as read: tables to add and figures to change, by dotted name of the table."""

    file: str
    about: OverlayHead
    added: Tables
    changed: Tables

    def of(self, class_ids: Iterable[str]) -> tuple[str, ...]:
        """Return the machine classes among these that it is for."""
        return tuple(i for i in class_ids if self.about.classes is None or i in self.about.classes)


@dataclass(frozen=True)
class NewFigure:
    """A figure that an overlay changed: its dotted name, and its value before and after in plain words."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class Laid:
    """What an overlay did to a machine class. added: the dotted names of tables."""

    id: str
    title: str
    source: str
    file: str
    added: tuple[str, ...]
    changed: tuple[NewFigure, ...]

    def summary(self) -> str:
        """Return what it did in one line, by dotted names."""
        parts = (("changes", [x.name for x in self.changed]), ("adds", list(self.added)))
        return "; ".join(f"{verb} {_counted(names)}" for verb, names in parts if names)


def _counted(names: list[str]) -> str:
    more = len(names) - NAMED
    return ", ".join(names[:NAMED]) + (f" and {more} more" if more > 0 else "")


def read_overlays(
    texts: Mapping[str, str], drafts: Mapping[str, Draft], problems: list[Problem]
) -> tuple[Overlay, ...]:
    """Return overlays read from texts keyed by file name; what is wrong with them joins the problems.

    drafts: by class id, of all machine classes. One whose head does not fit is read on, so that all is told at once.
    """
    found = [x for x in (_read(file, text, drafts, problems) for file, text in texts.items()) if x]
    for a, b in combinations(found, 2):
        problems += _clashes(a, b, drafts)
    for x in found:
        problems += _misplaced(x, found, drafts)
    return tuple(found)


def _read(file: str, text: str, drafts: Mapping[str, Draft], problems: list[Problem]) -> Overlay | None:
    document = parse(file, text)
    if isinstance(document, Problem):
        problems.append(document)
        return None
    parts = ("overlay", "add", "change")
    for key in sorted(document.keys() - set(parts)):
        rule = "an overlay holds [overlay], [add.shelf.id] and [change.shelf.id]"
        problems.append(Problem(f"{file}: {key}", shown(key), rule, nearest(key, parts)))
    head = document.get("overlay", {})
    if not isinstance(head, dict):
        remedy = "write [overlay] and below it id, title and source"
        problems.append(Problem(f"{file}: overlay", shown(head), "this must be a table", remedy))
        about = _nearly({}, file)
    else:
        about = model(OverlayHead, head, "overlay", f"{file}: {{}}".format, problems) or _nearly(head, file)
    several = KINDS.keys() - SINGLE.keys()
    added = dict(named(document.get("add", {}), f"{file}: add.", several, problems))
    changed = dict(named(document.get("change", {}), f"{file}: change.", KINDS, problems))
    for verb, tables in (("add", added), ("change", changed)):
        for name, table in tables.items():
            problems += _unsaid(table, f"{file}: {verb}.{name}")
    for name in about.classes or ():
        if name not in drafts:
            rule = "the rulebooks hold no such machine class"
            problems.append(Problem(f"{file}: overlay.classes", shown(name), rule, nearest(name, drafts)))
    return Overlay(file, about, added, changed)


def _nearly(head: Mapping[str, Any], file: str) -> OverlayHead:
    """Return a head that does not fit, as far as it goes: the classes it names, and an id that no other has."""
    classes = head.get("classes")
    told = [classes] if isinstance(classes, str) else classes
    names = tuple(x for x in told if isinstance(x, str)) if isinstance(told, list) else ()
    return OverlayHead.model_construct(id=file, title="", source="", classes=None if classes is None else names)


def _is_source(key: str) -> bool:
    return key == "source" or key.endswith("_source")


def _unsaid(table: Mapping[str, Any], path: str) -> Iterator[Problem]:
    """Yield the sources of a table that say nothing, tables within it likewise: before they are signed."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _unsaid(value, f"{path}.{key}")
        elif _is_source(key):
            try:
                _SOURCE.validate_python(value)
            except ValidationError as error:
                yield from misfits(error, Table, f"{path}.{key}{{}}".format)


def _clashes(a: Overlay, b: Overlay, drafts: Mapping[str, Draft]) -> Iterator[Problem]:
    """Yield what two overlays both change, or both add, in a class that both are for, and an id they share."""
    if a.about.id == b.about.id:
        yield Problem(f"{b.file}: overlay.id", shown(b.about.id), f"{a.file} has this id too", "choose another id")
    if not set(a.of(drafts)) & set(b.of(drafts)):
        return
    for name in b.added:
        if name in a.added:
            yield Problem(f"{b.file}: add.{name}", name, f"{a.file} adds it too", "keep one, or rename one")
    for name in b.changed:
        told = set(leaves(a.changed.get(name, {})))
        for key in leaves(b.changed[name]):
            if key in told:
                dotted, value = ".".join((name, *key)), shown(_dig(b.changed[name], key))
                yield Problem(f"{b.file}: change.{dotted}", value, f"{a.file} changes it too", "keep it in one of them")


def _misplaced(x: Overlay, every: Iterable[Overlay], drafts: Mapping[str, Draft]) -> Iterator[Problem]:
    """Yield what an overlay adds that is there, and what it changes that is not, in the classes it is for."""
    over = [drafts[i] for i in x.of(drafts)]
    if not over:
        return  # no class of it is known, which is told; what is in them can't be
    for name in x.added:
        taken = next((draft.place(name) for draft in over if name in draft.tables), None)
        if taken:
            rule, key = f"this id is taken: {taken}", name.partition(".")[2]
            yield Problem(f"{x.file}: add.{name}", shown(key), rule, f"choose another id, or write [change.{name}]")
    added = {name for y in every for name in y.added if set(x.of(drafts)) & set(y.of(drafts))}
    for name, figures in x.changed.items():
        if name not in added and not any(name in draft.tables for draft in over):
            yield unknown(name, over, f"{x.file}: change.")
        for key in FIXED if name == "class" else ():
            if key in figures:
                rule = "an overlay leaves the id and the modules of a class as they are"
                yield Problem(f"{x.file}: change.class.{key}", shown(figures[key]), rule, "write a class of your own")


def lay(draft: Draft, overlays: Iterable[Overlay], problems: list[Problem]) -> tuple[Laid, ...]:
    """Lay overlays over the raw tables of a class they are for; return what each did.

    First all tables are added, then all figures changed: an overlay may change what another adds. A figure that is as
    it was is no change, and a table without one keeps its source.
    """
    ours = tuple(overlays)
    added: dict[str, list[str]] = {x.file: [] for x in ours}
    changed: dict[str, list[NewFigure]] = {x.file: [] for x in ours}
    for x in ours:
        for name, table in x.added.items():
            if name not in draft.tables:
                draft.add(name, _signed(table, x), f"{x.file}: add.")
                added[x.file].append(name)
    for x in ours:
        where = f"{x.file}: change."
        for name, figures in x.changed.items():
            if name not in draft.tables:
                continue  # another class of the overlay has it
            problems += draft.unsourced(name, figures, where)
            news = _news(draft, name, figures)
            if news:
                own = [n.name.removeprefix(f"{name}.") for n in news]
                draft.change(name, _signed(figures, x) | _source(draft, name, figures, own, x), where)
                changed[x.file] += news
    did = [
        Laid(x.about.id, x.about.title, x.about.source, x.file, tuple(added[x.file]), tuple(changed[x.file]))
        for x in ours
    ]
    return tuple(x for x in did if x.added or x.changed)


def _news(draft: Draft, name: str, figures: Mapping[str, Any]) -> list[NewFigure]:
    """Return the figures of a change that differ in value from what is there."""
    keys = list(leaves(figures))
    before, after = draft.tables[name], draft.laid_over(name, figures)
    with suppress(ValidationError):  # told when the class is composed; then as written will do
        before, after = (kind_of(name).model_validate(t).model_dump() for t in (before, after))
    pairs = [(key, _dig(before, key), _dig(after, key)) for key in keys]
    return [NewFigure(".".join((name, *key)), _plain(old), _plain(new)) for key, old, new in pairs if old != new]


def _dig(table: Any, key: tuple[str, ...]) -> Any:
    for part in key:
        table = table.get(part) if isinstance(table, dict) else None
    return table


def _plain(value: Any) -> str:
    """Return a figure as plain text."""
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_plain, value)) + "]"
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: "none"}[value]
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _signed(table: Any, x: Overlay) -> dict[str, Any]:
    """Return a table with the overlay named in its sources, tables within it likewise."""
    said: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            said[key] = _signed(value, x)
        elif _is_source(key):
            said[key] = f"{value} (overlay {x.about.id})"
        else:
            said[key] = value
    return said


def _source(draft: Draft, name: str, figures: Mapping[str, Any], own: list[str], x: Overlay) -> dict[str, str]:
    """Return the source of a table of which an overlay changed some figures: of those, and of the rest."""
    before = draft.tables[name].get("source")
    covered = [key for key in own if source_key(kind_of(name), key) == "source"]
    if before is None or "source" not in figures:
        return {}
    said = f"{figures['source']} (overlay {x.about.id}: {', '.join(covered)}); else {before}"
    return {"source": said if covered else before}
