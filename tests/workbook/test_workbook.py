"""What the workbook is made of: inputs that may be changed, formulas any spreadsheet knows, texts that stay texts."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ElementTree
import zipfile
from datetime import datetime

import numpy as np
import openpyxl
import pytest
from click.testing import CliRunner

from api.command import main
from api.demo import demos
from api.http import create_app
from api.openapi import XLSX
from api.wording import resting_on
from api.workbook.courses import COLUMNS
from api.xlsx import as_told, money_format
from econ.gauss import fewer
from econ.money import DIGITS
from econ.raking import raked
from tests.api.cases import GOOD

from .books import made
from .drawn import drawn_case
from .office import needs_pdf, printed

SHEETS = (
    "Answer", "Inputs", "Estimate", "Courses", "Bridge", "Faults", "Life", "Break-even", "Next check", "Care",
    "Release", "For the buyer", "What it came to", "Sources", "Words", "Figures", "Months", "Tickets", "States", "Left",
)  # fmt: skip
# What recalculates by itself, spills, or is known to newer spreadsheets alone.
SHUNNED = re.compile(
    r"\b(OFFSET|INDIRECT|NOW|TODAY|RAND|RANDBETWEEN|CELL|INFO|LET|LAMBDA|FILTER|SORT|UNIQUE|SEQUENCE|XLOOKUP|XMATCH|TEXTJOIN|"
    r"CONCAT|IFS|SWITCH|MAXIFS|MINIFS|TEXT|EVALUATE|WEBSERVICE|HYPERLINK)\("
)


@pytest.fixture(scope="module", params=[d.name for d in demos()])
def book(request, tmp_path_factory):
    case = next(d.case for d in demos() if d.name == request.param)
    path = tmp_path_factory.mktemp("books") / "book.xlsx"
    decision, workings = made(case, path)
    return openpyxl.load_workbook(path), decision, workings, path


def formulas(book):
    return [(s.title, c.coordinate, c.value) for s in book for row in s.iter_rows() for c in row if c.data_type == "f"]


def test_sheets_in_their_order(book):
    assert tuple(book[0].sheetnames) == SHEETS


def test_the_first_sheet_begins_with_the_answer_and_prints_on_one_page(book):
    sheet, names = book[0]["Answer"], book[0].defined_names
    assert sheet["A4"].value == "=headline"
    assert names["headline"].attr_text.startswith("'Words'!")
    assert sheet.page_setup.fitToHeight == sheet.page_setup.fitToWidth == 1
    assert sheet.sheet_properties.pageSetUpPr.fitToPage


def test_only_what_may_be_changed_is_unlocked_and_nothing_has_a_password(book):
    for sheet in book[0]:
        assert sheet.protection.sheet, sheet.title
        assert not sheet.protection.password
    inputs = book[0]["Inputs"]
    open_cells = {c.coordinate for row in inputs.iter_rows() for c in row if not c.protection.locked}
    assert {c[0] for c in open_cells} == {"C"}
    assert all(inputs[c].value is None for c in open_cells)  # what the answer takes stands beside it
    assert all(inputs[c].border.left.style and inputs[c].fill.fill_type for c in open_cells)  # seen without colour too
    ruled = {c for rule in inputs.data_validations.dataValidation for r in rule.sqref.ranges for c in cells(r)}
    assert ruled == open_cells


def cells(area):
    return {f"{openpyxl.utils.get_column_letter(c)}{r}" for r, c in area.cells}


def test_every_input_has_a_name_and_a_formula_reads_it(book):
    every = " ".join(f for _, _, f in formulas(book[0]))
    named = {n: d.attr_text for n, d in book[0].defined_names.items() if d.attr_text.startswith("'Inputs'!$D$")}
    assert len(named) > 60
    for name in named:
        assert re.search(rf"\b{name}\b", every), name


def test_only_functions_that_every_spreadsheet_knows(book):
    found = formulas(book[0])
    assert len(found) > 3_000
    for sheet, cell, formula in found:
        assert not SHUNNED.search(formula), (sheet, cell)
        assert len(formula) <= 8_192, (sheet, cell)
        assert max(map(len, re.findall(r'"((?:[^"]|"")*)"', formula)), default=0) <= 255, (sheet, cell)
        assert "_xlfn" not in formula
    with zipfile.ZipFile(book[3]) as parts:
        assert not [n for n in parts.namelist() if "vba" in n.lower() or "externalLink" in n]


def test_a_formula_only_names_what_there_is(book):
    names = set(book[0].defined_names)
    for sheet, cell, formula in formulas(book[0]):
        bare = re.sub(r'"[^"]*"', "", formula)
        bare = re.sub(r"'[^']*'!", "", bare)
        words = set(re.findall(r"(?<![A-Za-z0-9_$!.])[a-z][a-z0-9_]+\b(?!\(|!)", bare))
        assert words <= names, (sheet, cell, words - names)


def test_money_has_the_format_of_its_currency_and_days_are_days(tmp_path):
    for currency, sign, places in (
        ("USD", "$", ".00"),
        ("EUR", "€", ".00"),
        ("JPY", "JPY ", ""),
        ("KWD", "KWD ", ".000"),
    ):
        case = {**GOOD, "currency": currency, "machine": {**GOOD["machine"], "new_price": "600"}}
        case["findings"] = [{**GOOD["findings"][0], "by": "A. Mechanic", "on": "2026-04-09"}]
        made(case, tmp_path / "x.xlsx")
        book = openpyxl.load_workbook(tmp_path / "x.xlsx")
        assert book["Courses"]["D6"].number_format == f'"{sign}"#,##0{places}'
        looked = next(r for r in book["Next check"].iter_rows() if r[2].value == "A. Mechanic")
        assert looked[3].value == datetime(2026, 4, 9)
        assert "yyyy" in looked[3].number_format
        assert DIGITS[currency] == len(places.removeprefix("."))


HOSTILE = ("=1+1", "\x01=1", "#N/A")
HOSTILE_TOO = ("+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0", "x" * 200)  # in the long run


@pytest.mark.parametrize("words", [*HOSTILE, *(pytest.param(w, marks=pytest.mark.slow) for w in HOSTILE_TOO)])
def test_a_text_is_never_a_formula(tmp_path, words):
    case = {**GOOD, "machine": {**GOOD["machine"], "name": words, "serial_number": words}}
    case["findings"] = [{**GOOD["findings"][0], "by": words}]
    made(case, tmp_path / "x.xlsx")
    book = openpyxl.load_workbook(tmp_path / "x.xlsx")
    kept = re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f]", "", words).replace("\r", "\n")
    title = book["Answer"]["A1"]
    assert title.data_type == "s"
    assert title.value.replace("_x000D_", "\n") == kept
    by = next(
        c for row in book["Next check"].iter_rows(min_col=3, max_col=3) for c in row if c.value and kept in str(c.value)
    )
    assert by.data_type == "s"
    own = {f for _, _, f in formulas(book)}
    assert not any(kept in f for f in own if len(kept) > 3)


def test_charts_are_there_with_texts_and_read_from_cells(book):
    with zipfile.ZipFile(book[3]) as parts:
        drawings = [n for n in parts.namelist() if n.startswith("xl/drawings/drawing")]
        charts = [n for n in parts.namelist() if n.startswith("xl/charts/chart")]
        assert len(charts) == 4  # courses, what repairs cost, value by year, what moves the answer
        for name in drawings:
            tree = ElementTree.fromstring(parts.read(name))  # noqa: S314 - our own file
            frames = [e for e in tree.iter() if e.tag.endswith("cNvPr") and e.get("name", "").startswith("Chart")]
            assert frames
            assert all(len(e.get("descr", "")) > 20 for e in frames)
        for name in charts:
            text = parts.read(name).decode()
            if "errBars" in text:  # in the order of the schema (ECMA-376, CT_ErrBars, from memory)
                assert text.index("<plus>") < text.index("<minus>")
            assert 'plotVisOnly val="0"' in text  # else a spreadsheet draws nothing of columns that are folded away
            assert re.search(r"<(c:)?f>'?[A-Z][A-Za-z-]+'?!\$[A-Z]+\$\d+", text)


def test_what_a_formula_can_not_follow_says_so(book):
    workbook, decision, _, _ = book
    for sheet, column, top in (("Courses", "E", 6), ("Faults", "D", 6), ("Break-even", "E", 6)):
        cell = workbook[sheet][f"{column}{top}"]
        assert cell.data_type == "n"
        assert cell.font.italic
        assert cell.fill.fgColor.rgb.endswith("EFEFEF")
    said = " ".join(str(r[0]) for r in workbook["Sources"].iter_rows(max_row=12, values_only=True))
    assert "does not follow" in said
    names = [r[0] for r in workbook["Sources"].iter_rows(values_only=True)]
    assert len(names) > len(decision.assumptions)


def test_release_checks_take_reading_person_and_time(book):
    workbook, decision, _, _ = book
    sheet = workbook["Release"]
    rows = {r[0].value: r for r in sheet.iter_rows() if r[0].value}
    for t in decision.release_checks:
        row = rows[t.title]
        assert all(not row[i].protection.locked for i in (3, 5, 6))
        assert row[4].value.startswith("=IF(")
        assert "hh:mm" in row[6].number_format
        if t.limit is not None:
            assert row[1].value == t.limit


def test_an_accountant_finds_the_bridge_closed(book):
    """Each course's worth is the sum of the lines above it, beginning with the estimate."""
    workbook, decision, _, _ = book
    sheet = workbook["Bridge"]
    labels = [r[0] for r in sheet.iter_rows(min_row=7, max_col=1, values_only=True) if r[0]]
    assert labels[0] == "The estimate's total"
    assert "Better off by" in labels
    assert sheet.max_column == 1 + len(decision.courses)


def test_serial_number_and_hours_stand_on_what_is_signed(tmp_path):
    case = {**GOOD, "machine": {**GOOD["machine"], "serial_number": "SN 4711", "hours": 120}}
    made(case, tmp_path / "x.xlsx")
    book = openpyxl.load_workbook(tmp_path / "x.xlsx")
    for sheet in ("Answer", "Estimate", "Care", "Release", "For the buyer"):
        text = " ".join(str(c) for row in book[sheet].iter_rows(values_only=True) for c in row if c)
        assert "SN 4711" in text, sheet
        assert "120 hours" in text, sheet


def test_over_http():
    client = create_app().test_client()
    answer = client.post("/v1/decisions", json=GOOD, headers={"Accept": XLSX})
    assert answer.status_code == 200
    assert answer.mimetype == XLSX
    assert "attachment" in answer.headers["Content-Disposition"]
    assert openpyxl.load_workbook(io.BytesIO(answer.data)).sheetnames[0] == "Answer"
    plain = client.post("/v1/decisions", json=GOOD, headers={"Accept": "*/*"})
    assert plain.mimetype == "application/json"
    bad = client.post("/v1/decisions", json={**GOOD, "complaints": ["surgin"]}, headers={"Accept": XLSX})
    assert (bad.status_code, bad.mimetype) == (422, "application/problem+json")
    assert (
        client.post("/v1/decisions", data="{", content_type="application/json", headers={"Accept": XLSX}).status_code
        == 400
    )


def test_on_the_command_line(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    runner, case = CliRunner(), tmp_path / "case.json"
    case.write_text(__import__("json").dumps(GOOD), encoding="utf-8")
    done = runner.invoke(main, ["decide", "case.json", "--workbook", "out.xlsx"])
    assert done.exit_code == 0, done.output
    assert done.output.startswith(("First", "Worth", "Repair", "Quote", "Order", "Replace", "Keep"))
    assert openpyxl.load_workbook(tmp_path / "out.xlsx").sheetnames[0] == "Answer"
    over = runner.invoke(main, ["decide", "case.json", "--workbook", "case.json"])
    assert over.exit_code == 2
    assert "what is read here is not written over" in over.output
    nowhere = runner.invoke(main, ["decide", "case.json", "--workbook", "none/out.xlsx"])
    assert nowhere.exit_code == 2
    assert "there is no such folder" in nowhere.output


@pytest.mark.slow
@needs_pdf
@pytest.mark.parametrize("seed", [*range(3), 8, 11])
def test_printed_nothing_is_clipped(tmp_path, seed):
    """No figure is too wide for its column, and the first sheet is one page."""
    made(drawn_case(seed), tmp_path / "x.xlsx")
    pages = printed(tmp_path / "x.xlsx", tmp_path)
    assert not [n for n, page in enumerate(pages, 1) if "###" in page]
    assert "Inputs: what may be changed" in pages[1]
    assert "Inputs: what may be changed" not in pages[0]
    assert (
        pages[0].count("sell") + pages[0].count("repair") > 6
    )  # the courses stand in the list and at the chart's side


def shown_only(path):
    """Return a workbook as a program sees it that works no formula out."""
    return openpyxl.load_workbook(path, data_only=True)


def test_a_program_that_only_shows_the_file_shows_the_answer(book):
    _, decision, _, path = book
    shown = shown_only(path)
    assert shown["Answer"]["A4"].value == decision.verdict.headline
    assert not [c.coordinate for row in shown["Answer"].iter_rows(min_col=2, max_col=5) for c in row if c.value == ""]
    worths = [shown["Courses"].cell(6 + i, COLUMNS.index("worth") + 1).value for i in range(len(decision.courses))]
    digits = DIGITS[decision.currency]  # as many as the format of its cell shows
    assert [f"{worth:.{digits}f}" for worth in worths] == [f"{c.net_worth:f}" for c in decision.courses]
    total = next(r[4] for r in shown["Estimate"].iter_rows(values_only=True) if str(r[0]).startswith("Total,"))
    assert total == float(decision.estimate.total)


def test_the_file_names_no_other_program(book):
    with zipfile.ZipFile(book[3]) as parts:
        told = parts.read("docProps/app.xml") + parts.read("docProps/core.xml")
    assert b"<Application>mendworth</Application>" in told
    assert not re.search(
        rb"excel|openpyxl|office\b", told.replace(b"openxmlformats.org/officeDocument", b""), re.IGNORECASE
    )


@pytest.mark.slow
@needs_pdf
def test_large_amounts_are_printed_whole(tmp_path):
    """A currency of small units, at some sixteen thousand to the dollar."""
    case = {**demos()[0].case, "currency": "IDR"}
    times = 16_000
    for shelf in ("terms", "market", "prices", "machine"):
        raised = {
            k: f"{float(v) * times:.0f}" if isinstance(v, str) and v.replace(".", "").isdigit() else v
            for k, v in case.get(shelf, {}).items()
        }
        case[shelf] = raised
    made(case, tmp_path / "x.xlsx")
    assert not [n for n, page in enumerate(printed(tmp_path / "x.xlsx", tmp_path), 1) if "###" in page]


def test_raking_gives_each_fault_its_chance():
    """Against the chances of all 2^4 sets of four independent faults, from eleven of them."""
    p = np.array([0.3, 0.1, 0.05, 0.2])
    sets = (np.arange(16)[:, None] >> np.arange(4) & 1).astype(bool)
    chances = np.prod(np.where(sets, p, 1 - p), axis=1)
    first = np.argsort(-chances)[:11]
    found = raked(sets[first], chances[first], p)
    assert found.sum() == pytest.approx(1.0)
    assert found @ sets[first] == pytest.approx(p, abs=1e-9)
    assert raked(sets, chances, p) == pytest.approx(chances, abs=1e-9)


def test_a_few_values_stand_for_many():
    """Outside: numpy's Gauss-Legendre rules. Of the one of 60 values, ten stand for it just as the one of ten does."""
    many, weights = np.polynomial.legendre.leggauss(60)
    few, chances = np.polynomial.legendre.leggauss(10)
    values, found = fewer(many, weights / 2, 10)
    assert values == pytest.approx(few, abs=1e-12)
    assert found == pytest.approx(chances / 2, abs=1e-12)


def test_no_more_values_than_there_are():
    values, chances = fewer(np.array([-2.0, 0.0, -2.0, -0.5]), np.array([0.1, 0.6, 0.2, 0.1]), 9)
    assert values == pytest.approx([-2.0, -0.5, 0.0])
    assert chances == pytest.approx([0.3, 0.1, 0.6])
    assert fewer(np.zeros(3), np.full(3, 1 / 3), 9)[1] == pytest.approx([1.0])


@pytest.mark.parametrize(
    ("text", "number", "shape"),
    [
        ("4 %", 0.04, "0 %"),
        ("$0.12", 0.12, '"$"0.00'),
        ("KWD 1,250.500", 1250.5, '"KWD "#,##0.000'),
        ("14.7 years", 14.7, '0.0" years"'),
        ("-5", -5.0, "0"),
    ],
)
def test_a_figure_in_words_is_a_number(text, number, shape):
    assert as_told(text) == (pytest.approx(number), shape)


@pytest.mark.parametrize("text", ["under 1 %", "5.8 years; 86 % of them", "", "two", "=1+1", "2026-11-01", "1 2"])
def test_words_stay_words(text):
    assert as_told(text) is None


def test_figures_are_numbers(book):
    """No cell holds a text that is one figure alone."""
    texts = [
        (sheet.title, cell.coordinate, cell.value)
        for sheet in book[0]
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, str) and cell.data_type == "s" and as_told(cell.value.strip())
    ]
    assert not texts


def test_each_figure_looks_as_it_is_told(book):
    """A format of one cell must not become that of others with the same style."""
    workbook, d, x, _ = book
    told = dict(resting_on(a, x.machine_class, d.currency) for a in d.assumptions)
    formats = {row[0].value: row[1].number_format for row in workbook["Sources"].iter_rows() if row[0].value in told}
    assert len(formats) > 20
    for name, value in told.items():
        figure = as_told(value)
        assert formats[name] == ("General" if figure is None else figure[1]), name
    assert all(
        row[3].number_format == money_format(d.currency) for row in workbook["Courses"].iter_rows(min_row=6, max_row=7)
    )


def test_the_asked_price_moves_a_find_both_ways_alike(tmp_path):
    made(demos()[2].case, tmp_path / "x.xlsx")
    rows = openpyxl.load_workbook(tmp_path / "x.xlsx")["Break-even"].iter_rows(min_row=6, values_only=True)
    row = next(r for r in rows if r[0] == "the asked price")
    assert row[6] == pytest.approx(-row[7])
    assert row[6] == pytest.approx(2.0)


@pytest.mark.parametrize(("n", "agreed"), [(1, True), (0, False)])
def test_how_high_it_may_run_is_agreed_for_a_repair_alone(tmp_path, n, agreed):
    """The owner's answer is another course: its estimate is of a repair that nobody agrees to."""
    d, _ = made(demos()[n].case, tmp_path / "x.xlsx")
    assert d.verdict.course.startswith("repair") == agreed
    cells = openpyxl.load_workbook(tmp_path / "x.xlsx", data_only=True)["Estimate"]["A"]
    assert any(str(cell.value).startswith("Not to exceed") for cell in cells) == agreed
