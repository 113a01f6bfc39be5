"""Lists: what must hold between the rows of a price list: no row twice, one word of a seller, no circles of parts."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from api.cells import SPELLED, Faults, first_rows
from api.figures import BoolArray, IntArray
from api.headers import OF_SELLER
from econ.money import to_decimal
from econ.pricebook import LISTED
from econ.problems import shown

KEY = ("part", "seller", "pack", "seen_on", "status", "machine_class", "currency")
ROOM = 2**62


def _key(frame: pd.DataFrame) -> IntArray:
    """Return a whole number for each row, the same for rows that agree in KEY."""
    key, size = np.zeros(len(frame), np.int64), 1
    for name in KEY:
        column = frame[name]
        codes = column.cat.codes.to_numpy() if isinstance(column.dtype, pd.CategoricalDtype) else column.to_numpy()
        most = int(codes.max()) + 2
        if size * most > ROOM:
            key, distinct = pd.factorize(key)
            size = len(distinct)
        key, size = key * most + (codes.astype(np.int64) + 1), size * most
    return key


def duplicates(frame: pd.DataFrame, faults: Faults) -> BoolArray:
    """Return rows that repeat another word for word; note those of the same offer that say something else."""
    key = _key(frame)
    again = pd.Series(key).duplicated(keep=False).to_numpy() & ~faults.bad
    which = np.flatnonzero(again)
    dropped = np.zeros(len(frame), bool)
    if not len(which):
        return dropped
    some = frame.iloc[which]
    first = pd.Series(which).groupby(key[which]).transform("min").to_numpy()
    of_first = some.iloc[np.searchsorted(which, first)]
    wrong = np.zeros(len(which), bool)
    names: list[list[str]] = [[] for _ in which]
    for column in some.columns:
        a, b = some[column].to_numpy(), of_first[column].to_numpy()
        differs = (a != b) & ~(pd.isna(a) & pd.isna(b))
        wrong |= differs
        for i in np.flatnonzero(differs)[:SPELLED]:
            names[i].append({"price_minor": "price", "core_minor": "core_charge"}.get(column, column))
    dropped[which[~wrong & (which != first)]] = True
    at = dict(zip(which.tolist(), range(len(which)), strict=True))

    def told(row: int) -> str:
        i = at[row]
        what = " and ".join(names[i]) or "a figure"
        return f"{shown(some['part'].iloc[i])} again, with another {what} than {faults.named(first[i])}"

    rule = "a seller offers a part in one pack on one day in one state at one price"
    both = np.zeros(len(frame), bool)
    both[which[wrong]] = True
    faults.rows(both, faults.header("part"), told, rule, "keep the row that is right")
    faults.bad[first[wrong]] = True  # which of the two is right is not known
    return dropped


def one_statement(
    frame: pd.DataFrame, terms: Mapping[str, tuple[IntArray, BoolArray]], faults: Faults
) -> Mapping[str, Mapping[tuple[str, str], int]]:
    """Return what each seller says of each of its terms, by name and currency; note rows that say something else.

    terms: for each term its amount in each row [minor units] and which rows state it.
    """
    names, currencies = frame["seller"].cat, frame["currency"].cat
    pair = names.codes.to_numpy().astype(np.int64) * len(currencies.categories) + currencies.codes.to_numpy()
    group, pairs = pd.factorize(pair)
    good = ~faults.bad  # a row that is wrong in one term is looked at in the others, too
    for column, (value, said) in terms.items():
        rows = np.flatnonzero(said & good)
        first = _first_of(rows, group, len(pairs))[group]
        wrong = np.zeros(len(frame), bool)
        wrong[rows] = value[rows] != value[first[rows]]

        def told(row: int, value: IntArray = value, first: IntArray = first) -> str:
            name, currency = frame["seller"].iloc[row], str(frame["currency"].iloc[row])
            here, there = (f"{to_decimal(int(value[r]), currency):f}" for r in (row, first[row]))
            return f"{shown(name)}: {here}, but {there} in {faults.named(first[row])}"

        rule = "a seller has one shipping rule and one minimum order"
        faults.rows(wrong, faults.header(column), told, rule, "make the rows agree, or leave it empty in all but one")
    found: dict[str, dict[tuple[str, str], int]] = {column: {} for column in OF_SELLER}
    for column, (value, said) in terms.items():
        first = _first_of(np.flatnonzero(said & ~faults.bad), group, len(pairs))
        for g in np.flatnonzero(first < len(frame)).tolist():
            name, currency = divmod(int(pairs[g]), len(currencies.categories))
            key = str(names.categories[name]), str(currencies.categories[currency])
            found[column][key] = int(value[first[g]])
    return found


def _first_of(rows: IntArray, group: IntArray, groups: int) -> IntArray:
    """Return the first of some rows in each group; the number of all rows where none is in it."""
    return np.append(rows, len(group))[first_rows(group[rows], groups)]


def successors(frame: pd.DataFrame, faults: Faults) -> None:
    """Note parts with two successors, and parts that took each other's place in a circle."""
    after = frame["superseded_by"].cat
    blank = np.array([c == "" for c in after.categories], bool)[after.codes.to_numpy()]
    rows = np.flatnonzero(~blank & ~faults.bad)
    if not len(rows):
        return
    parts, nexts = frame["part"].iloc[rows].tolist(), frame["superseded_by"].iloc[rows].tolist()
    first: dict[str, int] = {}
    step: dict[str, str] = {}
    wrong: dict[int, int] = {}
    for row, part, follows in zip(rows.tolist(), parts, nexts, strict=True):
        if step.setdefault(part, follows) != follows:
            wrong[row] = first[part]
        first.setdefault(part, row)
    header = faults.header("superseded_by")
    mask = np.zeros(len(frame), bool)
    mask[list(wrong)] = True
    faults.rows(
        mask, header, lambda r: f"another part than {faults.named(wrong[r])} names",
        "one part takes the place of a part", "make the rows agree",
    )  # fmt: skip
    faults.bad[list(wrong.values())] = True  # which of the two is right is not known
    circles = _circles(step)
    mask = np.zeros(len(frame), bool)
    mask[[r for r, p in zip(rows.tolist(), parts, strict=True) if p in circles]] = True
    faults.rows(
        mask, header, lambda r: " -> ".join(map(shown, circles[str(frame["part"].iloc[r])])),
        "parts that took each other's place go round in a circle", "leave superseded_by empty at the one on sale",
    )  # fmt: skip


def _circles(step: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """Return for each part of a circle the circle, its first part at the end again."""
    done: set[str] = set()
    circles: dict[str, tuple[str, ...]] = {}
    for start in step:
        path: dict[str, None] = {}
        part = start
        while part in step and part not in done and part not in path:
            path[part] = None
            part = step[part]
        if part in path:
            seen = list(path)
            circle = tuple(seen[seen.index(part) :])
            circles |= dict.fromkeys(circle, (*circle, part))
        done |= path.keys()
    return circles


def two_states(frame: pd.DataFrame) -> list[str]:
    """Return parts that a seller lists in more than one state of LISTED on a day, in one pack, in order of the rows."""
    of = frame[frame["status"].isin(list(LISTED))]
    key = [c for c in KEY if c != "status"]
    plain = of.assign(status=of["status"].cat.codes)
    states = plain.groupby(key, observed=True, sort=False)["status"].transform("nunique") if len(of) else of["pack"]
    return list(dict.fromkeys(of["part"][states > 1].astype(str))) if len(of) else []
