"""The price book: it only grows, an import is whole or not there, and what was asked can be asked again."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, date, datetime

import pytest

from api.book import SCHEMA, Asked, Book, default_path
from api.pricelist import Told, read_prices
from econ.offers import Offer, Seller, Shipping
from econ.pricebook import current, price_parts
from econ.problems import BadInput

TODAY = date(2026, 6, 1)
FIRST = """part,price,seller,seen on,shipping
belt,10.00,A,2026-03-01,4.50
belt,9.00,B,2026-03-01,
blade,20.00,A,2026-03-01,
"""
SECOND = """part,price,seller,seen on,shipping,weight,superseded by
belt,12.00,A,2026-04-01,5.00,0.2,
blade,,A,2026-04-01,,,blade_b
blade_b,22.00,A,2026-04-01,,,
"""


def add(book, text, told=None, moment=None):
    told = told or Told(currency="USD")
    body = text.encode()
    with book.writing():
        return book.add(read_prices(body, "list.csv", told, TODAY), body, told, moment)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "folder" / "prices.db"


@pytest.fixture
def book(path):
    with Book(path, writable=True) as opened:
        add(opened, FIRST, moment=datetime(2026, 3, 2, 8, tzinfo=UTC))
        add(opened, SECOND, moment=datetime(2026, 4, 2, 8, tzinfo=UTC))
        yield opened


def test_offers_come_back_as_they_went_in(book):
    found = book.offers(["belt"], "USD")
    assert found == [
        Offer("belt", "", "A", "new", 1000, date(2026, 3, 1)),
        Offer("belt", "", "A", "new", 1200, date(2026, 4, 1), weight_kg=0.2),
        Offer("belt", "", "B", "new", 900, date(2026, 3, 1)),
    ]
    assert book.offers(["belt"], "EUR") == []
    assert book.offers(["nothing"], "USD") == []
    assert {o.part for o in book.offers(["blade"], "USD")} == {"blade", "blade_b"}, "what took its place too"


def test_an_answer_can_be_had_again_after_prices_changed(book):
    def answer(revision, day):
        sellers = book.sellers("USD", revision)
        return price_parts(["belt", "blade"], book.offers(["belt", "blade"], "USD", revision=revision), sellers, day)

    then = answer(1, date(2026, 3, 15))
    assert (then["belt"].unit_cost, then["belt"].seller) == (900, "B")
    add(book, "part,price,seller,seen on\nbelt,1.00,C,2026-03-10\n")
    assert answer(1, date(2026, 3, 15)) == then
    assert answer(None, date(2026, 3, 15))["belt"].seller == "C"
    assert book.sellers("USD", 1)["A"] == Seller("A", Shipping(450))
    assert book.sellers("USD")["A"] == Seller("A", Shipping(500)), "terms as they were stated last"


def test_of_one_day_the_later_import_holds(book):
    add(book, "part,price,seller,seen on,status\nbelt,,A,2026-04-01,discontinued\n")
    assert [o.status for o in book.offers(["belt"], "USD") if o.seller == "A"] == ["new", "discontinued"]
    assert price_parts(["belt"], book.offers(["belt"], "USD"), {}, TODAY)["belt"].seller == "B"
    add(book, "part,price,seller,seen on,status\nbelt,13,A,2026-04-01,back-ordered\n")
    assert [o.status for o in book.offers(["belt"], "USD") if o.seller == "A"] == ["new", "back_ordered"]
    assert [h.offer.status for h in book.current(TODAY).held if h.offer.part == "belt"] == ["new", "back_ordered"]


def test_the_book_and_the_core_agree_on_what_is_current(book):
    """The same by SQL and by `econ.pricebook`."""
    add(
        book,
        "part,price,seller,seen on,status,pack\nbelt,5,A,2026-05-01,used,1\nbelt,50,A,2026-05-01,new,10\n"
        "belt,4,A,2026-05-01,back-ordered,1\nbelt,,A,2026-05-01,discontinued,1\nbelt,3,A,2026-05-01,new,1\n",
    )
    for day in (date(2026, 3, 1), date(2026, 4, 15), TODAY):
        of_all = book.offers(["belt", "blade", "blade_b"], "USD")
        by_sql = [h.offer for h in book.current(day).held]
        assert sorted(by_sql, key=repr) == sorted(current(of_all, day), key=repr)


def test_machine_classes(book):
    add(book, "part,price,seller,seen on,machine class\nbelt,7.00,A,2026-05-01,tiller\nbelt,8.00,A,2026-05-01,\n")
    assert [o.price for o in book.offers(["belt"], "USD", "tiller") if o.seen_on.month == 5] == [800, 700]
    assert [o.price for o in book.offers(["belt"], "USD", "mower") if o.seen_on.month == 5] == [800]


def test_pages(book):
    page = book.current(TODAY, asked=Asked(limit=1))
    assert (page.total, page.parts, page.sellers, len(page.held)) == (4, 3, 2, 1)
    assert page.oldest == date(2026, 3, 1)
    assert book.current(TODAY, asked=Asked(seller="B")).total == 1
    assert book.current(TODAY, asked=Asked(before=date(2026, 4, 1))).total == 1
    assert book.current(TODAY, asked=Asked(parts=())).total == 0
    assert book.current(date(2026, 1, 1)).oldest is None


def test_the_same_file_is_added_once(book):
    with pytest.raises(BadInput, match="revision 1 of 2026-03-02"):
        add(book, FIRST)
    assert add(book, FIRST, Told(currency="EUR", seller="Z")).number == 3, "with other words it says something else"


def test_a_failed_import_leaves_nothing(book, path):
    before = path.read_bytes()
    listed = read_prices(b"part,price\nx,1\n", "x.csv", Told("A", "USD", TODAY), TODAY)
    broken = listed.rows.assign(status=None)
    object.__setattr__(listed, "rows", broken)
    with pytest.raises(sqlite3.IntegrityError), book.writing():
        book.add(listed, b"x", Told())
    assert [r.number for r in book.revisions()] == [1, 2]
    assert path.read_bytes() == before


def test_no_row_is_ever_changed_or_deleted(path, book):
    with sqlite3.connect(path) as raw:
        for table in ("revision", "seller", "offer"):
            for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET rowid = rowid"):  # noqa: S608
                with pytest.raises(sqlite3.IntegrityError, match="only grows"):
                    raw.execute(statement)
    raw.close()


def test_readers_read_while_a_list_is_added(path, book):
    found = []

    def look():
        with Book(path) as other:
            found.extend(other.revisions())

    with book.writing():
        told = Told("A", "USD", TODAY)
        book.add(read_prices(b"part,price\nx,1\n", "x.csv", told, TODAY), b"x", told)
        reader = threading.Thread(target=look)
        reader.start()
        reader.join(timeout=20)
    assert [r.number for r in found] == [1, 2]
    look()
    assert [r.number for r in found] == [1, 2, 1, 2, 3]


def test_what_is_no_book(tmp_path):
    missing = tmp_path / "none.db"
    with pytest.raises(BadInput, match="no price book yet"):
        Book(missing)
    assert not missing.exists()
    text = tmp_path / "text.db"
    text.write_text("part,price\n" * 100, encoding="utf-8")
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as raw:
        raw.execute("CREATE TABLE t (x)")
    raw.close()
    before = other.read_bytes()
    for path in (text, other):
        for writable in (False, True):
            with pytest.raises(BadInput, match=r"price book"):
                Book(path, writable)
    assert other.read_bytes() == before


def test_a_book_of_a_newer_schema_is_refused(path, book):
    with sqlite3.connect(path) as raw:
        raw.execute(f"PRAGMA user_version = {SCHEMA + 1}")
    raw.close()
    for writable in (False, True):
        with pytest.raises(BadInput, match="newer mendworth"):
            Book(path, writable)


def test_a_book_of_an_older_schema_is_refused_with_what_to_do(path, book):
    with sqlite3.connect(path) as raw:
        raw.execute(f"PRAGMA user_version = {SCHEMA - 1}")
    raw.close()
    with pytest.raises(BadInput, match="import the lists into a new one"):
        Book(path)


def test_a_withdrawn_list_counts_nowhere_from_then_on(book):
    with book.writing():
        done = book.withdraw(2)
    assert (done.number, done.withdraws, book.newest()) == (3, 2, 3)
    assert [o.price for o in book.offers(["belt"], "USD")] == [1000, 900]
    assert [o.price for o in book.offers(["belt"], "USD", revision=2)] == [1000, 1200, 900]
    assert book.sellers("USD")["A"] == Seller("A", Shipping(450))
    assert book.sellers("USD", 2)["A"] == Seller("A", Shipping(500))
    assert book.current(TODAY).total == 3
    assert book.current(TODAY, 2).total == 4
    assert [r.withdrawn_by for r in book.revisions()] == [None, 3, None]
    assert add(book, SECOND).number == 4, "and may be added again"
    assert book.current(TODAY).total == 4


def test_revisions(book):
    first, second = book.revisions()
    assert (first.number, first.moment, first.source, first.rows) == (1, "2026-03-02T08:00:00+00:00", "list.csv", 3)
    assert len(first.sha256) == 64
    assert second.number == book.newest() == 2
    for revision in (0, 3):
        with pytest.raises(BadInput, match="revisions 1 to 2"):
            book.offers(["belt"], "USD", revision=revision)


def test_where_the_book_is(monkeypatch, tmp_path):
    monkeypatch.setenv("MENDWORTH_BOOK", str(tmp_path / "mine.db"))
    assert default_path() == tmp_path / "mine.db"
    monkeypatch.delenv("MENDWORTH_BOOK")
    assert default_path().name == "prices.db"


def test_many_parts_at_once(path, book):
    """More than one query takes."""
    text = "part,price,seller,seen on\n" + "".join(f"p{i},1,A,2026-05-01\n" for i in range(1_200))
    add(book, text)
    assert len(book.offers([f"p{i}" for i in range(1_200)], "USD")) == 1_200


def test_terms_hold_by_the_day_they_were_seen_on_and_each_by_itself(path):
    """A list of last year, added later, changes nothing of this year's; what a list leaves open holds as before."""
    head = "part,price,seller,seen on,shipping,free from,min order\n"
    with Book(path, writable=True) as book:
        add(book, head + "belt,20,A,2026-05-01,9.00,15.00,\n")
        add(book, head + "belt,20,A,2025-05-01,4.00,,40.00\n")
        assert book.sellers("USD") == {"A": Seller("A", Shipping(900, 0, 1500), 4000)}
        assert book.sellers("USD", day=date(2025, 6, 1)) == {"A": Seller("A", Shipping(400), 4000)}
        add(book, head + "belt,20,A,2026-05-20,8.00,,\nbelt,20,B,2026-05-20,,,30.00\n")
        assert book.sellers("USD")["A"] == Seller("A", Shipping(800, 0, 1500), 4000)
        assert book.sellers("USD")["B"] == Seller("B", Shipping(), 3000, stated=False)
        assert book.sellers("USD", day=date(2025, 1, 1)) == {}


def test_what_is_withdrawn_leaves_no_names(book):
    with book.writing():
        book.withdraw(1)
    assert book.seller_names() == ["A"]
    assert {part for part, _, _ in book.names()} == {"belt", "blade", "blade_b"}
    with book.writing():
        book.withdraw(2)
    assert (book.seller_names(), book.names()) == ([], [])
