"""The invented tables of finds, comparables and labour: whole, fit for the rulebooks, and believable in shape."""

from __future__ import annotations

from importlib import resources

import numpy as np
import pandas as pd
import pytest

from api import library
from econ.money import DIGITS
from econ.reading import read_case

FOLDER = resources.files("sample_prices")
TERMS = {"hour_worth": "18.00"}
COST_PER_KM = 0.30  # invented, of driving


def table(name):
    """Return a table as text; an empty cell is empty text."""
    with FOLDER.joinpath(name).open(encoding="utf-8", newline="") as file:
        return pd.read_csv(file, dtype=str, keep_default_na=False)


FINDS, COMPARABLES, LABOUR = (table(f"{name}.csv") for name in ("finds", "comparables", "labour"))


def document(find):
    """Return a find as a case document; what its row leaves empty is left out."""
    machine = {"class": find.machine_class, "name": find.title, "condition": find.condition}
    if find.age_years:
        machine["age_years"] = float(find.age_years)
    if find.new_price:
        machine["new_price"] = find.new_price
    trip = {
        "travel_cost": f"{float(find.travel_km) * COST_PER_KM:.2f}",
        "travel_hours": float(find.travel_minutes) / 60,
    }
    return {
        "perspective": "reseller",
        "currency": find.currency,
        "as_of": find.seen_on,
        "machine": machine,
        "complaints": [x for x in find.complaints.split(";") if x],
        "history": dict(x.split("=") for x in find.history.split(";") if x),
        "terms": TERMS,
        "find": trip | ({"asking_price": find.asking_price} if find.asking_price else {}),
    }


def test_every_find_is_a_case():
    for find in FINDS.itertuples():
        case, _ = read_case(document(find), library.shelf())
        assert case.machine.machine_class == find.machine_class


def test_finds_are_as_many_and_as_mixed_as_a_reseller_sees():
    assert list(FINDS.columns) == [
        "id", "machine_class", "title", "asking_price", "currency", "travel_km", "travel_minutes", "age_years",
        "condition", "complaints", "history", "new_price", "seen_on", "note",
    ]  # fmt: skip
    assert len(FINDS) == 2_000
    assert FINDS.id.is_unique
    assert set(FINDS.machine_class) == set(library.ids())
    assert (FINDS.title.str.len() > 0).all()
    for column, fewest, most in (
        ("complaints", 0.1, 0.4),
        ("history", 0.1, 0.6),
        ("asking_price", 0.01, 0.1),
        ("age_years", 0.01, 0.2),
        ("new_price", 0.05, 0.4),
    ):
        assert fewest < (FINDS[column] == "").mean() < most, column
    assert 0.03 < (FINDS.asking_price == "0.00").mean() < 0.3
    assert (FINDS.complaints.str.count(";") >= 1).mean() > 0.05


def test_a_complaint_is_told_once_for_each_thing_that_can_be_checked():
    for find in FINDS.itertuples():
        known = library.machine_class(find.machine_class).complaints
        told = [known[x].check for x in find.complaints.split(";") if x]
        assert len(told) == len(set(told)), find.id


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(set(FINDS.machine_class)))
def test_finds_are_decided(name):
    rows = FINDS[FINDS.machine_class == name]
    for find in (*rows[rows.complaints.str.contains(";")].head(2).itertuples(), *rows.head(2).itertuples()):
        assert library.decide_document(document(find)).verdict.headline


def test_comparables_lose_worth_with_age_as_machines_do():
    """The yearly loss of each class lies about those of the BEA's rates: 5 to 25 % a year."""
    assert list(COMPARABLES.columns) == ["machine_class", "price", "currency", "age_years", "condition", "seen_on"]
    assert len(COMPARABLES) >= 80
    groups = COMPARABLES.groupby("machine_class")
    assert len(groups) >= 5
    for name, rows in groups:
        market = {"comparables": []}
        for row in rows.itertuples():
            one = {"price": row.price, "age_years": float(row.age_years), "condition": row.condition}
            market["comparables"].append(one)
        document = {"perspective": "reseller", "as_of": max(rows.seen_on), "machine": {"class": name}, "market": market}
        read_case(document, library.shelf())
        prices, ages = np.log(rows.price.astype(float)), rows.age_years.astype(float)
        slope = np.polyfit(ages, prices, 1)[0]
        assert -np.log(1 / 0.75) < slope < -np.log(1 / 0.95), name
        assert np.corrcoef(ages, prices)[0, 1] < -0.6, name
    means = COMPARABLES.assign(price=COMPARABLES.price.astype(float)).groupby("condition").price.mean()
    assert means["poor"] < means["fair"] < means["restored"]


def test_labour_is_that_of_the_rulebooks_where_they_have_the_work():
    assert list(LABOUR.columns) == [
        "work", "kind", "id", "machine_class", "hours_low", "hours_likely", "hours_high", "source",
    ]  # fmt: skip
    assert len(LABOUR) >= 100
    assert not LABOUR.duplicated(["machine_class", "kind", "work"]).any()
    for row in LABOUR.itertuples():
        c = library.machine_class(row.machine_class)
        hours = [float(row.hours_low), float(row.hours_likely), float(row.hours_high)]
        assert 0 < hours[0] <= hours[1] <= hours[2] < 15
        assert row.source == ("rulebook" if row.id else "invented")
        if not row.id:
            continue
        work = c.jobs[row.id] if row.kind == "job" else c.operations[row.id]
        assert row.work == work.title
        done = [c.operations[x] for x in (*work.operations, "test_run")] if row.kind == "job" else [work]
        assert hours == pytest.approx([sum(x.hours[k] for x in done) for k in range(3)], abs=0.005)
    assert (LABOUR.source == "invented").any()


@pytest.mark.parametrize("rows", [FINDS, COMPARABLES])
def test_days_and_currencies_are_as_they_are_written_everywhere(rows):
    assert pd.to_datetime(rows.seen_on, format="%Y-%m-%d").notna().all()
    assert set(rows.currency) <= set(DIGITS)
