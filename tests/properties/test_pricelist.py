"""Price lists against libraries that write and read such files: pandas, the csv module, openpyxl, Babel, decimal."""

from __future__ import annotations

import codecs
import csv
import io
from datetime import date
from decimal import Decimal

import numpy as np
import openpyxl
import pandas as pd
from babel.numbers import format_currency, format_decimal
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from api.figures import COMMA, OPEN, POINT, look, scaled, settle
from api.pricelist import Told, read_prices
from api.sheets import read_sheet
from econ.problems import BadInput

TODAY = date(2026, 6, 1)
CELLS = st.text(st.sampled_from("ab1 ,;\t|\"'\n.é=€"), max_size=6)
LOCALES = {  # decimal comma -> locales of the Unicode CLDR as Babel has it
    False: ("en_US", "en_GB", "de_CH", "ja_JP", "he_IL"),
    True: ("de_DE", "fr_FR", "es_ES", "sv_SE", "pl_PL", "pt_BR", "nb_NO", "it_IT", "cs_CZ", "nl_NL"),
}


def text_of(sheet):
    return [[str(c.texts[c.codes[r]]) for c in sheet.columns] for r in range(sheet.rows)]


def score(cells):
    return sum(c in ("part", "price") for c in cells)


def trimmed(rows):
    """Return rows without what is blank around their cells, rows without text, and empty cells at their ends."""
    found = []
    for row in rows:
        cells = [c.strip() for c in row]
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            found.append(cells)
    return found


@given(
    st.lists(st.lists(CELLS, min_size=3, max_size=3), max_size=12),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from([b"", codecs.BOM_UTF8]),
    st.sampled_from(["\n", "\r\n", "\n\n"]),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)
@settings(max_examples=300, deadline=None)
def test_a_csv_file_holds_what_pandas_reads(rows, delimiter, mark, ends, quoting):
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter, lineterminator=ends, quoting=quoting)
    writer.writerows([["part", "price", "title"], *rows])
    body = mark + written.getvalue().encode()
    got = trimmed(text_of(read_sheet(body, "x.csv", score)))
    theirs = pd.read_csv(io.BytesIO(body), sep=delimiter, dtype=str, keep_default_na=False, skipinitialspace=True)
    assert got == trimmed(theirs.to_numpy().tolist())
    assert got == trimmed(row for row in rows), "and what was written"


@given(st.lists(st.lists(CELLS, min_size=2, max_size=2), min_size=1, max_size=8), st.integers(0, 5))
@settings(max_examples=200, deadline=None)
def test_rows_of_any_width_keep_every_field(rows, wider):
    """Rows with more fields than headers and less, by the csv module."""
    assume(not any("\n" in c for row in rows for c in row))
    rows = [row + ["more"] * (i % (wider + 1)) if i % 2 else row[:1] for i, row in enumerate(rows)]
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerows([["part", "price"], *rows])
    got = trimmed(text_of(read_sheet(written.getvalue().encode(), "x.csv", score)))
    theirs = list(csv.reader(io.StringIO(written.getvalue()), skipinitialspace=True))[1:]
    assert got == trimmed(theirs)


@given(st.lists(st.tuples(st.integers(0, 10**9), st.integers(0, 3)), min_size=1, max_size=30), st.booleans())
@settings(max_examples=200, deadline=None)
def test_a_workbook_holds_the_decimals_that_were_written(numbers, as_text):
    amounts = [Decimal(n).scaleb(-places) for n, places in numbers]
    book = openpyxl.Workbook()
    book.active.append(["part", "price"])
    for i, a in enumerate(amounts):
        book.active.append([f"p{i}", f"{a:.3f}5" if as_text else float(a)])
    body = io.BytesIO()
    book.save(body)
    column = read_sheet(body.getvalue(), "x.xlsx", score).columns[1]
    got = [Decimal(str(column.texts[c])) for c in column.codes]
    assert got == [Decimal(f"{a:.3f}5") if as_text else a for a in amounts]


def test_amounts_as_people_of_many_places_write_them():
    """Babel writes with the signs of the Unicode CLDR; every text is read back as what it was, or said to be open."""
    rng = np.random.default_rng(0)
    minor = [0, 5, 50, 99, 100, 12345, 100000, 123456789, *rng.integers(0, 10**8, 200).tolist()]
    for comma, locales in LOCALES.items():
        for locale in locales:
            texts = [format_decimal(Decimal(m).scaleb(-2), "#,##0.00", locale=locale) for m in minor]
            texts += [format_currency(Decimal(m).scaleb(-2), "EUR", locale=locale) for m in minor]
            texts = ["".join(c for c in t if c not in "\u200e\u200f") for t in texts]  # marks of the writing direction
            figures = look(texts)
            assert set(figures.says.tolist()) == {COMMA if comma else POINT}, locale
            amounts = settle(figures, comma)
            got, over = scaled(amounts, 2)
            assert not amounts.bad.any()
            assert not over.any()
            assert got.tolist() == [*minor, *minor], locale


@given(st.lists(st.decimals(0, 10**10, places=2), min_size=1, max_size=40), st.booleans(), st.booleans())
@settings(max_examples=200, deadline=None)
def test_a_number_is_read_as_the_decimal_module_reads_it(amounts, comma, grouped):
    texts = [f"{a:,.2f}" if grouped else f"{a:.2f}" for a in amounts]
    if comma:
        texts = [t.translate(str.maketrans(",.", ".,")) for t in texts]
    figures = look(texts)
    read = settle(figures, comma)
    got, over = scaled(read, 2)
    assert not (read.bad | over).any()
    assert got.tolist() == [int(a.scaleb(2)) for a in amounts]
    assert set(figures.says.tolist()) == {COMMA if comma else POINT}


@given(st.lists(st.text(st.sampled_from("0123456789.,' -€$"), max_size=12), min_size=1, max_size=30))
@settings(max_examples=500, deadline=None)
def test_a_text_says_what_it_can_be_read_as(texts):
    """Readable one way tells the sign, both ways alike nothing, both ways otherwise is open, neither is broken."""
    figures = look(texts)
    point, comma = settle(figures, False), settle(figures, True)
    for i in range(len(texts)):
        if figures.blank[i]:
            continue
        ways = (not point.bad[i], not comma.bad[i])
        value = [Decimal(int(a.digits[i])).scaleb(-int(a.places[i])) for a in (point, comma)]
        wanted = {(True, False): POINT, (False, True): COMMA}.get(ways, OPEN if value[0] != value[1] else 0)
        if ways == (True, True) and value[0] == 0:
            continue  # 0 and 0.000
        assert figures.says[i] == wanted, texts[i]
        assert figures.broken[i] == (ways == (False, False))


@given(st.binary(max_size=400) | st.text(max_size=200).map(str.encode), st.booleans())
@settings(max_examples=400, deadline=None)
def test_no_bytes_break_it(body, headed):
    """Whatever the bytes: rows, or problems."""
    try:
        listed = read_prices((b"part,price,date\n" if headed else b"") + body, "x", Told("A", "USD", TODAY), TODAY)
    except BadInput:
        return
    assert listed.read == len(listed.rows) + listed.bad + listed.dropped
