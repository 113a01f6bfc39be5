"""The price book at the doors: decisions, what they echo, prices over HTTP, feeds and bearings."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from api import cells, pricelist
from api.command import main
from api.http import create_app
from econ import basket

from .feedserver import serving

ROOT = Path(__file__).parent.parent.parent
CASE = {
    "perspective": "owner",
    "as_of": "2026-05-20",
    "machine": {"class": "mower_walk_behind", "age_years": 3, "new_price": "469.00"},
    "complaints": ["vibrates"],
    "findings": [{"check": "blade_look", "outcome": "bent"}],
}


def run(*args, given=None):
    return CliRunner().invoke(main, args, input=given)


@pytest.fixture
def book(tmp_path):
    path = str(tmp_path / "prices.db")
    done = run("prices", "import", str(ROOT / "sample_prices/parts.csv"), "--book", path)
    assert done.exit_code == 0, done.output
    return path


def decided(book, **more):
    done = run("decide", "-", "--json", "--book", book, given=json.dumps({**CASE, **more}))
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_a_decision_tells_its_prices_and_comes_out_again(book, tmp_path):
    first = decided(book)
    assert {x["revision"] for x in first["prices"]} == {1}
    assert all(x["seller"].endswith("(invented)") and x["seen_on"] <= "2026-05-20" for x in first["prices"])
    assert first["purchase"]["orders"]
    dearer = tmp_path / "dearer.csv"
    rows = [f"{x['part']},99.00,USD,{x['seller']},2026-05-19" for x in first["prices"]]
    dearer.write_text("\n".join(["part,price,currency,seller,seen_on", *rows]))
    assert run("prices", "import", str(dearer), "--book", book).exit_code == 0
    assert decided(book)["estimate"] != first["estimate"]
    assert decided(book, price_revision=1) == first


def test_the_case_goes_before_the_book_and_may_name_its_parts(book, tmp_path):
    assert all(x["part"] != "blade" for x in decided(book, prices={"blade": "16.40"})["prices"])
    own = tmp_path / "own.csv"
    own.write_text("part,price,currency,seller,seen_on\nblade-21,3.21,USD,Own list (invented),2026-05-01\n")
    assert run("prices", "import", str(own), "--book", book).exit_code == 0
    told = decided(book, listed_as={"blade": "blade-21"})
    assert next(x["price"] for x in told["prices"] if x["part"] == "blade") == "3.21"


def test_text_names_sellers_and_revision(book):
    done = run("decide", "-", "--book", book, given=json.dumps(CASE))
    assert "What to order" in done.output
    assert "prices of revision 1 of the price book]" in " ".join(done.output.split())


@pytest.mark.parametrize(
    ("more", "path"),
    [({"price_revision": 9}, "price_revision"), ({"listed_as": {"blad": "x"}}, "listed_as.blad")],
)
def test_what_is_wrong_is_named(book, more, path):
    done = run("decide", "-", "--book", book, given=json.dumps({**CASE, **more}))
    assert (done.exit_code, path in done.output) == (2, True)


def test_no_book_at_a_path_that_was_named(tmp_path):
    done = run("decide", "-", "--book", str(tmp_path / "none.db"), given=json.dumps(CASE))
    assert done.exit_code == 2
    assert "no price book" in done.output
    none = run("decide", "-", given=json.dumps({**CASE, "price_revision": 1}))
    assert "no price book is in use here" in none.output


def test_prices_over_http(book):
    client = create_app(book=Path(book)).test_client()
    found = client.get("/v1/prices?part=blade&as_of=2026-05-10&limit=3").get_json()
    assert found["offers"][0]["part"].startswith("blade")
    assert len(found["offers"]) == 3
    everything = client.get("/v1/prices?as_of=2026-05-10&limit=1").get_json()
    assert everything["total"] > 700
    bad = client.get("/v1/prices?as_of=yesterday&limit=-1&revision=x&colour=red")
    assert bad.status_code == 422
    paths = {x["path"] for x in client.get("/v1/prices?as_of=yesterday&limit=-1&revision=x").get_json()["problems"]}
    assert paths == {"as_of", "limit", "revision"}
    assert create_app().test_client().get("/v1/prices").status_code == 404
    answer = client.post("/v1/decisions", json=CASE).get_json()
    assert answer["purchase"]["revision"] == 1


def test_bearings_are_priced(book):
    done = run("bearing", "6203-2RS", "--book", book)
    assert "Prices of 6203, for one piece" in done.output
    client = create_app(book=Path(book)).test_client()
    told = client.get("/v1/bearings?size=17x40x12").get_json()
    assert told["candidates"][0]["offers"]


def test_bearings_are_priced_as_of_a_day(book):
    def asked(day, *more):
        done = run("bearing", "17x40x12", "--book", book, "--json", "--as-of", day, *more)
        assert done.exit_code == 0, done.output
        return done.stdout_bytes

    client = create_app(book=Path(book)).test_client()
    for day, sellers in (("2026-05-20", {"A", "B", "C"}), ("2026-03-20", {"B"})):
        told = json.loads(asked(day))
        assert told["as_of"] == day
        offers = [o for o in told["candidates"][0]["offers"] if o["status"] == "new"]
        assert {o["seller"] for o in offers} == {f"Seller {s} (invented)" for s in sellers}
        assert all(o["seen_on"] <= day and o["age_days"] >= 0 and not o["stale"] for o in offers)
        assert client.get(f"/v1/bearings?size=17x40x12&as_of={day}").data == asked(day)
    early = json.loads(asked("2025-01-01"))
    assert early["headline"].endswith("The price book has none of this size in USD on 2025-01-01.")
    old = json.loads(asked("2027-05-20"))["candidates"][0]["offers"]
    assert old
    assert all(o["stale"] for o in old)
    euros = json.loads(asked("2026-05-20", "--currency", "eur"))
    assert euros["notes"] == ["6203 is offered in USD only, not in EUR."]
    assert client.get("/v1/bearings?size=17x40x12&as_of=2026-05-20&currency=EUR").get_json() == euros


def test_a_bearing_on_the_shelf_is_told(book):
    client = create_app(book=Path(book)).test_client()
    told = client.get("/v1/bearings?designation=6203-2RS&as_of=2026-05-20").get_json()
    assert "In own stock: 6203-2RS, seen on 2026-05-01. Best price: 5.20 USD a piece" in told["headline"]
    first = told["candidates"][0]["offers"][0]
    assert (first["status"], first["part"], first["price_each"]) == ("own_stock", "spindle_bearing", None)
    schema = client.get("/openapi.json").get_json()
    told_by = {"$ref": "#/components/schemas/Bearing", "components": schema["components"]}
    Draft202012Validator(told_by).validate(told)
    text = run("bearing", "6203-2RS", "--book", book, "--as-of", "2026-05-20").stdout
    assert "      -  spindle_bearing     6203-2RS     Own shelf (invented)  own stock  2026-05-01  19\n" in text
    assert max(map(len, text.splitlines())) <= 98


def test_a_feed_is_imported(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    path = str(tmp_path / "prices.db")
    with serving() as (_, at):
        refused = run("prices", "import", at("rows"), "--book", path)
        assert refused.exit_code == 2
        done = run("prices", "import", at("rows"), "--allow-private", "--book", path)
        again = run("prices", "import", at("rows"), "--allow-private", "--book", path)
    assert done.exit_code == 0, done.output
    assert "12.50" in run("prices", "find", "blade", "--book", path, "--as-of", "2026-05-10").output
    assert again.exit_code == 0, "a feed that is asked often and has nothing new is no fault"
    assert again.output.startswith("Nothing is new; nothing was added.")
    assert "the same as revision 1" in again.output
    assert run("prices", "revisions", "--book", path).output.startswith("1 import, ")


def test_rows_of_a_feed_without_a_day_are_of_the_day_it_was_read(tmp_path, monkeypatch):
    """Read again a day later, the price was seen again; the day told stands before it."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    path = str(tmp_path / "prices.db")

    def seen():
        return json.loads(run("prices", "list", "--book", path, "--json").output)["offers"][0]["seen_on"]

    with serving() as (_, at):
        whole = ["prices", "import", at("dayless"), "--allow-private", "--book", path]
        told = run(*whole, "--seen-on", "2026-05-01")
        assert told.exit_code == 0, told.output
        assert seen() == "2026-05-01"
        assert run(*whole).exit_code == 0
        assert seen() == datetime.now(UTC).date().isoformat()
        assert run(*whole).output.startswith("Nothing is new")
        later = datetime.now(UTC) + timedelta(days=1)
        monkeypatch.setattr("api.source.datetime", type("D", (datetime,), {"now": classmethod(lambda *_: later)}))
        monkeypatch.setattr("api.importing.today", later.date)
        assert run(*whole).output.startswith("Added 1 row of ")
    assert run("prices", "revisions", "--book", path).output.startswith("3 imports")


GOOD = b"part,price,currency,seller,seen on\nbelt,9.50,USD,Fen Parts (invented),2026-05-01\n"


@pytest.mark.parametrize(
    "junk",
    [b"Service temporarily unavailable\n", b"part,price,currency,seller,seen on\n", GOOD + b"plug,much,USD,A,\n"],
)
def test_a_bad_list_takes_the_place_of_no_good_copy(tmp_path, monkeypatch, junk):
    """Whatever a feed says once: its last good copy stays, and is said to be old wherever it is told of."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    path = str(tmp_path / "prices.db")
    with serving() as (server, at):
        whole = ["prices", "import", at("changing"), "--allow-private", "--book", path]
        server.answer = (GOOD, 200)
        assert run(*whole).exit_code == 0
        for answer in ((junk, 200), (b"", 503)):
            server.answer = answer
            told = run(*whole)
            assert told.exit_code == 0, told.output
            assert "Not read now, so that nothing was added." in told.output
            assert "kept from" in told.stdout
            (listed,) = json.loads(run(*whole, "--json").stdout)["lists"]
            assert (listed["stale"], listed["unchanged"], listed["revision"]) == (True, True, 1)
        server.answer = (GOOD.replace(b"9.50", b"9.75"), 200)
        assert run(*whole).output.startswith("Added 1 row")


def test_a_named_book_that_is_not_there_is_an_error(tmp_path, monkeypatch):
    monkeypatch.setenv("MENDWORTH_BOOK", str(tmp_path / "none.db"))
    for args in (("decide", "-"), ("bearing", "6203")):
        done = run(*args, given=json.dumps(CASE))
        assert done.exit_code == 2
        assert done.stderr.startswith("MENDWORTH_BOOK: ")
    monkeypatch.setenv("MENDWORTH_BOOK", "")
    assert run("bearing", "6203").exit_code == 0


def test_a_book_in_another_currency_is_told(tmp_path):
    path, case = str(tmp_path / "prices.db"), {k: v for k, v in CASE.items() if k != "prices"}
    assert run("prices", "import", "sample_prices/parts.csv", "--book", path).exit_code == 0
    (tmp_path / "case.json").write_text(json.dumps({**case, "currency": "EUR"}), encoding="utf-8")
    answer = json.loads(run("decide", str(tmp_path / "case.json"), "--book", path, "--json").stdout)
    assert answer["prices"] == []
    (note,) = [a for a in answer["assumptions"] if a["name"] == "price_book"]
    assert note["value"] == "nothing in EUR"
    assert "USD" in note["source"]


def test_why_no_repair_can_be_done_is_in_the_headline(tmp_path):
    """The blade is cracked, so that it must be renewed, and nobody has one any more."""
    own = tmp_path / "own.csv"
    own.write_text(
        "part,price,currency,seller,seen on,status\nblade,,USD,A,2026-05-01,discontinued\n", encoding="utf-8"
    )
    path = str(tmp_path / "prices.db")
    assert run("prices", "import", str(own), "--book", path).exit_code == 0
    case = json.loads((ROOT / "sample_prices/shop_mower.json").read_text(encoding="utf-8"))
    case = {
        **case,
        "prices": {},
        "findings": [*case.get("findings", []), {"check": "blade_look", "outcome": "cracked"}],
    }
    case["findings"] = list({f["check"]: f for f in case["findings"]}.values())
    answer = json.loads(run("decide", "-", "--book", path, "--json", given=json.dumps(case)).stdout)
    assert (
        "no repair can be done here: the blade with bolt can't be had (discontinued)" in answer["verdict"]["headline"]
    )


@pytest.mark.parametrize("day", ["2999-01-01", "1800-01-01"])
def test_a_day_no_price_was_seen_on_is_refused(tmp_path, day):
    own = tmp_path / "own.csv"
    own.write_text("part,price,currency,seller\nblade,3.21,USD,Own list (invented)\n")
    done = run("prices", "import", str(own), "--seen-on", day, "--book", str(tmp_path / "prices.db"))
    assert (done.exit_code, "--seen-on" in done.output) == (2, True)


def test_the_book_takes_nothing_that_a_basket_does_not():
    assert (pricelist.MOST_PIECES, pricelist.MOST_KG) == (basket.MOST_PIECES, basket.MOST_KG)
    assert pricelist.MOST_DAYS <= basket.MOST_DAYS
    assert cells.MOST_MONEY == basket.MOST_MONEY
