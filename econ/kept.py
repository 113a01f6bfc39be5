"""Kept: what was worked out last, so that it need not be again."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from typing import Generic, TypeVar

V = TypeVar("V")


class Kept(Generic[V]):
    """Values by what they are of, so many at most; the one that was made first goes first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._values: dict[Hashable, V] = {}

    def __iter__(self) -> Iterator[V]:
        """Yield the values, the one that was made first first."""
        yield from self._values.values()

    def get(self, key: Hashable, make: Callable[[], V]) -> V:
        """Return the value of a key, made where it is not kept."""
        if key not in self._values:
            self._values[key] = make()
            if len(self._values) > self._most:
                del self._values[next(iter(self._values))]
        return self._values[key]
