"""What is wrong with an input, as values: every problem of one input is reported at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

SHOWN_VALUE_LENGTH = 80


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


def shown(value: object) -> str:
    """Return a received value as short text that is safe to print on one line."""
    text = repr(value) if not isinstance(value, str) else f'"{value}"'
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= SHOWN_VALUE_LENGTH else text[: SHOWN_VALUE_LENGTH - 3] + "..."


def nearest(name: object, known: Iterable[str]) -> str:
    """Return the remedy for an unknown id: the nearest known ones, or how many there are."""
    choices = sorted(known)
    close = get_close_matches(str(name), choices, n=2, cutoff=0.5)
    if not close:  # perhaps one word of a longer id
        words = {word: c for c in reversed(choices) for word in c.split("_") if len(word) > 2}
        close = [words[w] for w in get_close_matches(str(name), sorted(words), n=1, cutoff=0.7)]
    if close:
        return "did you mean " + " or ".join(f'"{c}"' for c in close)
    if not choices:
        return "remove it: there is nothing of this kind here"
    listed = ", ".join(choices[:12]) + (", ..." if len(choices) > 12 else "")
    return f"known: {listed}"
