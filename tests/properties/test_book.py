"""Offers written as a price list in any layout, read and kept, come back as they were."""

from __future__ import annotations

import csv
import io
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

import openpyxl
from hypothesis import given, settings
from hypothesis import strategies as st

from api.book import Book
from api.headers import COLUMNS, UNSURE
from api.pricelist import Told, read_prices
from econ.offers import STATUSES, Offer, Seller, Shipping
from econ.pricebook import current, group

TODAY = date(2026, 6, 1)
TEXT = st.text(st.sampled_from("abcXYZ 09-é\"',;.="), max_size=12).map(lambda t: " ".join(t.split()))
NAMED = TEXT.filter(bool)
WORDS = {
    c: [c, *(w for w in h.others if w not in UNSURE and sum(w in k.others for k in COLUMNS.values()) == 1)]
    for c, h in COLUMNS.items()
}


@st.composite
def offers(draw):
    found = {}
    for _ in range(draw(st.integers(1, 8))):
        status = draw(st.sampled_from(STATUSES))
        idle = status in ("discontinued", "own_stock", "donor")
        o = Offer(
            part=draw(NAMED), title=draw(TEXT), seller=draw(st.sampled_from(["Seller A", "B; Sons", "C"])),
            status=status, price=draw(st.integers(0 if idle else 1, 10**9)), pack=draw(st.integers(1, 50)),
            seen_on=TODAY - timedelta(days=draw(st.integers(0, 400))), core_charge=draw(st.integers(0, 10**6)),
            weight_kg=draw(st.none() | st.integers(1, 10**6).map(lambda n: n / 1000)),
            lead_days=draw(st.none() | st.integers(0, 700).map(float)),
            return_loss=draw(st.none() | st.integers(0, 1000).map(lambda n: n / 1000)),
            designation=draw(TEXT), machine_class=draw(st.sampled_from(["", "tiller"])),
        )  # fmt: skip
        found[o.part, o.seller, o.pack, o.seen_on, o.status, o.machine_class] = o
    return list(found.values())


SELLERS = st.fixed_dictionaries(
    {
        name: st.builds(
            lambda flat, kg, free, least, n=name: Seller(n, Shipping(flat, kg, free), least),
            st.integers(0, 9999), st.integers(0, 999), st.none() | st.integers(0, 10**6), st.integers(0, 10**5),
        )
        for name in ("Seller A", "B; Sons", "C")
    }
)  # fmt: skip


def amount(minor, comma, grouped):
    text = f"{Decimal(minor).scaleb(-2):,.2f}" if grouped else f"{Decimal(minor).scaleb(-2):.2f}"
    return text.translate(str.maketrans(",.", ".,")) if comma else text


def table(rows, sellers, money, number):
    """Return a row of cells for each offer, by our columns."""
    found = []
    for o in rows:
        s = sellers[o.seller]
        row = {c: getattr(o, c) for c in ("part", "title", "designation", "seller", "machine_class")}
        row |= {c: number(getattr(o, c)) for c in ("weight_kg", "lead_days", "return_loss")}
        row |= {"status": o.status.replace("_", "-").upper(), "pack": str(o.pack), "currency": "eur"}
        row |= {"price": money(o.price), "core_charge": money(o.core_charge), "seen_on": o.seen_on.isoformat()}
        row |= {"shipping": money(s.shipping.flat), "shipping_per_kg": money(s.shipping.per_kg)}
        row |= {"free_from": "" if s.shipping.free_from is None else money(s.shipping.free_from)}
        found.append(row | {"minimum_order": money(s.minimum_order)})
    return found


def kept(body, rows, sellers):
    listed = read_prices(body, "any", Told(), TODAY)
    assert not listed.problems
    with TemporaryDirectory() as folder, Book(Path(folder) / "b.db", writable=True) as book:
        with book.writing():
            book.add(listed, body, Told())
        got = book.offers({o.part for o in rows}, "EUR", "tiller")
        assert book.sellers("EUR") == {n: s for n, s in sellers.items() if n in {o.seller for o in rows}}
        now = book.current(TODAY).held
    assert sorted((h.offer for h in now), key=repr) == sorted(current(rows, TODAY), key=repr)
    return got


@given(offers(), SELLERS, st.sampled_from([(",", False), ("\t", False), (";", True)]), st.booleans(), st.data())
@settings(max_examples=120, deadline=None)
def test_through_a_csv_file(rows, sellers, layout, grouped, data):
    delimiter, comma = layout

    def number(x):
        return "" if x is None else f"{x:.4f}".replace(".", "," if comma else ".")

    cells = table(rows, sellers, lambda m: amount(m, comma, grouped), number)
    columns = data.draw(st.permutations(list(cells[0])))
    headers = [data.draw(st.sampled_from(WORDS[c])) for c in columns]
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter)
    writer.writerow([h.upper() if i % 2 else f" {h}. " for i, h in enumerate(headers)])
    for row in cells:
        writer.writerow([row[c] for c in columns])
        if data.draw(st.booleans()):
            writer.writerow([])
    assert_same(kept(written.getvalue().encode(), rows, sellers), rows)


@given(offers(), SELLERS)
@settings(max_examples=40, deadline=None)
def test_through_a_workbook(rows, sellers):
    """Amounts as the numbers of a spreadsheet."""
    cells = table(rows, sellers, lambda m: m / 100, lambda x: x)
    book = openpyxl.Workbook()
    book.active.append(list(cells[0]))
    for row in cells:
        book.active.append(list(row.values()))
        for cell in book.active[book.active.max_row]:
            if cell.data_type == "f":  # a text that begins with = is no formula here
                cell.data_type = "s"
    body = io.BytesIO()
    book.save(body)
    assert_same(kept(body.getvalue(), rows, sellers), rows)


def key(o):
    return o.part, o.seller, o.pack, o.seen_on, o.status, o.machine_class


def assert_same(got, rows):
    """Each that comes back is as it was; of a day's rows that replace each other only one does."""
    by_key = {key(o): o for o in rows}
    assert {o.part for o in got} == {o.part for o in rows}
    assert all(o == by_key[key(o)] for o in got)
    assert len(got) == len({(*group(o), o.seen_on) for o in rows})
