"""Life: how long it may serve and what it is worth, year by year, and how an accountant writes such a machine off."""

from __future__ import annotations

from api.workbook.charts import lines
from api.workbook.inputs import longest
from api.workbook.page import Book, Page, Row, Table
from econ.decision import Decision
from econ.workings import Workings
from econ.worth import STEPS_PER_YEAR
from econ.yearly import by_year, written_off

YEARS = ("year", "age", "alive", "value", "fall", "upkeep", "served")
OFF_YEARS = 12  # years of a write-off that are shown


def write_life(book: Book, d: Decision, x: Workings, months: Table) -> None:
    """Write the sheet of life and depreciation."""
    page = book.page("Life", [16, *map(book.wide, (14, 16, 18, 18, 18, 18, 16))])
    page.line("Life and depreciation by year", role="title")
    own = d.perspective != "reseller"
    table = Table("Life", 5, longest(x) + 1, YEARS if own else ("year", "age", "value", "fall"))
    page.block(
        "This machine in working order, if it is put right today. Value: what it sells for then, before costs of "
        "the sale; in the first year it also moves from this month's price to that of the whole year"
        + ("; upkeep: of a whole year of service at that age. Followed by the months of sheet Months." if own else "."),
        "note",
    )  # fmt: skip
    page.next = table.top - 1
    heads = (
        "years from now",
        "age it counts as",
        "still serves",
        "value running",
        "lost in the year",
        "upkeep of the year",
        "years of service so far, discounted",
    )
    page.heads(*(f">{h}" for h in (heads if own else (*heads[:2], *heads[3:5]))))
    told = by_year(x.market, x.terms, longest(x))
    for year in range(table.rows):
        r, k = Row(page, table, year), STEPS_PER_YEAR * year
        r.told("year", year)
        pace = "pace" if own else "1"
        r.live("age", f"effective_age+{pace}*{r.here('year')}", "years", first=told.age[year])
        value = f"running*{months.cell('fall', k)}*{months.cell('season', k)}"
        r.live("value", value, first=told.value[year] / x.scale)
        if year:
            lost = (told.value[year - 1] - told.value[year]) / x.scale
            r.live("fall", f"{r.here('value', 1)}-{r.here('value')}", first=lost)
        if own:
            r.live("alive", months.cell("alive_0", k), "share", first=told.alive[year])
            r.live("served", months.cell("years_0", k), "years", first=told.served[year])
            if year:
                mean = f"AVERAGE({months.column('upkeep_0', k - STEPS_PER_YEAR + 1, k)})"
                r.live("upkeep", mean, first=told.upkeep[year] / x.scale)
    drawn = [("value", "value in working order")] + ([("upkeep", "upkeep of the year")] if own else [])
    page.next = table.top + table.rows + 1
    lines(
        page, f"A{page.next}", table, "year", drawn, range(table.rows), "What it is worth running, by year",
        "Line chart: value of the machine in working order by years from now"
        + (", and the upkeep of each year." if own else "."),
    )  # fmt: skip
    page.next += 20
    if own:
        page.turn()
        _write_off(page, d, x)


def _write_off(page: Page, d: Decision, x: Workings) -> None:
    """Write how a new one is written off, by the sheet's own functions and by plain sums beside them."""
    v = x.machine_class.value
    page.block("A new one in the books: by the sheet's own functions, and reckoned out beside them", "strong")
    page.block(
        "For the books alone, no part of the answer: what they say of a machine is not what it sells for. Present "
        "worth and the even yearly cost, nothing failing, are at the interest above inflation of sheet Inputs.",
        "note",
    )  # fmt: skip
    cost, rate = float(x.market.new_total) / x.scale, float(x.terms["real_rate"])
    over = min(OFF_YEARS, max(2, int(x.market.curve.life_years + 0.5)))  # half a year counts as one, as on the sheet
    evenly = cost * rate / (1 - (1 + rate) ** -over) if rate > 0 else cost / over
    found = written_off(cost, over, v.salvage_share * cost)
    told = {name: [*each.tolist(), *(0.0,) * (OFF_YEARS - over)] for name, each in found.items()}

    def figure(name: str, label: str, formula: str, shape: str, first: float) -> None:
        page.put(page.next, 1, label)
        page.live(page.next, 4, formula, shape, first=first)
        page.book.define(name, page.place(page.next, 4))
        page.next += 1

    figure("book_cost", "price, tax and delivery paid", "new_total", "money", cost)
    figure("book_years", "years it is written off over", f"MIN({OFF_YEARS},MAX(2,ROUND(curve_life,0)))", "count", over)
    figure("book_rate", "interest above inflation", "real_rate", "share", rate)
    figure("book_rest", "left in the end", f"{v.salvage_share!r}*book_cost", "money", v.salvage_share * cost)
    figure("yearly_function", "an even yearly cost of it: PMT", "-PMT(real_rate,book_years,book_cost)", "money", evenly)
    plain = "book_cost*real_rate/(1-(1+real_rate)^-book_years)"
    figure("yearly_plain", "the same reckoned out", f"IF(real_rate>0,{plain},book_cost/book_years)", "money", evenly)
    page.gap()
    columns = ("year", "sln", "sln_plain", "ddb", "ddb_plain", "vdb", "vdb_plain", "tax")
    table = Table(page.title, page.next + 1, OFF_YEARS, columns)
    heads = [
        "year",
        "straight line: SLN",
        "reckoned out",
        "double declining: DDB",
        "reckoned out",
        "changing to a straight line: VDB",
        "reckoned out",
    ]
    tax = d.book_depreciation
    page.heads(*(f">{h}" for h in (*heads, *(["by the table of IRS Publication 946, seven years"] if tax else []))))
    for i in range(OFF_YEARS):
        r = Row(page, table, i)
        year = r.here("year")
        r.told("year", i + 1)

        def within(formula: str, year: str = year) -> str:
            return f"IF({year}<=book_years,{formula},0)"

        def written(column: str, i: int = i, r: Row = r) -> str:
            return f"SUM({table.here(column, 0)}:{r.here(column, 1)})" if i else "0"

        def put(column: str, formula: str, i: int = i, r: Row = r) -> None:
            r.live(column, within(formula), first=told[column.removesuffix("_plain")][i])

        put("sln", "SLN(book_cost,book_rest,book_years)")
        put("sln_plain", "(book_cost-book_rest)/book_years")
        put("ddb", f"DDB(book_cost,book_rest,book_years,{year},2)")
        left = f"(book_cost-{written('ddb_plain')})"
        put("ddb_plain", f"MIN({left}*2/book_years,{left}-book_rest)")
        put("vdb", f"VDB(book_cost,book_rest,book_years,{year}-1,{year})")
        left = f"(book_cost-{written('vdb_plain')})"
        even = f"({left}-book_rest)/(book_years-{year}+1)"
        put("vdb_plain", f"MIN(MAX({left}*2/book_years,{even}),{left}-book_rest)")
        if i < len(tax):
            r.told("tax", tax[i].amount, "money", "told")
    page.next = table.top + table.rows
    total = page.next
    page.put(total, 1, "present worth", "general", "total")
    worth = {name: sum(x * (1 + rate) ** -k for k, x in enumerate(each, 1)) for name, each in told.items()}
    for column in columns[1:7]:
        at = table.at(column)
        cells, first = table.column(column).partition("!")[2], worth[column.removesuffix("_plain")]
        page.live(total, at, f"NPV(real_rate,{cells})", "money", "total", first)
    page.put(total + 1, 1, "reckoned out")
    for column in ("sln", "ddb", "vdb"):
        cells, years = (table.column(c).partition("!")[2] for c in (column, "year"))
        formula = f"SUMPRODUCT({cells},(1+real_rate)^-{years})"
        page.live(total + 1, table.at(column), formula, "money", first=worth[column])
    page.next += 3
