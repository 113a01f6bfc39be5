"""Strict JSON. Source: RFC 8259 (grammar, UTF-8, no NaN; names should be unique)."""

from __future__ import annotations

import time

import pytest

from api.strictjson import MOST_BYTES, MOST_LEVELS, NotJson, TooLarge, read_json, write_json


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"{'a': 1}",
        b'{"a": NaN}',
        b'{"a": Infinity}',
        b'{"a": -Infinity}',
        b'{"a": 1e999}',
        b'{"a": ' + b"9" * 5_000 + b"}",
        b'{"a": 1, "a": 2}',
        b'{"a": {"b": 1, "b": 1}}',
        b'{"a": "\\ud800"}',
        b'{"\\udfff": 1}',
        b'{"a": "\xff"}',
        b"[" * 100_000,
        b"[" * 100_000 + b"]" * 100_000,
        b'{"a":' * 100_000,
        b"[1] x",
        b'"' + b'\\"' * 400_000,
    ],
)
def test_what_only_some_readers_would_accept_is_refused(body):
    with pytest.raises(NotJson) as refused:
        read_json(body)
    (problem,) = refused.value.problems
    assert problem.path == "body"
    assert problem.rule
    assert problem.remedy


def test_size_is_told_apart():
    with pytest.raises(TooLarge):
        read_json(b" " * (MOST_BYTES + 1))
    assert read_json(b"1" + b" " * (MOST_BYTES - 1)) == 1


def test_a_long_broken_string_takes_no_time():
    start = time.perf_counter()
    with pytest.raises(NotJson):
        read_json(b'"' + b'\\"' * 499_000)
    assert time.perf_counter() - start < 2


def test_what_is_well_formed_is_read():
    assert read_json('{"a": [1, 2.5, "é😀", "\\ud83d\\ude00", null, true]}'.encode()) == {
        "a": [1, 2.5, "é😀", "😀", None, True]
    }
    assert read_json(b'\xef\xbb\xbf{"a": 1}') == {"a": 1}, "a byte-order mark may be ignored (RFC 8259, 8.1)"
    assert read_json(b"[" * MOST_LEVELS + b"]" * MOST_LEVELS)
    assert read_json(b'["' + b"[" * 1_000 + b'"]') == ["[" * 1_000], "brackets in text are text"


def test_no_nan_leaves():
    with pytest.raises(ValueError, match="JSON"):
        write_json({"a": float("nan")})
