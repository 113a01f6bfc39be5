"""The shape of econ: what it may import, which way its modules point, and the names it shows."""

from __future__ import annotations

import ast
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import econ

HOME = Path(econ.__file__).parent
MODULES = {path.stem: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(HOME.glob("*.py"))}
PYDANTIC = {"misfits", "case", "knowledge", "draft", "overlay"}
# The stations in their order (design of the model): a module imports only from its own station or one before.
STATIONS = (
    {"problems", "money", "kept", "misfits", "lines", "offers", "integer", "pricebook", "nearby", "selection"},
    {"case", "knowledge", "draft", "overlay", "rulebook", "terms", "names", "reading"},
    {"evidence", "play", "findings"},
    {
        "costing", "estimate", "sending", "purchase", "bearing_sizes", "calliper", "bearing_suffixes", "bearing_fit",
        "bearing_offers", "bearing_words", "bearings", "landed", "ordering", "split", "basket",
    },
    {
        "worth", "life", "depreciation", "states", "market", "alike", "books", "payoffs", "wearout", "ahead", "yearly",
        "question", "outlook", "earlier", "again", "nexttime",
    },
    {"scopes", "followups", "setting", "groundwork", "repairs", "courses", "bridge"},
    {
        "stopping", "plan", "looking", "release", "thumb", "words", "weighing", "orders", "fitting", "missed",
        "staging", "spread", "risk",
    },
    {"worlds", "inputs", "breakeven", "buying", "turns", "kerb"},
    {"decision", "suspects", "verdict", "screening", "shortlist", "raking", "gauss", "workings"},
)  # fmt: skip
FORBIDDEN = {"print", "open", "input", "exec", "eval"}


def imports(tree: ast.Module, inside: bool = True) -> list[tuple[str, bool]]:
    """Return imported module names with whether each stands inside a function; type-checking blocks are left out."""
    found: list[tuple[str, bool]] = []

    def walk(node: ast.AST, within: bool) -> None:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
                continue
            if isinstance(child, ast.Import):
                found.extend((alias.name, within) for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                found.append((child.module or "", within))
            walk(child, within or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef))

    walk(tree, False)
    return [x for x in found if inside or not x[1]]


@pytest.mark.parametrize("name", MODULES)
def test_what_econ_imports(name: str) -> None:
    """The standard library, numpy, scipy inside functions, pydantic where text is read; nothing else."""
    for module, within in imports(MODULES[name]):
        top = module.partition(".")[0]
        if top == "scipy":
            assert within, f"{name}: scipy is imported where the module loads"
        elif top == "pydantic":
            assert name in PYDANTIC, name
        else:
            assert top in ("econ", "numpy") or top in sys.stdlib_module_names, f"{name} imports {module}"


@pytest.mark.parametrize("name", MODULES)
def test_econ_is_pure(name: str) -> None:
    """No file, network, clock, environment, randomness of its own, or print."""
    assert not {m.partition(".")[0] for m, _ in imports(MODULES[name])} & {
        "os", "io", "socket", "urllib", "time", "random", "logging", "pathlib", "subprocess", "sqlite3", "warnings",
    }  # fmt: skip
    called = {ast.unparse(n.func) for n in ast.walk(MODULES[name]) if isinstance(n, ast.Call)}
    assert not called & FORBIDDEN
    assert not {c for c in called if c.endswith((".today", ".now", ".default_rng"))}


def needs() -> dict[str, set[str]]:
    within = {name: {m for m, _ in imports(tree)} for name, tree in MODULES.items()}
    return {name: {m.removeprefix("econ.") for m in found if m.startswith("econ.")} for name, found in within.items()}


def test_arrows_point_one_way() -> None:
    order = list(TopologicalSorter(needs()).static_order())  # raises CycleError where two modules need each other
    assert set(order) >= set(MODULES) - {"__init__"}


def test_stations_follow_each_other() -> None:
    place = {name: i for i, station in enumerate(STATIONS) for name in station}
    assert set(place) == set(MODULES) - {"__init__"}
    early = {(a, b) for a, found in needs().items() for b in found if a in place and place[b] > place[a]}
    assert not early


def test_public_names() -> None:
    assert econ.__all__ == [
        "__version__", "BadInput", "Case", "Decision", "MachineClass", "Problem", "Shelf", "case_schema", "decide",
        "read_case", "read_defaults",
    ]  # fmt: skip
    for name in econ.__all__:
        assert getattr(econ, name) is not None
    with pytest.raises(AttributeError, match="no attribute"):
        _ = econ.nothing_of_this_name
