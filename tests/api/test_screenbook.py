"""The files of a screening: what goes into cells, whatever strangers wrote, and how a workbook is laid out."""

from __future__ import annotations

import csv
import io
import re
import tracemalloc
import zipfile
from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from api import ranked as ranked_module
from api import screenbook
from api.command import main
from api.crew import Crew
from api.findlist import read_finds
from api.findrows import ToldOfFinds
from api.formulas import marked, marked_cell, may_be_formula, unmarked
from api.leftout import HEADERS
from api.library import shelf
from api.ranked import Ranked
from api.screenbook import ALL, FOLDED, PRINTED, as_workbook
from api.screenfiles import COLUMNS, MONEY, as_csv, as_parquet
from api.screening import Desk, rank_list
from api.xlsx import money_format, put, styled
from econ.money import DIGITS
from econ.problems import BadInput
from econ.shortlist import Limits

HEAD = "id,machine_class,title,asking_price,currency,travel_km,travel_minutes,age_years,complaints,seen_on\n"
ROWS = (
    "a,mower_walk_behind,push mower (invented),0,USD,10,20,4,leaks_fuel,2026-04-01\n"
    "b,leaf_blower,leaf blower (invented),500,USD,10,20,4,,2026-04-01\n"
    "c,leaf_blower,=2+2,5,USD,10,20,4,,2026-04-01\n"
    "d,leaf_blower,asks nothing yet (invented),,USD,,20,4,,2026-04-01\n"
    "e,mower_walk_behind,push mower (invented),3,USD,10.5,20,4,leaks_fuel,2026-04-01\n"
    "f,leaf_blower,+1-800 (invented),1200,USD,10,20,4,,2026-04-01\n"
)
HOSTILE = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "  =1",
    "\ufeff=1",
    "\u00a0-2+3",
    "＝1+1",
    "＠x",
    "\x01x",
)


@pytest.fixture(scope="module")
def ranked():
    found = read_finds((HEAD + ROWS).encode(), "finds", ToldOfFinds(), shelf(), date(2026, 4, 1))
    return rank_list(found, {}, Limits(hours=10.0), 0.0, Desk(shelf(), (), None, Crew(1, "")))


def of(ranked, table, buy=None, parts=1, currency="USD", order=None):
    """The finds of another table, in so many parts."""
    cuts = np.array_split(np.arange(len(table)), parts)
    tables = [lambda c=c: table.iloc[c] for c in cuts]
    order = np.arange(len(table)) if order is None else order
    short = replace(ranked.shortlist, buy=ranked.shortlist.buy if buy is None else buy)
    sizes = tuple(map(len, cuts))
    return Ranked(currency, ranked.limits, short, order, tables, sizes, len(table), 0, None, ())


def named(ranked, *names):
    """The first find again and again, by other names."""
    table = ranked.tables[0]().iloc[np.zeros(len(names), int)].reset_index(drop=True)
    table["name"] = pd.Categorical.from_codes(range(len(names)), categories=pd.Index(names, dtype=object))
    return table.assign(id=pd.Series(names, dtype=object))


def written(ranked):
    body = io.BytesIO()
    as_workbook(ranked, body)
    return body.getvalue()


def book(ranked):
    return openpyxl.load_workbook(io.BytesIO(written(ranked)))


def column(sheet, name):
    heads = [c.value for c in sheet[1]]
    return [c for (c,) in sheet.iter_rows(min_row=2, min_col=heads.index(name) + 1, max_col=heads.index(name) + 1)]


def csv_rows(ranked):
    body = io.BytesIO()
    as_csv(ranked, body)
    return list(csv.DictReader(io.StringIO(body.getvalue().decode(), newline="")))


@pytest.mark.parametrize("text", HOSTILE)
def test_what_may_be_a_formula_is_marked(text):
    assert may_be_formula(text)
    assert marked(text) == f"'{text}"
    assert unmarked(marked(text)) == text
    assert unmarked(marked(marked(text))) == marked(text), "a text that had an apostrophe of its own"


@pytest.mark.parametrize("text", ["", "a=b", "push mower", "'tis", "5-in-1", "#1 mower", "'", "''"])
def test_other_texts_are_as_they_were(text):
    assert marked(text) == unmarked(text) == text


@given(st.text(alphabet=st.sampled_from("'=+-@ \t\r\n\ufeff＝＋ax1")))
def test_a_marked_text_is_no_formula_and_reads_back(text):
    assert not may_be_formula(marked(text))
    assert unmarked(marked(text)) == text
    assert unmarked(marked_cell(text)) == text


def test_numbers_below_zero_stay_numbers_in_rows_left_out():
    assert [marked_cell(x) for x in ("-5", "-1,234.50", "+3 %", "-5+9", "-", "--1")] == [
        "-5", "-1,234.50", "+3 %", "'-5+9", "'-", "'--1"
    ]  # fmt: skip


def test_no_text_of_a_workbook_is_a_formula_or_an_error(ranked):
    names = (*HOSTILE, "#N/A", "#REF!", "plain")
    body = written(of(ranked, named(ranked, *names), buy=len(names)))
    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        sheets = [archive.read(f"xl/worksheets/sheet{n}.xml").decode() for n in (1, 2)]
    assert not any(re.search(r"<f[ >/]|t=\"(e|str|b)\"", x) for x in sheets)
    found = openpyxl.load_workbook(io.BytesIO(body))
    told = [x.replace("\r", "\n").replace("\x01", "") for x in names]  # XML makes every end of line one
    front = [row[2] for row in found.worksheets[0].iter_rows(min_row=11, max_row=10 + len(names))]
    for cells in (column(found["Finds"], "name"), column(found["Finds"], "id"), front):
        assert [c.value for c in cells] == told
        assert {c.data_type for c in cells} == {"s"}
        assert [bool(c.quotePrefix) for c in cells] == [x not in ("plain", "\x01x") for x in names]


def test_a_cell_of_any_sheet_takes_texts_as_texts():
    plain = openpyxl.Workbook().active["A1"]
    put(plain, "=1+1")
    streamed = styled(openpyxl.Workbook(write_only=True).create_sheet(), "@x")
    assert [(c.value, c.data_type, bool(c.quotePrefix)) for c in (plain, streamed)] == [
        ("=1+1", "s", True), ("@x", "s", True)
    ]  # fmt: skip
    put(plain, Decimal("12.50"))
    assert (plain.value, plain.data_type) == (12.5, "n")
    put(plain, date(2026, 4, 1))
    assert (plain.is_date, plain.value) == (True, date(2026, 4, 1))


@pytest.mark.parametrize("parts", [1, 2])
def test_characters_that_no_file_holds_stop_no_writer(ranked, parts):
    names = ("\x01\x02", "a\x00b", "half \ud800 pair", "\udfff", "\x7f", "\uffff", "x" * 40_000, "é\U0001f600")
    odd = of(ranked, named(ranked, *names), buy=3, parts=parts)
    cells = [c.value or "" for c in column(book(odd)["Finds"], "name")]
    assert cells == ["", "ab", "half  pair", "", "\x7f", "", "x" * 32_767, "é\U0001f600"]
    assert [r["name"] for r in csv_rows(odd)] == ["'\x01\x02", "a\x00b", "half ? pair", "?", "'\x7f", *names[5:]]
    kept = io.BytesIO()
    as_parquet(odd, kept)
    assert pd.read_parquet(kept)["name"].tolist() == [*names[:2], "half ? pair", "?", *names[4:]]


def test_texts_of_a_csv_file_are_marked_and_its_numbers_are_numbers(ranked):
    rows = csv_rows(of(ranked, named(ranked, *HOSTILE)))
    assert [r["name"] for r in rows] == [f"'{x}".replace("\r", "\n") for x in HOSTILE]
    below = [r["profit"] for r in csv_rows(ranked) if r["profit"].startswith("-")]
    assert below, "some find leaves less than nothing"
    assert all(re.fullmatch(r"-[0-9]+\.[0-9]{2}", x) for x in below)


def test_the_first_sheet_tells_what_the_answer_tells(ranked):
    sheet = book(ranked).worksheets[0]
    assert sheet["A1"].value == ranked.headline
    first = ranked.first(ranked.shortlist.buy)
    assert len(first) > 1
    for rank, (row, x) in enumerate(zip(sheet.iter_rows(min_row=11), first, strict=False), 1):
        f = x.screened
        told = [f"Hold: {', '.join(h.replace('_', ' ') for h in f.holds)}"] if f.holds else []
        told += [f"Ask: {f.question.title}"] if f.question else []
        told += [f"There: {f.spot_check.title[:1].lower()}{f.spot_check.title[1:]}"] if f.spot_check else []
        assert ["" if c.value is None else c.value for c in row] == [
            rank, x.id, x.name, f"{f.title}; {f.reason}" if f.reason else f.title,
            *map(float, (f.asking_price, f.highest_offer, f.profit, f.bench_hours, f.cash, f.chance_of_loss)),
            "\n".join(told),
        ]  # fmt: skip
    assert any("Hold: fuel leak" in str(c.value) for row in sheet.iter_rows() for c in row)


def test_a_long_list_has_the_same_first_sheet(ranked):
    """In parts the finds stand in the order of the list, what to buy in its own."""
    table = ranked.tables[0]()
    order = ranked.order.astype(np.int64)
    whole, cut = (book(of(ranked, table, parts=n, order=order)) for n in (1, 3))
    first, other = ([[c.value for c in row] for row in x.worksheets[0].iter_rows()] for x in (whole, cut))
    assert first == other
    assert [c.value for c in column(cut["Finds"], "id")] == table["id"].tolist()
    assert [c.value for c in column(whole["Finds"], "id")] == table["id"].iloc[order].tolist()
    ranks = {c.value: r.value for c, r in zip(*(column(cut["Finds"], x) for x in ("id", "rank")), strict=True)}
    assert [ranks[i] for i in table["id"].iloc[order]] == list(range(1, len(table) + 1))


@pytest.mark.parametrize(
    ("currency", "expected"),
    [("USD", '"$"#,##0.00'), ("CHF", '"CHF "#,##0.00'), ("JPY", '"JPY "#,##0'), ("BHD", '"BHD "#,##0.000')],
)
def test_money_has_the_digits_and_the_sign_of_its_currency(ranked, currency, expected):
    assert money_format(currency) == expected
    found = of(ranked, ranked.tables[0](), currency=currency)
    sheet, rows = book(found)["Finds"], csv_rows(found)
    for name in MONEY:
        cells = column(sheet, name.replace("_", " "))
        assert {c.number_format for c in cells if c.value is not None} <= {expected}
        assert [c.value for c in cells] == [float(r[name]) if r[name] else None for r in rows]
    assert {len(r["highest_offer"].partition(".")[2]) for r in rows} == {DIGITS[currency]}


def test_each_value_of_the_finds_stands_in_its_cell_as_what_it_is(ranked):
    sheet, rows = book(ranked)["Finds"], csv_rows(ranked)
    assert set(ALL) == set(COLUMNS)
    assert len(ALL) == len(COLUMNS)
    for name in COLUMNS:
        for cell, row in zip(column(sheet, name.replace("_", " ")), rows, strict=True):
            if isinstance(cell.value, str):
                assert cell.value == unmarked(row[name])
            else:
                assert (cell.value is None and not row[name]) or cell.value == float(row[name])
    assert {c.number_format for c in column(sheet, "chance of loss") if c.value is not None} == {"0 %_)"}


def test_a_printed_page_can_be_read(ranked):
    """Both sheets are as wide as a page, and what is printed is not so wide that letters get too small."""
    found = book(ranked)
    front, finds = found.worksheets
    for sheet, heads in ((front, "$10:$10"), (finds, "$1:$1")):
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
        assert (sheet.page_setup.orientation, sheet.print_title_rows) == ("landscape", heads)
        widths = [sheet.column_dimensions[x].width for x in "ABCDEFGHIJKLMN" if x in sheet.column_dimensions]
        assert sum(widths) <= 230, "a letter is more than six points high on a page eleven inches wide"
    assert [str(x) for x in front.merged_cells.ranges] == ["A1:K1"]
    assert finds.print_area == f"'Finds'!$A$1:$N${len(ROWS.splitlines()) + 1}"
    assert len(PRINTED) == 14
    assert (finds.freeze_panes, finds.auto_filter.ref) == ("E2", f"A1:Z{len(ROWS.splitlines()) + 1}")
    hidden = [finds[f"{x}1"].value for x, d in finds.column_dimensions.items() if d.hidden]
    assert hidden == [x.replace("_", " ") for x in FOLDED]
    (where,) = finds.conditional_formatting
    assert (str(where.sqref), where.rules[0].formula) == ("A2:Z7", ['$B2="yes"'])


@pytest.mark.parametrize("parts", [1, 2])
def test_nothing_to_buy_and_nothing_at_all(ranked, parts):
    table = ranked.tables[0]()
    for some in (table, table.iloc[:0]):
        found = book(of(ranked, some, buy=0, parts=parts))
        assert found.worksheets[0]["C11"].value == "none"
        assert found["Finds"].max_row == len(some) + 1
        assert csv_rows(of(ranked, some, buy=0, parts=parts))[len(some) :] == []


def test_more_than_a_sheet_holds_is_refused(ranked, monkeypatch):
    monkeypatch.setattr(screenbook, "MOST_ROWS", 30)
    table = ranked.tables[0]().iloc[np.zeros(29, int)]
    assert book(of(ranked, table, buy=6))["Finds"].max_row == 30
    for rows, buy in ((30, 0), (29, 7)):
        with pytest.raises(BadInput, match="at most 30 rows"):
            written(of(ranked, ranked.tables[0]().iloc[np.zeros(rows, int)], buy=buy))


def test_memory_does_not_grow_with_the_finds(ranked, monkeypatch):
    monkeypatch.setattr(screenbook, "AT_ONCE", 200)
    monkeypatch.setattr(ranked_module, "SOME", 200)
    table = ranked.tables[0]()
    written(ranked)  # what is loaded once

    def most(rows):
        found = of(ranked, table.iloc[np.arange(rows) % len(table)], buy=rows // 2)
        with open("/dev/null", "wb") as file:
            tracemalloc.start()
            as_workbook(found, file)
            peak = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        return peak

    assert most(2_400) < 1.3 * most(600)


def test_printed_csv_is_utf_8_whatever_the_terminal(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "finds.csv").write_text(HEAD + ROWS.replace("=2+2", "scie à chaîne"), encoding="utf-8")
    done = CliRunner(charset="ascii").invoke(main, ["screen", "finds.csv", "--csv", "-"])
    assert CliRunner().invoke(main, ["screen", "finds.csv", "--csv", "out.csv"]).exit_code == 0
    assert done.exit_code == 0
    assert done.stdout_bytes == (tmp_path / "out.csv").read_bytes()
    assert "scie à chaîne".encode() in done.stdout_bytes


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_rows_left_out_are_no_formulas_and_read_as_before_once_put_right(tmp_path, monkeypatch, suffix):
    monkeypatch.chdir(tmp_path)
    texts = ["=1+1", "'=1+1", "''-1+2", "+x", "@y", "-5", "'tis", "\u00a0=z"]
    lines = [f"{n},leaf_blower,{x},5,USD,10,20,old,,2026-04-01,{x}" for n, x in enumerate(texts)]
    text = "\n".join([HEAD.strip() + ",=odd", *lines, "=id,leaf_blower,good,5,USD,10,20,4,,2026-04-01,"])
    (tmp_path / "finds.csv").write_text(text, encoding="utf-8")
    assert CliRunner().invoke(main, ["screen", "finds.csv"]).exit_code == 0
    body = (tmp_path / "finds.csv.left-out.csv").read_text(encoding="utf-8")
    table = list(csv.reader(io.StringIO(body, newline="")))
    assert len(table) == 1 + len(texts)
    assert all(not may_be_formula(x) or x == "-5" for row in table for x in row)
    assert "-5" in table[6], "a plain number is no formula"
    assert "'=odd" in table[0]
    right = [[x.replace("old", "4") for x in row] for row in table]
    if suffix == "csv":
        out = io.StringIO()
        csv.writer(out).writerows(right)
        again = out.getvalue().encode()
    else:
        sheet = openpyxl.Workbook()
        for row in right:
            sheet.active.append(row)
        file = io.BytesIO()
        sheet.save(file)
        again = file.getvalue()
    found = read_finds(again, "again", ToldOfFinds(), shelf(), date(2026, 4, 1))
    assert (found.bad, found.rows["title"].tolist()) == (0, [" ".join(x.split()) for x in texts])
    assert set(found.ignored) == {*HEADERS, "=odd"}
    unheaded = "\n".join([HEAD.strip(), "1,leaf_blower,'=1+1,5,USD,10,20,4,,2026-04-01"]).encode()
    other = read_finds(unheaded, "other", ToldOfFinds(), shelf(), date(2026, 4, 1))
    assert other.rows["title"].tolist() == ["'=1+1"], "of other lists nothing is taken off"
