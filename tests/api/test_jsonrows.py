"""Rows of a JSON price list: the same text as the cells of its CSV. Grammar: RFC 8259."""

from __future__ import annotations

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.jsonrows import json_rows
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
