"""Library: the rulebooks that ship, read once, a shop's own laid over, and one call from a document to its decision."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from types import MappingProxyType

from api.supply import supply_of
from econ import __version__
from econ.case import Case
from econ.decision import Decision
from econ.pricebook import Supply
from econ.problems import BadInput, Problem, nearest, shown
from econ.reading import read_case
from econ.rulebook import MachineClass, Shelf
from econ.terms import Default, read_defaults
from econ.verdict import decide, decide_and_show
from econ.workings import Workings, take_apart


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


def _files(path: Path) -> dict[str, Path]:
    """Return a file under no name, or the files of a folder by their names in it."""
    if not path.is_dir():
        return {"": path}
    files = (file for pattern in ("*.toml", "modules/*.toml", "classes/*.toml") for file in sorted(path.glob(pattern)))
    return {file.relative_to(path).as_posix(): file for file in files}


def _text(file: Path, name: str) -> str | Problem:
    """Return the text of a file, with or without a byte-order mark, or what is wrong with it."""
    rule = "an overlay is a TOML file, or a folder of them"
    try:
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        return Problem(name, error.strerror or "unreadable", rule, "correct the path")
    except UnicodeDecodeError as error:
        got = f"byte 0x{error.object[error.start]:02x} in line {error.object[: error.start].count(10) + 1}"
        return Problem(name, got, f"{rule}, in UTF-8", "save it as UTF-8")
    if "\0" in text:  # as every other byte of UTF-16 without its mark
        return Problem(name, "zero bytes", f"{rule}, in UTF-8", "save it as UTF-8")
    return text.replace("\r\n", "\n")


def open_shelf(paths: Iterable[str]) -> Shelf:
    """Return all machine classes with a shop's own figures laid over.

    paths: overlays, TOML files; or folders with ``modules/x.toml`` and ``classes/y.toml`` of the shop's own beside
    overlays. Raises BadInput with all that is wrong with them.
    """
    overlays: dict[str, str] = {}
    own: dict[str, str] = {}
    problems: list[Problem] = []
    for path in dict.fromkeys(paths):
        files = _files(Path(path))
        if not files:
            rule, remedy = "it holds TOML files", "correct the path, or put an overlay there"
            problems.append(Problem(path, "an empty folder", rule, remedy))
        for name, file in files.items():
            full = f"{path.rstrip('/')}/{name}" if name else path
            text = _text(file, full)
            if isinstance(text, Problem):
                problems.append(text)
            elif not name.startswith(("modules/", "classes/")):
                overlays[full] = text
            elif name in own:
                problems.append(Problem(full, name, "another folder has it too", "rename the file"))
            else:
                own[name] = text
    if problems:
        raise BadInput(problems)
    return Shelf(texts(), overlays, own) if overlays or own else shelf()


def ids() -> tuple[str, ...]:
    """Return the ids of the machine classes that ship."""
    return tuple(shelf())


def machine_class(class_id: str, where: str = "machine.class", classes: Shelf | None = None) -> MachineClass:
    """Return one machine class. where: what asked for it. Raises BadInput where there is none of that id.

    classes: all there are; those that ship where left out.
    """
    known = shelf() if classes is None else classes
    if class_id not in set(known):
        rule = "the rulebooks hold no such machine class"
        raise BadInput([Problem(where, shown(class_id), rule, nearest(class_id, known))])
    return known[class_id]


def today() -> date:
    """Return the day a decision is made where its case names none: today in UTC, the same at every door."""
    return datetime.now(UTC).date()


def decide_document(
    document: object, day: date | None = None, classes: Shelf | None = None, book: Path | None = None
) -> Decision:
    """Return the decision on a case document, what JSON gave.

    day: the day of the decision where the case names none; today if left out. classes: all machine classes; those that
    ship where left out. book: the price book, if there is one. Raises BadInput with every problem.
    """
    return decide(*_read(document, day, classes, book))


def decide_apart(
    document: object, day: date | None = None, classes: Shelf | None = None, book: Path | None = None
) -> tuple[Decision, Workings]:
    """Return the decision on a case document and its workings; the rest as `decide_document`."""
    case, its_class, terms, version, supply = _read(document, day, classes, book)
    decision, believed, weighed = decide_and_show(case, its_class, terms, version, supply)
    return decision, take_apart(case, its_class, believed, weighed)


def _read(
    document: object, day: date | None, classes: Shelf | None, book: Path | None
) -> tuple[Case, MachineClass, Mapping[str, Default], str, Supply | None]:
    """Return what a decision on a document is made from."""
    case, its_class = read_case(document, shelf() if classes is None else classes, day or today())
    return case, its_class, defaults(), __version__, supply_of(case, its_class, book)
