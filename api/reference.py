"""Reference: the pages of ``docs/machine-classes/``, one for each machine class, written from the rulebooks.

``python -m api.reference`` writes them anew; a test holds that they are current.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from api.library import shelf
from econ.knowledge import (
    Caution,
    Check,
    Complaint,
    Fact,
    Fault,
    Hold,
    Job,
    LifeFigures,
    Opener,
    Operation,
    Part,
    Quantity,
    ReleaseCheck,
    Tool,
    pert_mean,
)
from econ.rulebook import CURRENCY, MachineClass, Shelf

FOLDER = Path(__file__).parent.parent / "docs" / "machine-classes"
WRITTEN = "Written from the rulebooks by `python -m api.reference`; changes belong into the rulebooks."
INDEX = "README.md"
SEASON = ("resale", "days to sell", "downtime")
MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Return a table; a bar in a cell is no border of it."""
    cells = [heads, ["---"] * len(heads), *rows]
    return ["| " + " | ".join(x.replace("|", "\\|") for x in row) + " |" for row in cells]


def _ids(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


def _three(figures: Sequence[float]) -> str:
    """Return low, likely and high."""
    return " / ".join(f"{x:g}" for x in figures)


def _yes(value: bool) -> str:
    return "yes" if value else ""


def _share(value: float) -> str:
    return f"{value * 100:.3g} %" if value else ""


def _quantities(parts: Iterable[Quantity]) -> str:
    return ", ".join(f"`{q.part}`" if q.quantity == 1 else f"{q.quantity:g} x `{q.part}`" for q in parts)


def _factors(x: Fault, c: MachineClass) -> str:
    told = []
    for fact, row in x.factors.items():
        levels = ", ".join(f"{level} x{f:g}" for level, f in zip(c.facts[fact].levels, row, strict=True))
        told.append(f"`{fact}`: {levels}")
    return "; ".join(told)


def _fault(i: str, x: Fault, c: MachineClass) -> Sequence[str]:
    prior = x.prior or 0.0
    lost = (_share(x.service_loss), _share(x.fatal_chance), _share(x.claim_chance))
    odds = f"{prior / (1 - prior):.3g}"
    return f"`{i}`", x.title, _share(prior), odds, _yes(x.hidden), *lost, _factors(x, c), _ids(c.clearing(i)), x.source


def _wear(i: str, x: Fault, c: MachineClass) -> Sequence[str]:
    return f"`{i}`", x.title, _share(x.service_loss), _ids(c.clearing(i)), x.source


def _check(i: str, x: Check, c: MachineClass) -> Sequence[str]:
    results = f"shows {_ids(x.reveals)}" if x.reveals else ", ".join(x.outcomes)
    if x.reading:
        bands = ", ".join(f"{b:g}" for b in x.reading.bands)
        results += f"; or a reading in {x.reading.unit}, {'below' if x.reading.falling else 'above'} {bands}"
    if x.unusable_from:
        results += f"; from {x.unusable_from} on it can't be used"
    work = x.minutes + 60 * sum(pert_mean(c.operations[o].hours) for o in x.operations)
    after = _ids(x.requires)
    return f"`{i}`", x.title, f"{work:.0f}", results, after, _yes(x.running), x.how, x.source


def _job(i: str, x: Job, c: MachineClass) -> Sequence[str]:
    hours = [sum(c.operations[o].hours[n] for o in x.operations) for n in range(3)]
    parts = [*x.parts, *(q for o in x.operations for q in c.operations[o].parts)]
    money = sum(q.quantity * pert_mean(c.parts[q.part].price) for q in parts)
    time = " / ".join(f"{h:.2f}" for h in hours)
    work = (f"`{i}`", x.title, time, _ids(x.operations), _quantities(parts), f"{money:.2f}")
    return *work, _ids(x.cleared), _share(x.uncured), _ids(x.root_causes), _yes(x.extra), x.source


def _operation(i: str, x: Operation, c: MachineClass) -> Sequence[str]:
    trouble = "; ".join(f"{t.title} {_share(t.chance)}, {_three(t.hours)} h more" for t in x.complications)
    return f"`{i}`", x.title, _three(x.hours), _ids(x.tools), trouble, x.source


def _part(i: str, x: Part, c: MachineClass) -> Sequence[str]:
    life = "" if x.life is None else f"{x.life.median_years:g} years, shape {x.life.shape:g} ({x.life.source})"
    return f"`{i}`", x.title, _three(x.price), x.designation, "consumable" if x.consumable else life, x.source


def _opener(o: Opener) -> str:
    if o.fault:
        return f"fault `{o.fault}`"
    return f"`{o.check}`: {o.outcome}" if o.check else f"`{o.fact}`: {o.level}"


def _hold(i: str, x: Hold, c: MachineClass) -> Sequence[str]:
    cleared = _ids(x.cleared_by) + (", once its cause is put right" if x.by_cause else "")
    return f"`{i}`", x.title, x.why, "; ".join(map(_opener, x.opened_by)), cleared, x.source


def _complaint(i: str, x: Complaint, c: MachineClass) -> Sequence[str]:
    return f"`{i}`", x.title, f"`{x.check}`", x.outcome, _yes(x.unusable), x.source


def _fact(i: str, x: Fact, c: MachineClass) -> Sequence[str]:
    levels = ", ".join(f"{level} {_share(w)}" for level, w in zip(x.levels, x.weights, strict=True))
    return f"`{i}`", x.question, levels, x.source


def _tool(i: str, x: Tool, c: MachineClass) -> Sequence[str]:
    return f"`{i}`", x.title, f"{x.price:g}", "" if x.hire is None else f"{x.hire:g}", x.source


def _release(i: str, x: ReleaseCheck, c: MachineClass) -> Sequence[str]:
    limit = "" if x.limit is None else f"at {'most' if x.at_most else 'least'} {x.limit:g} {x.unit}"
    return f"`{i}`", x.title, x.how, limit, x.source


def _caution(i: str, x: Caution, c: MachineClass) -> Sequence[str]:
    return f"`{i}`", x.text, x.source


def _life(use: str, x: LifeFigures, c: MachineClass) -> Sequence[str]:
    epa = "" if x.epa_median_years is None else f"{x.epa_median_years:g} years ({x.epa_source})"
    per_year = f"{x.hours_per_year:g} h ({x.hours_per_year_source})"
    years = f"{x.median_hours / x.hours_per_year:.1f} years"
    return use, per_year, f"{x.median_hours:g} h, {years} ({x.median_hours_source})", epa


def _sorted_faults(c: MachineClass) -> dict[str, Fault]:
    return dict(sorted(((i, x) for i, x in c.faults.items() if not x.wear), key=lambda item: -(item[1].prior or 0)))


def _checks(c: MachineClass, complaint: bool) -> dict[str, Check]:
    return {i: x for i, x in c.checks.items() if x.complaint == complaint}


CHECK = "id | check | minutes | results, normal first | after | running | how | source"
# Title, heads of the columns, what of the class, how one row of it is told, and a word on it.
SECTIONS: tuple[
    tuple[str, str, Callable[[MachineClass], Mapping[str, Any]], Callable[..., Sequence[str]], str], ...
] = (
    ("Life", "use | hours a year | half last | half, counting all scrapped (EPA)", lambda c: c.life, _life, ""),
    ("Complaints", "id | the machine | check | outcome | unusable | source", lambda c: c.complaints, _complaint, ""),
    ("History", "id | question | levels, the best first, with their share | source", lambda c: c.facts, _fact, ""),
    (
        "Faults",
        "id | fault | prior | odds | hidden | service lost if left | ends it in a season | buyer comes back | "
        "odds by history | cleared by | source",
        _sorted_faults,
        _fault,
        "The likeliest first: prior and odds among machines brought in, before complaint and history. Hidden: only "
        "opening the machine shows it.",
    ),
    (
        "Wear, seen by looking",
        "id | what | service lost if left | cleared by | source",
        lambda c: {i: x for i, x in c.faults.items() if x.wear},
        _wear,
        "",
    ),
    ("Checks", CHECK, lambda c: _checks(c, False), _check, "Minutes with all that is taken apart for it alone."),
    ("Looks that a complaint tells of", CHECK, lambda c: _checks(c, True), _check, ""),
    (
        "Jobs",
        f"id | job | hours by the book | operations | parts | parts, {CURRENCY} | clears | does not cure | "
        "needed again because of | extra | source",
        lambda c: c.jobs,
        _job,
        "Hours low / likely / high of all its operations; jobs done together share them. Parts at their mean typical "
        "price, consumables too.",
    ),
    (
        "Operations",
        "id | step | hours | tools | may complicate | source",
        lambda c: c.operations,
        _operation,
        "",
    ),
    ("Parts", f"id | part | {CURRENCY} | designation | life | source", lambda c: c.parts, _part, ""),
    ("Special tools", f"id | tool | {CURRENCY} | hire | source", lambda c: c.tools, _tool, ""),
    (
        "Holds",
        "id | hold | why | opened by | cleared by | source",
        lambda c: c.holds,
        _hold,
        "Under an open hold the machine is not run, returned or sold as working.",
    ),
    ("Before it goes back", "id | test | how | limit | source", lambda c: c.release_checks, _release, ""),
    ("Cautions", "id | caution | source", lambda c: c.cautions, _caution, ""),
)


def _head(c: MachineClass) -> list[str]:
    about, value, season = c.about, c.value, c.season
    parts = f"{_share(value.part_out_share)} of its price running, {value.part_out_hours:g} h"
    rows = [
        ("new price", f"{CURRENCY} {_three(about.new_price)}", about.new_price_source),
        ("weight", f"{about.weight_kg:g} kg", about.weight_source),
        ("loses value by", value.method.replace("_", " "), value.source),
        ("sold in parts", parts, value.part_out_source),
        ("modules", _ids(about.modules), about.source),
    ]
    months = [(name, *(f"{x:g}" for x in getattr(season, name.replace(" ", "_")))) for name in SEASON]
    lines = _table(("", "", "source"), rows)
    return [*lines, "", "## Season", "", season.source, "", *_table(("", *MONTHS.split()), months)]


def page(c: MachineClass) -> str:
    """Return the page of a machine class."""
    lines = [f"# {c.about.title[:1].upper()}{c.about.title[1:]}", "", f"`{c.id}`. {WRITTEN}", "", *_head(c)]
    for title, heads, what, row, about in SECTIONS:
        rows = [row(i, x, c) for i, x in what(c).items()]
        if rows:
            lines += ["", f"## {title}", *(["", about] if about else []), "", *_table(heads.split(" | "), rows)]
    return "\n".join(lines) + "\n"


def pages(classes: Shelf) -> dict[str, str]:
    """Return all pages by file name, the index among them."""
    rows = [
        (f"[{c.about.title}]({i}.md)", f"`{i}`", *(str(len(x)) for x in (c.faults, c.checks, c.jobs, c.parts)))
        for i, c in classes.items()
    ]
    index = [
        "# Machine classes",
        "",
        WRITTEN,
        "",
        *_table(("what it is", "id", "faults", "checks", "jobs", "parts"), rows),
    ]
    return {INDEX: "\n".join(index) + "\n"} | {f"{i}.md": page(c) for i, c in classes.items()}


def write(folder: Path = FOLDER) -> None:
    """Write all pages into a folder; pages of classes that are no more go."""
    folder.mkdir(exist_ok=True)
    current = pages(shelf())
    for old in folder.glob("*.md"):
        if old.name not in current:
            old.unlink()
    for name, text in current.items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
