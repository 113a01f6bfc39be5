"""Book: the price book, one SQLite file to which every import adds a revision.

No row is ever changed or deleted, so that what was asked as of a revision and a day can be asked again; a list that
was a mistake is withdrawn by a revision of its own. An import is one transaction: it is there as a whole or not at all.
Money is in whole minor units.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from econ.offers import Offer, Seller, Stated
from econ.problems import BadInput, Problem, shown

if TYPE_CHECKING:
    from api.pricelist import PriceList, Told

VARIABLE = "MENDWORTH_BOOK"
APPLICATION = 0x4D5742  # marks a SQLite file as a price book
SCHEMA = 2  # 1 knew no withdrawals
WAIT_SECONDS = 30  # for another import to end
CHUNK = 20_000  # rows turned into Python values at once
CACHE_KILOBYTES = 65_536  # an import of some 100,000 rows is written once, at its end
AT_ONCE = 500  # parts asked for in one query; SQLite takes at least 999 variables

_TABLES = """
CREATE TABLE revision (
    number INTEGER PRIMARY KEY, moment TEXT NOT NULL, source TEXT NOT NULL, sha256 TEXT NOT NULL, told TEXT NOT NULL,
    rows INTEGER NOT NULL, withdraws INTEGER UNIQUE REFERENCES revision
);
CREATE TABLE seller (
    revision INTEGER NOT NULL REFERENCES revision, name TEXT NOT NULL, currency TEXT NOT NULL, seen_on TEXT NOT NULL,
    shipping INTEGER, shipping_per_kg INTEGER, free_from INTEGER, minimum_order INTEGER
);
CREATE TABLE offer (
    revision INTEGER NOT NULL REFERENCES revision, part TEXT NOT NULL, title TEXT NOT NULL, designation TEXT NOT NULL,
    seller TEXT NOT NULL, status TEXT NOT NULL, pack INTEGER NOT NULL, price INTEGER NOT NULL, currency TEXT NOT NULL,
    core_charge INTEGER NOT NULL, weight_kg REAL, lead_days REAL, return_loss REAL, seen_on TEXT NOT NULL,
    superseded_by TEXT NOT NULL, machine_class TEXT NOT NULL
);
CREATE INDEX offer_part ON offer (part);
"""
_TABLES += "".join(
    f"CREATE TRIGGER {table}_{what} BEFORE {what} ON {table} "
    "BEGIN SELECT RAISE(ABORT, 'a price book only grows'); END;\n"
    for table in ("revision", "seller", "offer")
    for what in ("update", "delete")
)
_FIELDS = (
    "part, title, seller, status, price, seen_on, pack, core_charge, weight_kg, lead_days, return_loss, designation, "
    "superseded_by, machine_class"
)
_STANDS = "revision NOT IN (SELECT withdraws FROM revision WHERE withdraws NOT NULL AND number <= ?)"
# What a newer row replaces, as econ.pricebook.group has it.
_GROUP = (
    "part, seller, machine_class, currency, "
    "CASE WHEN status IN ('used', 'donor', 'own_stock') THEN -1 ELSE pack END, "
    "CASE WHEN status IN ('new', 'back_ordered', 'discontinued') THEN '' ELSE status END"
)
# Within one import and day the one that promises less, as econ.pricebook.current has it.
_LAST = "revision DESC, status = 'discontinued' DESC, status = 'back_ordered' DESC, price DESC, rowid"


@dataclass(frozen=True)
class Revision:
    """An import: when, from which file, the SHA-256 of its bytes, and how many rows it brought; or a withdrawal.

    withdraws: the revision that no longer counts from this one on; withdrawn_by: the one that takes this one back.
    """

    number: int
    moment: str
    source: str
    sha256: str
    rows: int
    withdraws: int | None = None
    withdrawn_by: int | None = None


@dataclass(frozen=True)
class Held:
    """An offer in the book: its currency and the revision that brought it."""

    offer: Offer
    currency: str
    revision: int


@dataclass(frozen=True)
class Asked:
    """Which offers are asked for: parts by id, a seller's, those seen before a day, and how many at most."""

    parts: tuple[str, ...] | None = None
    seller: str = ""
    before: date | None = None
    limit: int | None = None
    designated: bool = False


EVERYTHING = Asked()


@dataclass(frozen=True)
class Page:
    """Offers found: how many in all, of how many parts and sellers, the oldest's day, and the first of them."""

    total: int
    parts: int
    sellers: int
    oldest: date | None
    held: tuple[Held, ...]


def _refuse(path: Path, value: str, rule: str, remedy: str) -> BadInput:
    return BadInput([Problem(str(path), value, rule, remedy)])


class Book:
    """A price book, open. Use as a context manager."""

    def __init__(self, path: Path, writable: bool = False) -> None:
        """Open a book; one that is to be written and isn't there is begun. Raises BadInput where it is no book."""
        self.path = path
        if not writable and not path.is_file():
            raise _refuse(path, "no such file", "there is no price book yet", "begin one: mendworth prices import FILE")
        try:
            if writable:
                path.parent.mkdir(parents=True, exist_ok=True)
            uri = f"{path.absolute().as_uri()}?mode={'rwc' if writable else 'ro'}"
            self._db = sqlite3.connect(uri, uri=True, timeout=WAIT_SECONDS, isolation_level=None)
        except (sqlite3.Error, OSError) as error:
            raise _refuse(path, str(error), "this can't be used as a price book", "name another file: --book") from None
        try:
            self._check(writable)
        except sqlite3.Error as error:
            self._db.close()
            raise _refuse(path, str(error), "this can't be used as a price book", "name another file: --book") from None
        except BadInput:
            self._db.close()
            raise

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self._db.close()

    def _check(self, writable: bool) -> None:
        mark, version = self._one("PRAGMA application_id"), self._one("PRAGMA user_version")
        if mark == APPLICATION and version < SCHEMA:
            rule = f"this book was begun by an older mendworth; this one reads schema {SCHEMA}"
            raise _refuse(self.path, f"schema {version}", rule, "import the lists into a new one: --book")
        if mark == APPLICATION and version > SCHEMA:
            rule = f"this book was written by a newer mendworth; this one knows schemas up to {SCHEMA}"
            raise _refuse(self.path, f"schema {version}", rule, "update mendworth")
        if mark == APPLICATION:
            return
        if self._one("SELECT count(*) FROM sqlite_master") or not writable:
            raise _refuse(self.path, "another kind of file", "this is no price book", "name another file: --book")
        with self.writing():
            if not self._one("SELECT count(*) FROM sqlite_master"):  # nobody else was quicker
                for statement in _TABLES.split(";\n"):
                    if statement.strip():
                        self._db.execute(statement)
                self._db.execute(f"PRAGMA application_id = {APPLICATION}")
                self._db.execute(f"PRAGMA user_version = {SCHEMA}")

    def _one(self, query: str, *values: object) -> Any:
        return self._db.execute(query, values).fetchone()[0]

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Make all that is added within one transaction: all of it, or nothing if anything fails."""
        self._db.execute(f"PRAGMA cache_size = -{CACHE_KILOBYTES}")
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")

    def newest(self) -> int:
        """Return the number of the newest revision, 0 where there is none."""
        return int(self._one("SELECT coalesce(max(number), 0) FROM revision"))

    def revisions(self) -> tuple[Revision, ...]:
        """Return all imports and withdrawals, the oldest first."""
        query = """
            SELECT r.number, r.moment, r.source, r.sha256, r.rows, r.withdraws, w.number
            FROM revision r LEFT JOIN revision w ON w.withdraws = r.number ORDER BY r.number
        """
        return tuple(Revision(*row) for row in self._db.execute(query))

    def same(self, body: bytes, told: Told) -> Revision | None:
        """Return the revision that brought the same bytes with the same words, if it is still the newest word.

        It is not where it was withdrawn, or where a later list says something else of the same offers and days.
        """
        query = """
            SELECT max(number) FROM revision WHERE sha256 = ? AND told = ? AND withdraws IS NULL
            AND number NOT IN (SELECT withdraws FROM revision WHERE withdraws NOT NULL)
        """
        number = self._one(query, hashlib.sha256(body).hexdigest(), _told(told))
        if number is None:
            return None
        later = f"""
            SELECT EXISTS (
                SELECT 1 FROM (SELECT *, row_number() OVER (PARTITION BY {_GROUP}, seen_on ORDER BY {_LAST}) AS place
                    FROM offer WHERE revision >= ? AND {_STANDS}
                    AND part IN (SELECT part FROM offer WHERE revision = ?))
                WHERE revision = ? AND place > 1
            )
        """  # noqa: S608 - our own names
        if self._one(later, number, self.newest(), number, number):
            return None
        return next(r for r in self.revisions() if r.number == number)

    def withdraw(self, number: int, moment: datetime | None = None) -> Revision:
        """Take back an import, inside `writing`: from a new revision on its rows no longer count.

        Raises BadInput where there is no such import, or it is withdrawn already.
        """
        known = {r.number: r for r in self.revisions()}
        it = known.get(number)
        rule = remedy = ""
        if it is None:
            rule = f"the book has revisions 1 to {len(known)}" if known else "the book is empty"
            remedy = "see mendworth prices revisions"
        elif it.withdraws is not None:
            rule, remedy = f"this withdrew revision {it.withdraws}", "import that list again"
        elif it.withdrawn_by is not None:
            rule, remedy = f"revision {it.withdrawn_by} withdrew it", "nothing is to be done"
        if it is None or rule:
            raise BadInput([Problem("revision", shown(number), rule, remedy)])
        when, new = _moment(moment), self.newest() + 1
        self._db.execute(
            "INSERT INTO revision VALUES (?, ?, ?, ?, ?, ?, ?)", (new, when, it.source, it.sha256, "", 0, number)
        )
        return Revision(new, when, it.source, it.sha256, 0, number)

    def add(
        self,
        listed: PriceList,
        body: bytes,
        told: Told,
        moment: datetime | None = None,
        advance: Callable[[int], None] | None = None,
    ) -> Revision:
        """Add the good rows of a price list, inside `writing`. body: its bytes; told: what the user said of it.

        advance: is told of so many rows more.
        Raises BadInput where the same bytes were added before with the same words, and nothing came after that.
        """
        before = self.same(body, told)
        if before:
            got = f"the same file as revision {before.number} of {before.moment[:10]}"
            remedy = "nothing is to be done: it is there, and nothing newer took its place"
            raise BadInput([Problem(listed.name, got, "a price list is added once", remedy)])
        digest, said = hashlib.sha256(body).hexdigest(), _told(told)
        number = self.newest() + 1
        when = _moment(moment)
        rows = listed.rows
        row = (number, when, listed.name, digest, said, len(rows), None)
        self._db.execute("INSERT INTO revision VALUES (?, ?, ?, ?, ?, ?, ?)", row)
        self._db.executemany(
            "INSERT INTO seller VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (number, name, currency, str(t.seen_on), t.shipping, t.shipping_per_kg, t.free_from, t.minimum_order)
                for (name, currency), t in listed.stated.items()
            ],
        )
        insert = f"INSERT INTO offer VALUES ({number}, {', '.join('?' * rows.shape[1])})"  # noqa: S608 - our own marks
        for begin in range(0, len(rows), CHUNK):
            some = rows.iloc[begin : begin + CHUNK]
            self._db.executemany(insert, zip(*(_plain(some[c]) for c in some.columns), strict=True))
            if advance is not None:
                advance(len(some))
        return Revision(number, when, listed.name, digest, len(rows))

    def _upto(self, revision: int | None) -> int:
        newest = self.newest()
        if revision is not None and not 1 <= revision <= newest:
            rule = f"the book has revisions 1 to {newest}" if newest else "the book is empty"
            raise BadInput([Problem("revision", shown(revision), rule, "see mendworth prices revisions")])
        return newest if revision is None else revision

    def offers(
        self, parts: Iterable[str], currency: str, machine_class: str = "", revision: int | None = None
    ) -> list[Offer]:
        """Return every offer of some parts and of those that took their place, the whole past of it.

        Those of one currency that fit any machine or the class. revision: as the book was then; the newest if left out.
        Of rows of one day that replace each other the later import holds.
        """
        upto = self._upto(revision)
        found: list[Offer] = []
        asked: set[str] = set()
        wanted = set(parts)
        while wanted:
            some = sorted(wanted)[:AT_ONCE]
            asked |= set(some)
            query = f"""
                SELECT {_FIELDS} FROM (
                    SELECT *, row_number() OVER (PARTITION BY {_GROUP}, seen_on ORDER BY {_LAST}) AS place
                    FROM offer WHERE part IN ({", ".join("?" * len(some))}) AND revision <= ? AND {_STANDS}
                    AND currency = ? AND machine_class IN ('', ?)
                ) WHERE place = 1 ORDER BY part, seller, seen_on
            """  # noqa: S608 - our own names and marks
            new = [_offer(row) for row in self._db.execute(query, (*some, upto, upto, currency, machine_class))]
            found += new
            wanted = (wanted | {o.superseded_by for o in new if o.superseded_by}) - asked
        return found

    def currencies(self, parts: Iterable[str], revision: int | None = None) -> tuple[str, ...]:
        """Return the currencies in which any of some parts is offered, in their order."""
        query = f"""
            SELECT DISTINCT currency FROM offer WHERE part IN (SELECT value FROM json_each(?)) AND revision <= ?
            AND {_STANDS} ORDER BY currency
        """  # noqa: S608 - our own names
        upto = self._upto(revision)
        return tuple(code for (code,) in self._db.execute(query, (json.dumps(sorted(set(parts))), upto, upto)))

    def sellers(self, currency: str, revision: int | None = None, day: date | None = None) -> dict[str, Seller]:
        """Return the terms of each seller as it stated them last, by name. day: by that day; ever, if left out.

        What one list leaves open holds as it was stated before.
        """
        query = f"""
            SELECT name, seen_on, shipping, shipping_per_kg, free_from, minimum_order FROM seller WHERE currency = ?
            AND seen_on <= ? AND revision <= ? AND {_STANDS} ORDER BY seen_on, revision
        """  # noqa: S608 - our own names
        upto = self._upto(revision)
        found: dict[str, Stated] = {}
        for name, seen_on, *said in self._db.execute(query, (currency, (day or date.max).isoformat(), upto, upto)):
            new = Stated(date.fromisoformat(seen_on), *said)
            found[name] = new.over(found.get(name, new))
        return {name: terms.seller(name) for name, terms in found.items()}

    def current(self, day: date, revision: int | None = None, asked: Asked = EVERYTHING) -> Page:
        """Return the newest offer of each seller seen by a day, in any currency, by part and price of a piece."""
        upto = self._upto(revision)
        inner: dict[str, object] = {"seen_on <= ?": day.isoformat(), "revision <= ?": upto, _STANDS: upto}
        outer: dict[str, object] = {"pack > ?": 0}  # none of what is used up
        if asked.parts is not None:
            inner["part IN (SELECT value FROM json_each(?))"] = json.dumps(asked.parts)
        if asked.seller:
            inner["seller = ?"] = asked.seller
        if asked.designated:
            inner["designation != ?"] = ""
        if asked.before is not None:
            outer["seen_on < ?"] = asked.before.isoformat()
        table = f"""
            (SELECT *, row_number() OVER (PARTITION BY {_GROUP} ORDER BY seen_on DESC, {_LAST}) AS place
            FROM offer WHERE {" AND ".join(inner)}) WHERE {" AND ".join(("place = 1", *outer))}
        """  # noqa: S608 - our own names
        given = (*inner.values(), *outer.values())
        query = f"SELECT count(*), count(DISTINCT part), count(DISTINCT seller), min(seen_on) FROM {table}"  # noqa: S608
        total, parts, sellers, oldest = self._db.execute(query, given).fetchone()
        query = f"""
            SELECT {_FIELDS}, currency, revision FROM {table}
            ORDER BY part, currency, price * 1.0 / pack, seller, seen_on LIMIT ?
        """  # noqa: S608 - our own names
        limit = -1 if asked.limit is None else asked.limit
        held = tuple(Held(_offer(row[:-2]), row[-2], row[-1]) for row in self._db.execute(query, (*given, limit)))
        return Page(total, parts, sellers, date.fromisoformat(oldest) if oldest else None, held)

    def designated(self, day: date, revision: int | None = None) -> dict[str, list[Offer]]:
        """Return the offers that hold on a day and have a standard designation, by currency."""
        found: dict[str, list[Offer]] = {}
        for h in self.current(day, revision, Asked(designated=True)).held:
            found.setdefault(h.currency, []).append(h.offer)
        return found

    def circles(self, parts: Iterable[str]) -> tuple[tuple[str, ...], ...]:
        """Return the circles of parts that took each other's place by the newest word on each, with one of some parts.

        A circle ends with the part it begins with.
        """
        query = f"""
            SELECT part, superseded_by FROM offer WHERE superseded_by != '' AND {_STANDS}
            ORDER BY seen_on, revision
        """  # noqa: S608 - our own names
        step = dict(self._db.execute(query, (self.newest(),)).fetchall())
        found: dict[tuple[str, ...], None] = {}
        for part in sorted(set(parts) & step.keys()):
            turn = [part]
            while turn[-1] in step and step[turn[-1]] not in turn:
                turn.append(step[turn[-1]])
            if turn[-1] in step:
                begin = turn.index(step[turn[-1]])
                around = turn[begin:]
                first = around.index(min(around))
                circle = (*around[first:], *around[: first + 1])
                found[circle] = None
        return tuple(found)

    def seller_names(self) -> list[str]:
        """Return the names of all sellers."""
        query = f"SELECT DISTINCT seller FROM offer WHERE {_STANDS} ORDER BY seller"  # noqa: S608 - our own names
        return [name for (name,) in self._db.execute(query, (self.newest(),))]

    def names(self) -> list[tuple[str, str, str]]:
        """Return every part with its titles and designations: part, title, designation."""
        query = f"SELECT DISTINCT part, title, designation FROM offer WHERE {_STANDS} ORDER BY part"  # noqa: S608
        return self._db.execute(query, (self.newest(),)).fetchall()


def default_path() -> Path:
    """Return where the price book is if no option says otherwise: the environment's word, or the user's folder."""
    import click

    said = os.environ.get(VARIABLE)
    return Path(said) if said else Path(click.get_app_dir("mendworth")) / "prices.db"


def _moment(moment: datetime | None) -> str:
    return (moment or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds")


def _told(told: Told) -> str:
    said = {k: str(v) if isinstance(v, date) else v for k, v in asdict(told).items() if v}
    return json.dumps(said, sort_keys=True)


def _plain(column: Any) -> list[Any]:
    """Return a column of a price list as values SQLite takes; nothing where a number is not known."""
    if column.dtype == "category":
        words = column.cat.categories.to_numpy(object)
        return words[column.cat.codes.to_numpy()].tolist()  # type: ignore[no-any-return]
    if column.dtype.kind == "f":
        values = column.to_numpy(object)
        values[column.isna().to_numpy()] = None
        return values.tolist()  # type: ignore[no-any-return]
    return column.tolist()  # type: ignore[no-any-return]


def _offer(row: Sequence[Any]) -> Offer:
    part, title, seller, status, price, seen_on, *rest = row
    return Offer(part, title, seller, status, price, date.fromisoformat(seen_on), *rest)
