"""The sample data: invented, whole, and fit for the rulebooks."""

from __future__ import annotations

import csv
import json
from datetime import date
from decimal import Decimal
from importlib import resources

from api import library
from api.demo import demos
from econ.money import DIGITS

FOLDER = resources.files("sample_prices")


def every_part():
    return {i: p for c in library.ids() for i, p in library.machine_class(c).parts.items()}


def test_the_price_list_names_parts_of_the_rulebooks():
    with FOLDER.joinpath("typical_parts.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    known = every_part()
    assert len(rows) >= 30
    assert {r["seller"] for r in rows} == {"Seller A (invented)", "Seller B (invented)"}
    for row in rows:
        assert list(row) == ["part", "title", "price", "currency", "seller", "seen_on"]
        assert row["title"] == known[row["part"]].title
        assert Decimal(row["price"]) > 0
        assert row["currency"] in DIGITS
        assert date.fromisoformat(row["seen_on"])
    assert len({(r["part"], r["seller"]) for r in rows}) == len(rows)


def test_every_file_is_marked_as_invented():
    about = FOLDER.joinpath("README.md").read_text(encoding="utf-8")
    assert "invented" in about
    for entry in FOLDER.iterdir():
        if entry.name.endswith((".json", ".csv")):
            assert f"`{entry.name}`" in about


def test_the_demo_shows_each_perspective_and_more_than_one_answer():
    cases = [d.case for d in demos()]
    assert {c["perspective"] for c in cases} == {"owner", "shop", "reseller"}
    decided = [library.decide_document(c) for c in cases]
    assert len({d.verdict.headline for d in decided}) == 3
    shop = next(d for d in decided if d.perspective == "shop")
    assert shop.estimate is not None
    assert sum(line.amount for line in shop.estimate.lines) == shop.estimate.total
    names = {e.name.removesuffix(".json") for e in FOLDER.iterdir() if e.name.endswith(".json")}
    assert names == {d.name for d in demos()}
    assert "invented" not in json.dumps(cases), "a case is strict: no comments in it"
