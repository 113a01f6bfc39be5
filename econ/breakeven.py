"""Break-even: the values of each input at which the best course changes, and which figure matters most.

Changes of the best course are looked for on a grid of each input and then closed in on, all inputs at once: between two
values with other best courses the next are tried about where the two are worth the same if their worth runs straight.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from econ.inputs import Fact, Input
from econ.money import to_decimal
from econ.worlds import Ask, Worlds, Worth

Floats = NDArray[np.float64]
ROUNDS = 60  # most rounds of closing in; each narrows every gap, most to a fiftieth
NEAR = 0.02  # of a gap: how near to the straight-line guess values are tried [1]
WIDE = 50  # steps of a gap over which its slope is taken
SETTLED = 4  # most finer looks at a change
MOST_CHANGES = 12  # of one input that are closed in on
# Weights of the 5th, 50th and 95th percentile that stand for a whole distribution.
# References: D. L. Keefer, S. E. Bodily, Three-point approximations for continuous random variables, Management
# Science 29(5), 1983 (extended Pearson-Tukey; from memory).
THREE_POINTS = (0.185, 0.63, 0.185)
GRID = 7  # values of each input in the two-way table


@dataclass(frozen=True)
class Change:
    """The best course changes: `below` is best under the value, `above` from the value on."""

    value: Decimal
    below: str
    above: str


@dataclass(frozen=True)
class AtEnd:
    """The best course at one end of what an input may well be, and the worth of it and of the answer's course there."""

    value: Decimal
    course: str
    net_worth: Decimal
    of_the_answer: Decimal


@dataclass(frozen=True)
class InputLine:
    """One input. value: now; low, high: nine in ten lie between; searched_from, searched_to: where changes were sought.

    changes: rising; none: none in range. swing: by how much the worth of the answer's course moves from low to high.
    worth_knowing: what it is worth to know the figure before choosing, None where the case states it and for a chance,
    which only checks can settle.
    """

    input: str
    unit: str
    value: Decimal
    stated: bool
    source: str
    searched_from: Decimal
    searched_to: Decimal
    changes: tuple[Change, ...]
    low: AtEnd
    high: AtEnd
    swing: Decimal
    worth_knowing: Decimal | None


@dataclass(frozen=True)
class TwoWay:
    """The best course over two inputs: courses[i][j] at the i-th value of the first and the j-th of the second.

    asked: the case names the two.
    """

    first: str
    second: str
    first_values: tuple[Decimal, ...]
    second_values: tuple[Decimal, ...]
    courses: tuple[tuple[str, ...], ...]
    net_worth: tuple[tuple[Decimal, ...], ...]
    asked: bool = False


@dataclass(frozen=True)
class Missing:
    """The figure left open that matters most: an input, or ``history.x``, a fact of the history nobody has told.

    worth_knowing: before choosing [money]; changes: it may turn the answer. low, high: worth of the answer's course at
    the ends of what the figure may be.
    """

    input: str
    worth_knowing: Decimal
    changes: bool
    low: Decimal
    high: Decimal


@dataclass(frozen=True)
class BreakEven:
    """What would change the answer. inputs: the one that swings the answer's worth most first (the tornado)."""

    inputs: tuple[InputLine, ...]
    missing: Missing | None
    two_way: TwoWay | None


@dataclass(frozen=True)
class _Gap:
    """Two values of an input with other best courses, and the worth of every course at each.

    slope: by how much the lead of the lower one's course falls for a unit of the input, over a wider gap. at, lead:
    where a finer look was taken before, and the lead there.
    """

    place: int
    low: float
    high: float
    at_low: Floats
    at_high: Floats
    best_low: int
    best_high: int
    slope: float
    at: float = np.nan
    lead: float = np.nan


Look = Callable[[Sequence[tuple[int, Floats]]], list[Worth]]


def _tries(g: _Gap, step: float) -> Floats:
    """Return the values to try within a gap, on the steps of the input, rising."""
    steps = round((g.high - g.low) / step)
    if steps <= 8:
        every: Floats = g.low + step * np.arange(1.0, steps)
        return every
    with np.errstate(invalid="ignore"):
        ahead = g.at_low[g.best_low] - g.at_low[g.best_high]
        behind = g.at_high[g.best_high] - g.at_high[g.best_low]
        part = ahead / (ahead + behind)
    part = float(part) if np.isfinite(part) else 0.5
    guess = g.low + (g.high - g.low) * min(max(part, 0.0), 1.0)
    width = max(step, NEAR * (g.high - g.low))
    about = guess + width * np.array([-1.0, -0.1, 0.0, 0.1, 1.0])
    tries = np.concatenate([np.linspace(g.low, guess, 5)[1:-1], about, np.linspace(guess, g.high, 5)[1:-1]])
    whole = np.unique(g.low + np.round((tries - g.low) / step) * step)
    inside: Floats = whole[(whole > g.low + step / 2) & (whole < g.high - step / 2)]
    return inside


def _gaps(place: int, values: Floats, found: Worth, slope: float | None = None) -> list[_Gap]:
    """Return the gaps between values at which other courses are best. slope: of the gap they lie in, while narrow."""
    best, worth = found.best, found.worth
    gaps = []
    for i in np.flatnonzero(best[1:] != best[:-1]):
        a, b = int(best[i]), int(best[i + 1])
        with np.errstate(invalid="ignore"):
            falls = float(worth[i, a] - worth[i, b] - (worth[i + 1, a] - worth[i + 1, b])) / (values[i + 1] - values[i])
        own = falls if slope is None else slope
        own = own if np.isfinite(own) else 0.0
        gaps.append(_Gap(place, values[i], values[i + 1], worth[i], worth[i + 1], a, b, own))
    return gaps


def find_changes(
    inputs: Sequence[Input], grids: Sequence[Floats], found: Sequence[Worth], look: Look
) -> list[list[_Gap]]:
    """Return for each input the gaps, one step wide, in which its best course changes.

    found: the worth at each grid. look: returns the worth at given values of given inputs.
    """
    done: list[list[_Gap]] = [[] for _ in inputs]
    open_gaps = [g for i, (v, w) in enumerate(zip(grids, found, strict=True)) for g in _gaps(i, v, w)[:MOST_CHANGES]]
    for _ in range(ROUNDS):
        tries = [(g, _tries(g, inputs[g.place].step)) for g in open_gaps]
        for g, values in tries:
            if not values.size:
                done[g.place].append(g)
        tries = [(g, values) for g, values in tries if values.size]
        if not tries:
            break
        open_gaps = []
        for (g, values), w in zip(tries, look([(g.place, values) for g, values in tries]), strict=True):
            whole = np.concatenate([[g.low], values, [g.high]])
            table = np.concatenate([g.at_low[None], w.worth, g.at_high[None]])
            narrower = Worth(table, w.names, w.repairs)
            wide = g.high - g.low > WIDE * inputs[g.place].step
            open_gaps += _gaps(g.place, whole, narrower, None if wide else g.slope)
    return [sorted(gaps, key=lambda g: g.low) for gaps in done]


def settle_changes(
    inputs: Sequence[Input], grids: Sequence[Floats], found: Sequence[Worth], look: Look, finer: Look | None
) -> list[list[_Gap]]:
    """Return the gaps of `find_changes`, moved to where they are by a finer look.

    finer: as `look`, but nearer the truth and dearer; None where `look` has all of it. A gap moves until the lead of
    its lower course turns in it, SETTLED times at most; one that leaves what is searched is none in range.
    """
    gaps = find_changes(inputs, grids, found, look)
    if finer is None:
        return gaps
    done: list[_Gap] = []
    open_gaps = [g for each in gaps for g in each]
    for _ in range(SETTLED):
        if not open_gaps:
            break
        looked = finer([(g.place, np.array([g.low, g.high])) for g in open_gaps])
        moved = [_moved(g, w, inputs[g.place]) for g, w in zip(open_gaps, looked, strict=True)]
        done += [g for g, new in zip(open_gaps, moved, strict=True) if new is g]
        open_gaps = [new for g, new in zip(open_gaps, moved, strict=True) if new is not None and new is not g]
    done += open_gaps
    lines = [sorted((g for g in done if g.place == n), key=lambda g: g.low) for n in range(len(inputs))]
    torn = [n for n, gaps in enumerate(lines) if any(a.best_high != b.best_low for a, b in pairwise(gaps))]
    between = [_between(lines[n], inputs[n]) for n in torn]
    for n, w in zip(torn, finer(list(zip(torn, between, strict=True))) if torn else (), strict=True):
        lines[n] = _joined(lines[n], w.best)
    return lines


def _between(gaps: Sequence[_Gap], i: Input) -> Floats:
    """Return a value of an input between each two gaps, and between them and the ends of what is searched."""
    edges = np.array([i.least, *(g.high for g in gaps), i.most])
    middle: Floats = np.round((edges[1:] + edges[:-1]) / 2 / i.step) * i.step
    return middle


def _joined(gaps: Sequence[_Gap], best: NDArray[np.int64]) -> list[_Gap]:
    """Return gaps as changes from one best course to the next; best: between them, one more than gaps."""
    sides = zip(gaps, pairwise(best.tolist()), strict=True)
    return [replace(g, best_low=a, best_high=b) for g, (a, b) in sides if a != b]


def _moved(g: _Gap, w: Worth, i: Input) -> _Gap | None:
    """Return a gap moved to where its courses are worth the same: one step of Newton's method, later of the secant.

    w: the worth at both ends of the gap. The same gap where the lead of the lower course turns in it, as at a jump, or
    where nothing says which way to go; None where it leaves what is searched.
    """
    with np.errstate(invalid="ignore"):
        low_lead, high_lead = w.worth[:, g.best_low] - w.worth[:, g.best_high]
        slope = (g.lead - high_lead) / (g.high - g.at) if np.isfinite(g.lead) else g.slope
    if low_lead >= 0 >= high_lead or not np.isfinite(high_lead):
        return g
    slope = slope if np.isfinite(slope) and slope > 0 else g.slope
    if slope <= 0:
        return g
    steps = round(high_lead / slope / i.step) * i.step
    if not steps:
        steps = i.step if high_lead > 0 else -i.step
    steps = min(max(steps, i.least - g.low), i.most - g.high)
    if abs(steps) < i.step / 2:
        return None  # it is at the end already
    low, high = (min(max(round((x + steps) / i.step) * i.step, i.least), i.most) for x in (g.low, g.high))
    return replace(g, low=low, high=high, slope=slope, at=g.high, lead=float(high_lead))


class _Teller:
    """Turns figures of one case into those of the answer."""

    def __init__(self, inputs: Sequence[Input], currency: str) -> None:
        self._inputs, self._currency = inputs, currency

    def look(self, w: Worlds) -> Look:
        """Return what tells the worth of every course at values of inputs."""
        return lambda wanted: w.of([self._inputs[i].ask(values, w.states, w.weights) for i, values in wanted])

    def money(self, x: float) -> Decimal:
        return to_decimal(float(x), self._currency)

    def value(self, i: Input, x: float) -> Decimal:
        """Return a value of an input as in the case: money in its units, all else to the input's step."""
        if i.unit == "money":
            return to_decimal(round(x), self._currency)
        return Decimal(f"{i.step:g}") * round(x / i.step)

    def fact(self, f: Fact, levels: Worth, chosen: int) -> Missing:
        """Return what it is worth to be told a fact of the history. levels: the worth of every course at each level."""
        best, mine = levels.best, levels.worth[:, chosen]
        gain = np.take_along_axis(levels.worth, best[:, None], axis=1)[:, 0] - mine
        worth = float(np.maximum(np.nan_to_num(gain, posinf=0.0), 0.0) @ f.chances)
        there = [_open(x, levels.worth[k, best[k]]) for k, x in enumerate(mine)]
        ends = [self.money(x) for x in (min(there), max(there))]
        return Missing(f"history.{f.name}", self.money(worth), bool(np.unique(best).size > 1), ends[0], ends[1])

    def line(self, n: int, gaps: Sequence[_Gap], ends: Worth, chosen: int) -> tuple[InputLine, float]:
        """Return the line of an input, and what it is worth to know it [money]. ends: at its low, value and high."""
        i, best = self._inputs[n], ends.best
        names = ends.names
        sides = [
            AtEnd(
                self.value(i, x),
                names[best[k]],
                self.money(ends.worth[k, best[k]]),
                self.money(_open(ends.worth[k, chosen], ends.worth[k, best[k]])),
            )
            for k, x in ((0, i.low), (2, i.high))
        ]
        lost = np.take_along_axis(ends.worth, best[:, None], axis=1)[:, 0] - ends.worth[:, chosen]
        knowing = float(np.maximum(np.nan_to_num(lost, posinf=0.0), 0.0) @ np.array(THREE_POINTS))
        line = InputLine(
            i.name,
            i.unit,
            self.value(i, i.value),
            i.stated,
            i.source,
            self.value(i, i.least),
            self.value(i, i.most),
            tuple(Change(self.value(i, g.high), names[g.best_low], names[g.best_high]) for g in gaps),
            sides[0],
            sides[1],
            abs(sides[1].of_the_answer - sides[0].of_the_answer),
            None if i.stated or i.mask else self.money(knowing),
        )
        return line, knowing


def _open(worth: float, instead: float) -> float:
    """Return the worth of a course, or of what is done instead where it is barred."""
    return worth if np.isfinite(worth) else instead


def two_way(worlds: Worlds, first: Input, second: Input, currency: str, size: int = GRID) -> TwoWay:
    """Return the best course over two inputs, from the low to the high end of what each may well be.

    Raises ValueError where one is a chance or changes the years looked ahead: those go by themselves.
    """
    for i in (first, second):
        if not i.pairs:
            raise ValueError(f"{i.name}: can't be laid against another input")
    values = [np.round(np.linspace(i.low, i.high, size) / i.step) * i.step for i in (first, second)]
    a, b = np.repeat(values[0], size), np.tile(values[1], size)
    (found,) = worlds.of([Ask({first.figure: a, second.figure: b})])
    tell = _Teller((first, second), currency)
    best = found.best
    worth = np.take_along_axis(found.worth, best[:, None], axis=1)[:, 0]
    return TwoWay(
        first.name,
        second.name,
        tuple(tell.value(first, x) for x in values[0]),
        tuple(tell.value(second, x) for x in values[1]),
        tuple(tuple(found.names[best[i * size + j]] for j in range(size)) for i in range(size)),
        tuple(tuple(tell.money(worth[i * size + j]) for j in range(size)) for i in range(size)),
    )


def break_even(
    worlds: Worlds,
    finer: Worlds | None,
    inputs: Sequence[Input],
    facts: Sequence[Fact],
    course: str,
    currency: str,
    pair: Sequence[Input] = (),
) -> BreakEven:
    """Return what would change the answer.

    worlds: of the case; finer: with more states, None where `worlds` has them all. facts: of the history that nobody
    has told. course: name of the answer's. pair: the two inputs to lay against each other; left out, those that swing
    the answer most.
    """
    tell = _Teller(inputs, currency)
    look = tell.look(worlds)
    grids = [i.grid() for i in inputs]
    three = [np.array([i.low, i.value, i.high]) for i in inputs]
    found = look([*enumerate(grids), *enumerate(three)])
    at_grid, at_three = found[: len(inputs)], found[len(inputs) :]
    gaps = settle_changes(inputs, grids, at_grid, look, None if finer is None else tell.look(finer))
    chosen = at_grid[0].names.index(course)
    told = [tell.line(n, gaps[n], at_three[n], chosen) for n in range(len(inputs))]
    lines = [line for line, _ in sorted(told, key=lambda x: (-x[0].swing, x[0].input))]
    by_name = {i.name: i for i in inputs}
    table = [*pair] or [by_name[x.input] for x in lines if by_name[x.input].pairs][:2]
    grid = two_way(worlds, table[0], table[1], currency) if len(table) == 2 else None
    told_facts = zip(facts, worlds.of([Ask({}, f.weights) for f in facts]), strict=True)
    left = [m for line, _ in told if (m := _left_open(line)) is not None]
    left += [tell.fact(f, w, chosen) for f, w in told_facts]
    return BreakEven(
        tuple(lines),
        max(left, key=lambda m: (m.worth_knowing, m.high - m.low), default=None),
        replace(grid, asked=bool(pair)) if grid else None,
    )


def _left_open(line: InputLine) -> Missing | None:
    """Return what it is worth to know an input that the case leaves open; None for others."""
    if line.worth_knowing is None:
        return None
    ends = line.low.of_the_answer, line.high.of_the_answer
    return Missing(line.input, line.worth_knowing, line.low.course != line.high.course, min(ends), max(ends))
