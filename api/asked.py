"""Asked: what the texts of a query mean, the same for whatever is asked."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

from econ.problems import Problem, shown

CORRECT = "correct it, or leave it out"
MOST_REVISION = 999_999_999


def asked_day(given: Mapping[str, str], today: date, problems: list[Problem]) -> date:
    """Return the day a query asks about, ``as_of``; today where it names none. What is no day joins the problems."""
    text = given.get("as_of", today.isoformat())
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    problems.append(Problem("as_of", shown(text), "a day is text such as 2026-05-10", CORRECT))
    return today


def asked_whole(given: Mapping[str, str], name: str, least: int, most: int, problems: list[Problem]) -> int | None:
    """Return a whole number a query gives, None where it gives none. What is no such number joins the problems."""
    text = given.get(name)
    if text is not None and not (re.fullmatch("[0-9]{1,9}", text) and least <= int(text) <= most):
        problems.append(Problem(name, shown(text), f"this is a whole number, {least} to {most}", CORRECT))
        return None
    return None if text is None else int(text)
