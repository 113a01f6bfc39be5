"""Reading: a case document and rulebook texts in, a checked case and its machine class out, all problems at once."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from econ.case import Case, read_shape
from econ.names import name_problems
from econ.problems import BadInput, Problem, nearest, shown
from econ.rulebook import MachineClass, class_ids, read_class


def _class_of(document: Mapping[str, object], texts: Mapping[str, str]) -> tuple[MachineClass | None, list[Problem]]:
    machine = document.get("machine")
    name = machine.get("class") if isinstance(machine, Mapping) else None
    if not isinstance(name, str):
        return None, []  # the shape check says what is wrong
    if name not in class_ids(texts):
        rule = "the rulebooks hold no such machine class"
        return None, [Problem("machine.class", shown(name), rule, nearest(name, class_ids(texts)))]
    return read_class(texts, name), []


def read_case(document: object, texts: Mapping[str, str], as_of: date | None = None) -> tuple[Case, MachineClass]:
    """Return a checked case and its machine class.

    document: what JSON gave. texts: rulebook texts by file name. as_of: the day of the decision where the case has
    none. Raises BadInput with every problem of the document; BadInput too where a rulebook itself is unusable.
    """
    case, problems = read_shape(document)
    if not isinstance(document, Mapping):
        raise BadInput(problems)
    machine_class, unknown = _class_of(document, texts)
    found = [*problems, *unknown]
    if machine_class is not None:
        said = {p.path for p in found}
        found += [p for p in name_problems(document, machine_class) if p.path not in said]
    if case is not None and case.as_of is None and as_of is None:
        found.append(Problem("as_of", "nothing", "the day of the decision sets the season", "add it"))
    if found or case is None or machine_class is None:
        raise BadInput(found)
    return (case if case.as_of else case.model_copy(update={"as_of": as_of})), machine_class
