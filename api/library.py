"""Library: the rulebooks that ship with the package, read once, and one call from a document to its decision."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from types import MappingProxyType

from econ import __version__
from econ.decision import Decision
from econ.problems import BadInput, Problem, nearest, shown
from econ.reading import read_case
from econ.rulebook import MachineClass, Shelf
from econ.terms import Default, read_defaults
from econ.verdict import decide


def _gather(folder: Traversable, prefix: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for entry in folder.iterdir():
        if entry.is_dir():
            found |= _gather(entry, f"{prefix}{entry.name}/")
        elif entry.name.endswith(".toml"):
            found[prefix + entry.name] = entry.read_text(encoding="utf-8")
    return found


@cache
def texts() -> Mapping[str, str]:
    """Return the rulebook texts by file name: ``modules/x.toml``, ``classes/y.toml``, ``terms.toml``."""
    return MappingProxyType(_gather(resources.files("econ").joinpath("rulebooks")))


@cache
def defaults() -> Mapping[str, Default]:
    """Return the terms that a case may leave open."""
    return read_defaults(texts())


@cache
def shelf() -> Shelf:
    """Return all machine classes; each is read when first asked for."""
    return Shelf(texts())


def ids() -> tuple[str, ...]:
    """Return the ids of all machine classes."""
    return tuple(shelf())


def machine_class(class_id: str, where: str = "machine.class") -> MachineClass:
    """Return one machine class. where: what asked for it. Raises BadInput where there is none of that id."""
    if class_id not in ids():
        rule = "the rulebooks hold no such machine class"
        raise BadInput([Problem(where, shown(class_id), rule, nearest(class_id, ids()))])
    return shelf()[class_id]


def today() -> date:
    """Return the day a decision is made where its case names none: today in UTC, the same at every door."""
    return datetime.now(UTC).date()


def decide_document(document: object, day: date | None = None) -> Decision:
    """Return the decision on a case document, what JSON gave.

    day: the day of the decision where the case names none; today if left out. Raises BadInput with every problem.
    """
    case, its_class = read_case(document, shelf(), day or today())
    return decide(case, its_class, defaults(), __version__)
