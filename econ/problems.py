"""What is wrong with an input, as values: every problem of one input is reported at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from difflib import get_close_matches
from itertools import islice

SHOWN_VALUE_LENGTH = 80
SHOWN_LEVELS = 6
CLOSE = 0.7  # least likeness of a name that is offered: one letter in four may be wrong
LISTED = 12  # names listed where none is like it


@dataclass(frozen=True, order=True)
class Problem:
    """One fault of an input.

    path: where it stands, e.g. ``findings.2.outcome`` or ``modules/fuel.toml: faults.stale_fuel.prior``.
    value: what was received, as text, shortened.
    rule: what was expected.
    remedy: what to do about it.
    """

    path: str
    value: str
    rule: str
    remedy: str

    def sentence(self) -> str:
        """Return the problem as one line for people."""
        return f"{self.path}: got {self.value}; {self.rule}. {self.remedy}."


class BadInput(ValueError):  # noqa: N818 - the trade's word for it
    """An input that can't be used; ``problems`` holds all that is wrong with it, in reading order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(problem.sentence() for problem in self.problems))

    def __reduce__(self) -> tuple[type[BadInput], tuple[tuple[Problem, ...]]]:
        """Return how to make it anew in another process."""
        return type(self), (self.problems,)


def shown(value: object) -> str:
    """Return a received value, as a document writes it, as short text that is safe to print on one line."""
    text = _written(value, SHOWN_LEVELS)
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= SHOWN_VALUE_LENGTH else text[: SHOWN_VALUE_LENGTH - 3] + "..."


def _written(value: object, levels: int) -> str:
    """Return a value as JSON or TOML would write it, no deeper and no longer than can be shown."""
    if isinstance(value, str | Decimal | date | time):
        return f'"{value}"' if isinstance(value, str | Decimal) else value.isoformat()
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, Mapping | list | tuple):
        if not levels:
            return "..."
        some = islice(value.items() if isinstance(value, Mapping) else value, SHOWN_VALUE_LENGTH)
        if isinstance(value, Mapping):
            return "{" + ", ".join(f"{_written(k, 0)}: {_written(v, levels - 1)}" for k, v in some) + "}"
        return "[" + ", ".join(_written(x, levels - 1) for x in some) + "]"
    return repr(value)


def nearest(name: object, known: Iterable[str]) -> str:
    """Return the remedy for an unknown id: the nearest known ones, or those there are where none is like it."""
    choices = sorted(known)
    close = get_close_matches(str(name), choices, n=2, cutoff=CLOSE)
    if not close:  # perhaps one word of a longer id
        words = {word: c for c in reversed(choices) for word in c.split("_") if len(word) > 2}
        close = [words[w] for w in get_close_matches(str(name), sorted(words), n=1, cutoff=0.8)]
    if close:
        return "did you mean " + " or ".join(f'"{c}"' for c in close)
    if not choices:
        return "remove it: there is nothing of this kind here"
    more = len(choices) - LISTED
    return f"known: {', '.join(choices[:LISTED])}" + (f" and {more} more" if more > 0 else "")
