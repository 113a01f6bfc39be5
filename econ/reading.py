"""Reading: a case document and the machine classes in, a checked case and its class out, all problems at once."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from econ.case import Case, read_shape
from econ.names import name_problems
from econ.problems import BadInput, Problem, nearest, shown
from econ.rulebook import MachineClass


def _class_of(document: Mapping[str, object], shelf: Mapping[str, MachineClass]) -> tuple[str, list[Problem]]:
    machine = document.get("machine")
    name = machine.get("class") if isinstance(machine, Mapping) else None
    if not isinstance(name, str):
        return "", []  # the shape check says what is wrong
    if name not in set(shelf):
        rule = "the rulebooks hold no such machine class"
        return "", [Problem("machine.class", shown(name), rule, nearest(name, shelf))]
    return name, []


def read_case(
    document: object, shelf: Mapping[str, MachineClass], as_of: date | None = None
) -> tuple[Case, MachineClass]:
    """Return a checked case and its machine class.

    document: what JSON gave. shelf: machine classes by id, see `rulebook.Shelf`. as_of: the day of the decision where
    the case has none. Raises BadInput with every problem of the document; BadInput too where a rulebook is unusable.
    """
    case, problems = read_shape(document)
    if not isinstance(document, Mapping):
        raise BadInput(problems)
    name, unknown = _class_of(document, shelf)
    machine_class = shelf[name] if name else None
    found = [*problems, *unknown]
    if machine_class is not None:
        said = {p.path for p in found}
        found += [p for p in name_problems(document, machine_class) if p.path not in said]
    if case is not None and case.as_of is None and as_of is None:
        found.append(Problem("as_of", "nothing", "the day of the decision sets the season", "add it"))
    if found or case is None or machine_class is None:
        raise BadInput(found)
    return (case if case.as_of else case.model_copy(update={"as_of": as_of})), machine_class
