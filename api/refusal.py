"""Refusal: the one body of every error, problem details of RFC 9457 with all that is wrong in `problems`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from http import HTTPStatus

from econ.problems import Problem

MEDIA_TYPE = "application/problem+json"
LONGEST_PATH = 200


@dataclass(frozen=True)
class Refusal:
    """An error. type: about:blank, so that title is the name of the status. detail: for people."""

    type: str
    title: str
    status: int
    detail: str
    problems: tuple[Problem, ...]


def printable(text: str) -> str:
    """Return text that came from outside as one printable line."""
    return "".join(c if c.isprintable() else "?" for c in text)


def plain(text: str) -> str:
    """Return text that came from outside as one printable line of bearable length."""
    line = printable(text)
    return line if len(line) <= LONGEST_PATH else line[: LONGEST_PATH - 3] + "..."


def tidy(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return problems whose paths, which may repeat a key of the input, are safe to show."""
    return tuple(Problem(plain(p.path), p.value, p.rule, p.remedy) for p in problems)


def refuse(status: int, problems: Iterable[Problem] = (), detail: str = "") -> Refusal:
    """Return the error body of a status."""
    found = tidy(problems)
    if not detail:
        detail = f"{len(found)} problems, each named below." if len(found) != 1 else found[0].sentence()
    return Refusal("about:blank", HTTPStatus(status).phrase, status, detail, found)
