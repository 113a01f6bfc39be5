"""The sample data: invented, whole, and fit for the rulebooks."""

from __future__ import annotations

import json
from datetime import date
from importlib import resources

from api import library
from api.demo import demos
from api.pricelist import Told, read_prices
from econ.offers import STATUSES

FOLDER = resources.files("sample_prices")


def every_part():
    return {i: p for c in library.ids() for i, p in library.machine_class(c).parts.items()}


def listed(name):
    return read_prices(FOLDER.joinpath(name).read_bytes(), name, Told(), date(2026, 6, 1))


def test_the_price_list_has_every_part_of_the_rulebooks():
    """But for what no seller of parts has."""
    parts = listed("parts.csv")
    known = every_part()
    assert not parts.problems
    assert not parts.ignored
    assert set(known) - set(parts.rows["part"]) == {
        "unnamed_part", "pack_rebuild", "pack_hand_in", "fresh_fuel", "fresh_mix"
    }  # fmt: skip
    assert len(set(parts.rows["part"])) >= 150
    assert set(parts.rows["seller"]) == {*(f"Seller {x} (invented)" for x in "ABCD"), "Own shelf (invented)"}
    assert set(parts.rows["status"]) == set(STATUSES)
    assert len(parts.sellers) == 4
    assert (parts.rows["superseded_by"] != "").sum() >= 5
    assert (parts.rows["core_minor"] > 0).sum() >= 5
    assert (parts.rows["pack"] > 1).sum() >= 10
    assert parts.rows["seen_on"].astype(str).between("2026-02-01", "2026-05-31").all()


def test_the_prices_of_the_list_are_those_the_rulebooks_hold_to_be_possible():
    """New ones that fit a class lie within the range of the class, a quarter less where they come in packs."""
    parts = listed("parts.csv").rows
    new = parts[(parts["status"] == "new") & (parts["superseded_by"] == "")]
    for class_id in library.ids():
        known = library.machine_class(class_id).parts
        fits = new[new["machine_class"].isin(["", class_id]) & new["part"].isin(list(known))]
        for part, price, pack in zip(fits["part"], fits["price_minor"], fits["pack"], strict=True):
            low, _, high = known[part].price
            assert low * 0.75 - 0.5 <= price / 100 / pack <= high * 1.05, (class_id, part)


def test_the_titles_and_designations_of_the_list_are_those_of_the_rulebooks():
    parts = listed("parts.csv").rows
    for class_id in library.ids():
        known = library.machine_class(class_id).parts
        own = parts[(parts["machine_class"] == class_id) & parts["part"].isin(list(known))]
        assert all(known[p].title == t for p, t in zip(own["part"], own["title"], strict=True))
    designated = {i: p.designation for i, p in every_part().items() if p.designation}
    for part, designation in designated.items():
        assert set(parts[parts["part"] == part]["designation"]) == {designation}


def test_the_other_layout_is_read_as_it_stands():
    parts = listed("parts_other_layout.csv")
    assert not parts.problems
    assert not parts.ignored
    assert set(parts.rows["currency"]) == {"EUR"}
    assert set(parts.rows["part"]) <= set(every_part())
    assert len(parts.rows) == 20


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
