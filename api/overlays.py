"""Overlays: what a shop's own figures add and change, and for which machine classes, once they are found sound."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from api.columns import bullet, wrap
from econ.draft import SHELVES
from econ.rulebook import MachineClass, Shelf


@dataclass(frozen=True)
class Added:
    """A table that an overlay adds: its dotted name, its title, and the machine classes it came to."""

    name: str
    title: str
    machine_classes: tuple[str, ...]


@dataclass(frozen=True)
class Changed:
    """A figure that an overlay changes: its dotted name, its table's title, before and after, and where."""

    name: str
    title: str
    before: str
    after: str
    machine_classes: tuple[str, ...]


@dataclass(frozen=True)
class OverlayLine:
    """An overlay: what it is, the machine classes it is for, and what it does."""

    file: str
    id: str
    title: str
    source: str
    machine_classes: tuple[str, ...]
    changed: tuple[Changed, ...]
    added: tuple[Added, ...]


@dataclass(frozen=True)
class OwnClass:
    """A machine class of the shop's own, and how much of each it holds."""

    id: str
    title: str
    faults: int
    checks: int
    jobs: int
    parts: int


@dataclass(frozen=True)
class Checked:
    """Overlays and machine classes of the shop's own, found sound."""

    overlays: tuple[OverlayLine, ...]
    machine_classes: tuple[OwnClass, ...]


def _title(c: MachineClass, name: str) -> str:
    """Return the title of the table that a dotted name is of; that of the class for a figure of its own."""
    shelf, key = name.split(".")[:2]
    table = getattr(c, shelf)[key] if shelf in SHELVES else c.about
    return str(getattr(table, "title", "")) or key


def checked(shelf: Shelf, shipped: Iterable[str]) -> Checked:
    """Return what the overlays of a shelf do. shipped: the ids of the machine classes that ship."""
    lines = []
    for x in shelf.overlays:
        added: dict[tuple[str, str], list[str]] = {}
        changed: dict[tuple[str, str, str, str], list[str]] = {}
        classes = x.of(shelf)
        for c in (shelf[i] for i in classes):
            for did in (d for d in c.laid if d.file == x.file):
                for name in did.added:
                    added.setdefault((name, _title(c, name)), []).append(c.id)
                for n in did.changed:
                    changed.setdefault((n.name, _title(c, n.name), n.before, n.after), []).append(c.id)
        news = tuple(Changed(*what, tuple(where)) for what, where in changed.items())
        more = tuple(Added(*what, tuple(where)) for what, where in added.items())
        about = x.about
        lines.append(OverlayLine(x.file, about.id, about.title, about.source, classes, news, more))
    own = [shelf[i] for i in shelf if i not in set(shipped)]
    kinds = [OwnClass(c.id, c.about.title, len(c.faults), len(c.checks), len(c.jobs), len(c.parts)) for c in own]
    return Checked(tuple(lines), tuple(kinds))


def checked_text(found: Checked) -> str:
    """Return the same as plain text."""
    lines: list[str] = []
    for c in found.machine_classes:
        holds = f"faults {c.faults}, checks {c.checks}, jobs {c.jobs}, parts {c.parts}"
        lines += [*wrap(f"{c.id}: {c.title}, a machine class of your own: {holds}."), ""]
    for x in found.overlays:
        lines += [x.file, *wrap(f"{x.title} ({x.source})", "  ")]
        lines += wrap(f"For {', '.join(x.machine_classes)}.", "  ")
        for n in x.changed:
            lines += bullet(f"changes {n.name}: {n.before} -> {n.after} ({n.title}{_where(n.machine_classes, x)})")
        for a in x.added:
            lines += bullet(f"adds {a.name} ({a.title}{_where(a.machine_classes, x)})")
        if not x.changed and not x.added:
            lines += bullet("changes nothing: every figure is as it was")
        lines.append("")
    return "\n".join(lines[:-1]) + "\n"


def _where(classes: tuple[str, ...], x: OverlayLine) -> str:
    """Return the machine classes where not every one of an overlay's is meant."""
    return "" if classes == x.machine_classes else f"; in {', '.join(classes)}"
