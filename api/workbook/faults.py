"""Faults: what may be wrong and how likely each is, before, in the answer, and with the chances as they are now."""

from __future__ import annotations

from openpyxl.utils import get_column_letter

from api.workbook.inputs import chance_of
from api.workbook.left import Left
from api.workbook.page import Book, Row, Table
from econ.decision import Decision
from econ.suspects import pointed_at
from econ.words import percent
from econ.workings import Workings

COLUMNS = ("title", "hidden", "prior", "told", "now", "odds", "pointed", "rank")


def faults_table(d: Decision) -> Table:
    """Return where the table of faults is."""
    return Table("Faults", 6, len(d.faults), COLUMNS)


def pointed(d: Decision, x: Workings) -> list[str]:
    """Return the faults that what was heard points to."""
    return [f.id for f in pointed_at(d.faults, x.believed.heard, x.believed.posterior)]


def write_faults(book: Book, d: Decision, x: Workings, table: Table, left: Left) -> None:
    """Write the sheet of faults."""
    page = book.page("Faults", (58, 16, 14, 14, 14, 12, 10, 10))
    page.line("What it most likely is", role="title")
    page.block(
        "More than one may be true. Before: with what is known of its history, nothing heard or seen. In the answer: "
        "worked out by going through every set of faults, which a sheet can't; change a chance on the sheet of "
        "inputs and its odds count so many times, the other faults follow.",
        "note",
    )  # fmt: skip
    page.next = table.top - 1
    page.heads("fault", "only seen inside", ">before", ">in the answer", ">now", ">odds, times", "", "")
    marked = pointed(d, x)
    for i, f in enumerate(d.faults):
        r, number = Row(page, table, i), x.faults.index(f.id)
        r.told("title", f.title, "general", "wrap")
        page.fit(table.top + i, (f.title,))
        r.told("hidden", "inside" if f.hidden else "", "general")
        r.told("prior", f.prior, "share", "told")
        r.told("told", f.probability, "share", "told")
        told = x.chances[f.id]
        name = chance_of(f.id)
        odds = f"({name}/(1-{name}))/({told!r}/(1-{told!r}))" if 0 < told < 1 else "1"
        r.live("odds", f"IF(ABS({name}-{told!r})<0.0000000005,1,{odds})", "times", first=1)
        book.define(f"odds_{f.id}", page.place(table.top + i, table.at("odds")))
        has, chance = left.states.column(f"has_{number}"), left.states.column("chance")
        shown = sum(w for s, w in zip(x.states, x.weights.tolist(), strict=True) if s.faults >> number & 1)
        live = f"MAX(0,MIN(1,SUMPRODUCT({has},{chance})+{x.chances[f.id] - shown!r}))"
        r.live("now", f"IF(ABS({r.here('odds')}-1)<0.0000000005,{live},{name})", "share", first=f.probability)
        if f.id in marked:
            r.live("pointed", r.here("now"), "share", first=f.probability)
            r.live(
                "rank",
                f"RANK({r.here('pointed')},{table.column('pointed')})+COUNTIF({_above(table, i)},{r.here('pointed')})",
                "count",
            )
    for column in ("pointed", "rank"):
        page.sheet.column_dimensions[get_column_letter(table.at(column))].hidden = True
    page.next = table.top + table.rows + 1
    if d.faults_left_out:
        titles = "; ".join(x.machine_class.faults[f].title for f in d.faults_left_out)
        page.block(f"Not weighed, as others bear on this more: {titles}.", "note")
    if any(f.hidden for f in d.faults):
        page.block(f"Hidden damage of any kind, in the answer: {percent(d.hidden_damage)}.", "told")


def _above(table: Table, row: int) -> str:
    """Return the cells above a row, none of them for the first."""
    column = get_column_letter(table.at("pointed"))
    return f"{column}${table.top - 1}:{column}{table.top + row - 1}"
