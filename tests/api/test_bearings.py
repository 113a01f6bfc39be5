"""`mendworth bearing` and `GET /v1/bearings`: their answers in words and data, and their refusals."""

from __future__ import annotations

import json
import re
import shlex
from datetime import date
from doctest import ELLIPSIS, OutputChecker
from pathlib import Path

import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from api.answer import schema_of
from api.bearings import bearing_text
from api.command import main
from api.http import create_app
from econ.bearing_offers import BearingOffer, DayPrices
from econ.bearing_sizes import CLOSED_UNKNOWN, OTHER_NAMES, SIZES
from econ.bearing_suffixes import MEANINGS, OPEN
from econ.bearings import Bearing, find_bearing
from econ.calliper import mm
from econ.offers import Offer

ROOT = Path(__file__).parent.parent.parent
DOCS = (ROOT / "docs/bearings.md").read_text(encoding="utf-8")


def run(*args):
    return CliRunner().invoke(main, ["bearing", *args])


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def blocks(with_book):
    found = re.findall(r"^```console\n(.*?)^```$", DOCS, re.MULTILINE | re.DOTALL)
    return [block for block in found if ("$ mendworth prices import" in block) == with_book]


def commands():
    for block in blocks(with_book=False):
        for piece in re.split(r"^\$ mendworth bearing ", block, flags=re.MULTILINE)[1:]:
            command, _, told = piece.partition("\n")
            yield pytest.param(command, told, id=command)


@pytest.mark.parametrize(("command", "told"), list(commands()))
def test_examples_of_the_document(command, told):
    done = run(*shlex.split(command))
    got = done.output + (f"[exit status {done.exit_code}]\n" if done.exit_code else "")
    assert OutputChecker().check_output(told, got, ELLIPSIS), got


def test_examples_with_a_price_book(tmp_path, monkeypatch):
    monkeypatch.chdir(ROOT)
    (block,) = blocks(with_book=True)
    monkeypatch.setenv("MENDWORTH_BOOK", str(tmp_path / "prices.db"))
    for piece in re.split(r"^\$ mendworth ", block, flags=re.MULTILINE)[1:]:
        command, _, told = piece.partition("\n")
        done = CliRunner().invoke(main, shlex.split(command))
        got = done.output + (f"[exit status {done.exit_code}]\n" if done.exit_code else "")
        assert OutputChecker().check_output(told, got, ELLIPSIS), got


def written():
    rows = re.findall(r"^\| (`.*?) \|", DOCS.partition("## What is understood")[2].partition("\n## ")[0], re.MULTILINE)
    return [text for row in rows for text in re.findall(r"`([^`]+)`", row) if len(text) > 1]


def test_what_the_document_says_is_understood_is():
    assert len(written()) > 10
    for text in written():
        assert run(text).exit_code == 0, run(text).output


def test_the_document_says_what_there_is():
    answer = DOCS.partition("## The answer")[2]
    named = {n for row in answer.splitlines() for n in re.findall(r"`(\w+)`", row.partition(" | ")[0])}
    assert named == set(schema_of(Bearing)["properties"])
    (of_offers,) = re.findall(r"`offers` of each .*", answer)
    offered = set(schema_of(BearingOffer)["properties"])
    assert offered == set(re.findall(r"`(\w+)`", of_offers)) - {"offers", "null"}
    rows = re.findall(r"^\| (.*?) \| (.*?) \| (.*?) \|$", DOCS.partition("## Which suffix")[2], re.MULTILINE)
    said = {(codes, meaning, source) for codes, meaning, source in rows}
    every = {(", ".join(f"`{c}`" for c in codes), meaning, source) for codes, _, meaning, source in MEANINGS}
    assert said >= every | {("none", OPEN.meaning, OPEN.source)}


def test_the_command_prints_the_answer_first():
    for words in (["17x40x12"], ["17", "x", "40", "x", "12"]):
        done = run(*words)
        assert done.exit_code == 0
        assert done.stdout.startswith("6203: 17 x 40 x 12 mm, all three as measured.\n")
        assert done.stderr == ""
        assert max(map(len, done.stdout.splitlines())) <= 100
    assert json.loads(run("17x40x12", "--json").stdout)["candidates"][0]["designation"] == "6203"
    loose = json.loads(run("17.2x40x12", "--tolerance", "0,2", "--json").stdout)
    assert (loose["tolerance"], loose["candidates"][0]["fit"]) == (0.2, "as_measured")


def test_the_text_tells_how_it_fits():
    worn = run("16.9x39.8x12.1").stdout
    assert "6203: outside 0.2 mm under: worn by turning in its housing" in worn
    assert "if worn" in worn
    many = run("12.7x28.6").stdout
    assert "=>" not in many, "nothing stands out"
    assert "measure the width to tell" in " ".join(many.split())
    sealed = run("6203-2RS C3").stdout
    assert "C3   more clearance inside than normal" in sealed
    assert "the maker's manual" in " ".join(sealed.split())


def priced(*offers):
    return find_bearing("17x40x12", prices=DayPrices(date(2026, 4, 11), {"USD": offers}))


def test_the_text_lists_offers():
    day = date(2026, 4, 1)
    offers = (Offer("b", "bearing", "a seller", "own_stock", 1990, day, 10, designation="6203-2RS"),)
    told = bearing_text(priced(*offers))
    assert "Prices of 6203, for one piece, in USD on 2026-04-11" in told
    assert " 1.99  b     6203-2RS     a seller  own stock, pack of 10  2026-04-01  10" in told


def test_long_names_and_stale_prices_stay_readable():
    """Part ids stay whole, to be copied; sellers give way."""
    part, seller = "drive_shaft_bearing_sealed", "A seller with a rather long name, of the town by the river (invented)"
    told = bearing_text(priced(
        Offer(part, "", seller, "back_ordered", 123456, date(2025, 4, 1), 10, designation="6203-2RS C3"),
        Offer("b", "", "B\x1b[31m", "new", 500, date(2026, 4, 1), designation="6203"),
    ))  # fmt: skip
    assert max(map(len, told.splitlines())) <= 98
    assert part in told
    assert "375, stale" in told
    assert "\x1b" not in told
    assert "Best price: 5.00 USD a piece for 6203 at B?[31m" in " ".join(told.split())


def test_without_a_book_there_is_one_hint_and_no_price():
    told = run("17x40x12").stdout
    assert told.lower().count("price") == told.count("Prices: add price lists with mendworth prices import FILE") * 4
    assert told.count("mendworth prices import") == 1
    assert "Prices: add" not in bearing_text(priced())
    assert json.loads(run("17x40x12", "--json").stdout)["as_of"] is None


@pytest.mark.parametrize(("args", "lines"), [
    (["nonsense"], 1), (["6203", "--currency", "XXX"], 1), (["6203", "--as-of", "2026-5-1"], 1),
    (["17x40x12", "--tolerance", "7", "--currency", "EURO", "--as-of", "soon"], 3),
    (["6203", "--revision", "1"], 1), (["6203", "--revision", "one", "--book", "nosuch.db"], 2),
    (["abc", "--as-of", "xx", "--currency", "QQ", "--book", "nosuch.db"], 4),
    (["0x40x12"], 1), (["0x-4x12", "--tolerance", "7"], 3), (["6203", "--tolerance", "0.1"], 1),
])  # fmt: skip
def test_refusals_are_a_sentence_each(args, lines):
    done = run(*args)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == lines


def test_all_faults_are_said_at_once_the_price_book_too():
    args = ["--as-of", "xx", "--currency", "QQ", "--revision", "0", "--book", "nosuch.db"]
    for asked, paths in (
        (["abc"], ["designation"]),
        (["6x4x3", "--tolerance", "9"], ["size.bore", "tolerance"]),
    ):
        lines = run(*asked, *args).stderr.splitlines()
        said = [line.partition(":")[0] for line in lines]
        assert said == [*paths, "currency", "as_of", "revision", "--book"]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Return a price book with two imports: 6203-2RS at 5.00, then at 4.00 USD."""
    folder = tmp_path_factory.mktemp("book")
    for name, price, day in (("first", "5.00", "2026-04-01"), ("second", "4.00", "2026-04-02")):
        row = f"bearing_6203,bearing,6203-2RS,A,new,1,{price},USD,{day}\n"
        head = "part,title,designation,seller,status,pack,price,currency,seen_on\n"
        (folder / f"{name}.csv").write_text(head + row, encoding="utf-8")
        done = CliRunner().invoke(
            main, ["prices", "import", str(folder / f"{name}.csv"), "--book", str(folder / "prices.db")]
        )
        assert done.exit_code == 0, done.output
    return str(folder / "prices.db")


def test_prices_can_be_had_again_by_their_revision(book):
    def asked(*more):
        return run("6203", "--as-of", "2026-05-01", "--book", book, "--json", *more)

    def prices(done):
        answer = json.loads(done.stdout)
        return answer["price_revision"], [o["price_each"] for o in answer["candidates"][0]["offers"]]

    assert prices(asked()) == prices(asked("--revision", "2")) == (2, ["4.00"])
    assert prices(asked("--revision", "1")) == (1, ["5.00"])
    served = create_app(book=Path(book)).test_client()
    for number in ("1", "2"):
        got = served.get(f"/v1/bearings?designation=6203&as_of=2026-05-01&revision={number}")
        assert got.data == asked("--revision", number).stdout_bytes
    told = run("17x40x12", "--as-of", "2026-05-01", "--book", book, "--revision", "1").stdout
    assert "Best price: 5.00 USD" in " ".join(told.split())
    assert "Prices: revision 1 of the price book; had again with --as-of 2026-05-01 --revision 1.\n" in told
    assert json.loads(run("17x40x12", "--json").stdout)["price_revision"] is None


def test_a_revision_that_is_not_there_is_refused(book):
    done = run("6203", "--book", book, "--revision", "3")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == "revision: got 3; the book has revisions 1 to 2. see mendworth prices revisions.\n"


def test_the_document_says_exactly_what_is_in_the_table():
    """Series, source and bores, each way; which are wider when closed; which are sold with an inch bore."""
    said = DOCS.partition("## What the table holds")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| (\w+) \| *(\w*) *\| (.*?) \| (.*) (mm|in) \|$", said, re.MULTILINE)
    told = {series: (source, bores.split(", "), unit) for series, _, source, bores, unit in rows}
    plain = [s for s in SIZES if not s.closed and not s.bore_inches]
    there = {}
    for s in sorted(plain, key=lambda s: s.bore):
        bore, unit = (s.inches.split(" x ")[0], "in") if s.inches else (mm(s.bore), "mm")
        row = there.setdefault(s.series.removesuffix(" series"), (s.source, [], unit))
        assert (row[0], row[2]) == (s.source, unit)
        if bore not in row[1]:
            row[1].append(bore)
    assert told == there
    assert {series: other for series, other, *_ in rows if other} == {
        f"6{d}": f"61{d}" for d in {name[2] for name in OTHER_NAMES}
    }
    once = [s.series for s in plain if s.series != "1600 series"]
    assert len(once) == sum(len(told[x.removesuffix(" series")][1]) for x in set(once)), "one of each bore"
    closed = re.search(r"Wider with seals or shields, by trade catalogues: (.*?)\.\s", said, re.DOTALL)[1]
    widths = {s.designation: s.inches.split(" x ")[2] if s.inches else f"{mm(s.width)} mm" for s in SIZES if s.closed}
    assert dict(re.findall(r"(\w+) \((.*?)\)", closed)) == widths
    assert set(re.search(r"of (\w+) and (\w+) that\s+width", said).groups()) == CLOSED_UNKNOWN
    bored = re.search(r"with an inch bore, common practice on wheels and spindles: (.*?) in\.", said, re.DOTALL)[1]
    pairs = [(x.split()[0], b) for x in bored.split("; ") for b in re.findall(r"[0-9]+/[0-9]+|(?<= )1\b(?!/)", x)]
    assert sorted(pairs) == sorted((s.designation, s.bore_inches) for s in SIZES if s.bore_inches)


def test_http_answers_as_the_command_does(client):
    got = client.get("/v1/bearings", query_string={"size": "17x40x12", "tolerance": "0.2"})
    assert got.status_code == 200
    assert got.data == run("17x40x12", "--tolerance", "0.2", "--json").stdout_bytes
    named = client.get("/v1/bearings?designation=6203-2RS")
    assert named.data == run("6203-2RS", "--json").stdout_bytes
    document = client.get("/openapi.json").get_json()
    schema = {"$ref": "#/components/schemas/Bearing", "components": document["components"]}
    for response in (got, named):
        Draft202012Validator(schema).validate(response.get_json())


@pytest.mark.parametrize(("query", "paths"), [
    ("", ["size"]), ("size=17x40x12&designation=6203", ["size"]), ("size=&tolerance=x", ["size", "tolerance"]),
    ("size=17x40x0&tolerance=9", ["size.width", "tolerance"]), ("designation=zz", ["designation"]),
    ("sise=17x40x12", ["sise"]), ("size=17x40x12&size=8x22x7", ["size"]),
    ("designation=6203&tolerance=0.1", ["tolerance"]), ("size=17x40x12&currency=usd", ["currency"]),
    ("size=17x40x12&currency=", ["currency"]), ("size=17x40x12&as_of=2026-02-30", ["as_of"]),
    ("size=17x40x12&tolerance=9&currency=XXX&as_of=today", ["tolerance", "currency", "as_of"]),
    ("size=17x40x12&revision=1", ["revision"]), ("size=17x40x12&revision=0", ["revision"]),
    ("size=1x2&tolerance=9&currency=XXX&as_of=today&revision=x", ["tolerance", "currency", "as_of", "revision"]),
])  # fmt: skip
def test_http_refuses_with_all_that_is_wrong(client, query, paths):
    response = client.get(f"/v1/bearings?{query}")
    assert response.status_code == 422
    assert response.mimetype == "application/problem+json"
    assert [p["path"] for p in response.get_json()["problems"]] == paths


def test_the_query_is_described(client):
    operation = client.get("/openapi.json").get_json()["paths"]["/v1/bearings"]["get"]
    told = {p["name"]: p for p in operation["parameters"]}
    assert set(told) == {"size", "designation", "tolerance", "currency", "as_of", "revision"}
    assert client.get("/v1/bearings?size=17x40x12&revision=1").status_code == 422, "there is no price book"
    revision = told.pop("revision")
    assert (revision["in"], revision["example"], revision["schema"]["minimum"]) == ("query", "1", 1)
    assert revision["description"]
    for p in told.values():
        assert p["in"] == "query"
        assert p["description"]
        Draft202012Validator.check_schema(p["schema"])
        asked = {p["name"]: p["example"]} | ({} if p["name"] in ("size", "designation") else {"size": "17x40x12"})
        assert client.get("/v1/bearings", query_string=asked).status_code == 200
    for outside in ("-0.01", "1.01"):
        assert not Draft202012Validator(told["tolerance"]["schema"]).is_valid(float(outside))
        assert client.get(f"/v1/bearings?size=17x40x12&tolerance={outside}").status_code == 422
