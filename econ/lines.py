"""Lines: a TOML text read, and the line of it that a problem is about."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from econ.problems import Problem, shown

REMEDIES = {  # by what the reader of TOML says is wrong
    "Cannot declare": "put all of one table below one heading",
    "Cannot mutate": "put all of one table below one heading",
    "Cannot redefine": "put all of one table below one heading",
    "Cannot overwrite": "keep one of those of the same name",
    "Duplicate": "keep one of those of the same name",
    "Illegal character": "write text in quotation marks that close on the same line",
    "Expected \"'": "close the text with quotation marks like those that open it",
    "Unterminated string": "close the text with a quotation mark",
    "Unclosed array": "close the list with ], and write a comma between what it holds",
    "Unclosed inline table": "close it with }, and write a comma between what it holds",
    "Expected ']": "close the heading with ]",
    "Invalid value": "write a number, true or false, text in quotation marks, or a list in [ ]",
    "Expected newline": "begin a new line after the value",
    "Unescaped": "write text with \\ in it in '...'",
    "limit": "write a shorter number",
}
KEY = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
KEYS = rf"{KEY}(?:\s*\.\s*{KEY})*"
HEADING = re.compile(rf"\s*(\[\[?)\s*({KEYS})\s*\]")
FIGURE = re.compile(rf"\s*({KEYS})\s*=")


def parse(name: str, text: str) -> dict[str, Any] | Problem:
    """Return what a text holds, or what is wrong with it. name: of its file."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        return Problem(name, "brackets in brackets in brackets", "a rulebook is TOML of a few levels", "leave some out")
    except ValueError as error:  # what is no TOML, and a number of more digits than can be held
        said = str(error)
    lines = text.rstrip().split("\n")
    at = re.search(r"at line (\d+)", said)
    number = min(int(at[1]), len(lines)) if at else len(lines)
    remedy = next((x for words, x in REMEDIES.items() if words in said), 'write key = value, or a heading "[name]"')
    return Problem(name, shown(lines[number - 1].strip()), f"line {number} can't be read as TOML", remedy)


def _named(text: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield the lines of a text that name something, from 1, and the keys they name."""
    above: tuple[str, ...] = ()
    arrays: dict[tuple[str, ...], int] = {}
    for number, line in enumerate(text.split("\n"), start=1):
        heading = HEADING.match(line)
        figure = None if heading else FIGURE.match(line)
        if heading:
            above = ()
            keys = _keys(heading[2])
            if heading[1] == "[[":
                arrays[keys] = arrays.get(keys, -1) + 1
            for key in keys:
                above += (key,)
                plain = tuple(k for k in above if not k.isdecimal())
                above += (str(arrays[plain]),) if plain in arrays else ()
            yield number, above
        elif figure:
            yield number, above + _keys(figure[1])


def _keys(dotted: str) -> tuple[str, ...]:
    return tuple(key.strip("\"'") for key in re.findall(KEY, dotted))


def line_of(text: str, name: str) -> int | None:
    """Return the line of a dotted name in a text: of the name, else of the nearest above it; None if unknown.

    A name that only others are below, a shelf without a heading of its own, stands where the first of them does.
    """
    keys = tuple(name.split("."))
    best, line = 0, None
    for number, found in _named(text):
        n = min(len(found), len(keys))
        if n > best and found[:n] == keys[:n]:
            best, line = n, number
    return line


def with_lines(problems: Iterable[Problem], texts: Mapping[str, str]) -> list[Problem]:
    """Return problems in the order of these texts, and of their lines, with the line after the file's name.

    Those of other files come last, as they are.
    """
    order = list(texts)
    found = []
    for p in problems:
        file = next((f for f in order if p.path == f or p.path.startswith(f"{f}: ")), None)
        line = None
        if file is not None and p.path != file:
            line = line_of(texts[file], p.path.removeprefix(f"{file}: "))
        place = len(order) if file is None else order.index(file)
        if line is not None:
            p = Problem(p.path.replace(f"{file}: ", f"{file}, line {line}: ", 1), p.value, p.rule, p.remedy)
        found.append((place, line or 0, p))
    return [p for _, _, p in sorted(found, key=lambda x: x[:2])]
