"""Rows of a JSON price list: the same text as the cells of its CSV. Grammar: RFC 8259."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.jsonrows import Number, json_rows, plain_number, sheet_of
from econ.problems import BadInput


def test_numbers_keep_their_digits():
    body = b'[{"part": "blade", "price": 1.10, "pack": 2, "big": 12345678901234567890.00, "e": 1E2}]'
    row = {"part": "blade", "price": "1.10", "pack": "2", "big": "12345678901234567890.00", "e": "1E2"}
    assert json_rows(body) == [row]
    assert json_rows(b'{"made": "2026-05-01", "about": {"by": 1}, "rows": ' + body + b"}") == [row]


def test_other_cells():
    body = '\ufeff[{"a": null, "b": true, "c": false, "d": "é\\ud83d\\ude00"}, {}]'
    assert json_rows(body.encode()) == [{"a": "", "b": "true", "c": "false", "d": "é😀"}, {}]
    assert json_rows(b"[]") == json_rows(b'{"rows": []}') == []


def test_all_faults_are_told_by_their_paths():
    body = b"""{"rows": [
        {"part": "blade", "price": NaN, "seller": {"name": "A"}},
        {"part": "blade", "price": 1, "price": 2, "price": 3},
        ["blade", 4],
        {"part": "good", "price": "5.00"},
        {"part": ["a"], "price": -Infinity, "title": "\\ud800", "\\udfff": 1},
        7
    ]}"""
    with pytest.raises(BadInput) as refused:
        json_rows(body)
    assert [(p.path, p.value) for p in refused.value.problems] == [
        ("body.rows.0.price", "NaN"),
        ("body.rows.0.seller", "an object"),
        ("body.rows.1.price", '"price" twice'),
        ("body.rows.2", "a list"),
        ("body.rows.4.part", "a list"),
        ("body.rows.4.price", "-Infinity"),
        ("body.rows.4.title", "half of a surrogate pair"),
        ("body.rows.4", "half of a surrogate pair"),
        ("body.rows.5", "a single value"),
    ]


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[{]",
        b"\xff",
        b"7",
        b"NaN",
        b'"text"',
        b"{}",
        b'{"a": [], "b": []}',
        b'{"a": {"rows": []}}',
        b'{"rows": [], "rows": []}',
        b"[" * 100_000,
        b'[{"a":' * 100_000,
        b"[1] 2",
    ],
)
def test_what_holds_no_rows_is_refused(body):
    with pytest.raises(BadInput) as refused:
        json_rows(body)
    (problem,) = refused.value.problems
    assert problem.path.startswith("body")


TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\r\n\x00"), max_size=8)
PRICE = st.decimals(0, 9_999, places=2).map(str)


@given(st.lists(st.tuples(TEXT, PRICE), min_size=1, max_size=5))
def test_json_and_csv_give_the_same_rows(rows):
    """A property: what csv.DictReader reads of a list and what is read of its JSON are the same."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(("part", "price"))
    writer.writerows(rows)
    objects = ",".join(f'{{"part": {json.dumps(part)}, "price": {price}}}' for part, price in rows)
    assert json_rows(f"[{objects}]".encode()) == list(csv.DictReader(io.StringIO(out.getvalue(), newline="")))


def test_rows_of_an_array_that_is_known():
    body = b'{"finds": [{"a": 1, "b": "1"}], "others": [], "limits": {"a": [2]}}'
    (row,) = json_rows(body, "finds")
    assert row == {"a": "1", "b": "1"}
    assert [type(x) for x in row.values()] == [Number, str]
    with pytest.raises(BadInput) as refused:
        json_rows(b'{"finds": [{"a": []}], "others": []}', "finds")
    assert [p.path for p in refused.value.problems] == ["finds.0.a"]


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("1.10", "1.10"), ("-0.5", "-0.5"), ("-0.0", "0.0"), ("1E2", "100"), ("1.5e-3", "0.0015"), ("-1.5e3", "-1500"),
        ("0.30000000000000004", "0.3"), ("12345678901234567890", "12345678901234567890"), ("2", "2"),
        ("1e-999999999", "1e-999999999"), ("1e300", "1e300"),
    ],
)  # fmt: skip
def test_numbers_without_powers_of_ten(text, plain):
    """Those beyond any figure of a list stay as they are, to be refused as they were written."""
    assert plain_number(text) == plain


@given(st.integers(-(10**15) + 1, 10**15 - 1), st.integers(0, 20))
def test_what_was_written_with_fifteen_digits_comes_back(digits, places):
    """From the float that a program may have made of it on the way."""
    written = Decimal(digits).scaleb(-places)
    assert Decimal(plain_number(repr(float(written)))) == written


def test_rows_as_a_sheet():
    """Numbers are told from the same text, and what a row leaves out is empty."""
    sheet = sheet_of(json_rows(b'[{"a": 1.5, "b  c": "x"}, {"a": "1.5"}, {"d": null, "a": 1.5}]'))
    assert (sheet.headers, sheet.rows, sheet.parted) == (("a", "b c", "d"), 3, False)
    cells = [[(str(c.texts[i]), bool(c.exact[i])) for i in c.codes] for c in sheet.columns]
    assert cells[0] == [("1.5", True), ("1.5", False), ("1.5", True)]
    assert cells[1] == [("x", False), ("", False), ("", False)]
    assert cells[2] == [("", False)] * 3
