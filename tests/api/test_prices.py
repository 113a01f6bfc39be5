"""`mendworth prices` as people and scripts meet it; the page on price books; the README of the sample lists."""

from __future__ import annotations

import json
import re
import shlex
import sqlite3
import subprocess
import sys
from doctest import ELLIPSIS, OutputChecker

import pytest
from click.testing import CliRunner

from api.book import Book
from api.command import main
from api.headers import COLUMNS
from api.prices import prices
from econ.offers import Seller, Shipping

from .test_docs import API, ROOT

PAGE = (ROOT / "docs/prices.md").read_text(encoding="utf-8")
SAMPLES = (ROOT / "sample_prices/README.md").read_text(encoding="utf-8")
GOOD = (
    "part,title,price,currency,seller,seen on\n"
    "belt,drive belt,12.50,USD,A,2026-04-01\n"
    "blade,blade,20.00,USD,B,2026-01-05\n"
)


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setenv("MENDWORTH_BOOK", str(tmp_path / "book.db"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.csv").write_text(GOOD, encoding="utf-8")
    (tmp_path / "bad.csv").write_text(GOOD + "plug,plug,free,USD,A,2026-04-01\n", encoding="utf-8")
    return lambda *args: CliRunner().invoke(main, ["prices", *args])


def test_an_import_says_what_it_did(run):
    done = run("import", "good.csv")
    assert done.exit_code == 0
    assert done.stdout.splitlines()[0] == "Added 2 rows of good.csv to the book as revision 1."
    again = run("import", "good.csv")
    assert again.exit_code == 2
    assert "same file as revision 1" in again.stderr


def test_bad_rows_stop_an_import_unless_the_good_ones_are_wanted(run, tmp_path):
    done = run("import", "good.csv", "bad.csv")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.splitlines() == [
        'bad.csv: row 4, price: got "free"; it is an amount of money, such as 12.50. correct it.'
    ]
    assert not (tmp_path / "book.db").exists()
    kept = run("import", "bad.csv", "--keep-good", "--json")
    assert kept.exit_code == 0
    answer = json.loads(kept.stdout)
    assert [x["rows"] for x in answer["lists"]] == [2]
    assert [p["path"] for p in answer["problems"]] == ["bad.csv: row 4, price"]
    assert kept.stderr.startswith("left out: bad.csv: row 4, price")


def test_two_lists_come_in_together_or_not_at_all(run):
    assert run("import", "good.csv", "good.csv").exit_code == 2
    assert json.loads(run("revisions", "--json").stdout)["revisions"] == []


def test_a_dry_run_writes_nothing(run, tmp_path):
    done = run("import", "good.csv", "--dry-run")
    assert done.stdout.splitlines()[0] == "2 rows of good.csv are good; nothing was written."
    assert not (tmp_path / "book.db").exists()


def test_files_that_are_not_there_and_a_book_that_is_not(run):
    done = run("import", "none.csv")
    assert done.exit_code == 2
    assert done.stderr.startswith("none.csv: got No such file")
    for command in (["list"], ["find", "x"], ["stale"], ["revisions"]):
        done = run(*command)
        assert done.exit_code == 2
        assert "no price book yet" in done.stderr


def test_list_find_and_stale(run):
    run("import", "good.csv")
    listed = run("list", "--as-of", "2026-05-10")
    assert listed.stdout.splitlines()[0] == "2 offers of 2 parts by 2 sellers on 2026-05-10."
    assert run("list", "--limit", "1").stdout.endswith("  1 more: --limit 2, or --json.\n")
    assert run("list", "--as-of", "2026-02-01").stdout.startswith("1 offer of 1 part by 1 seller")
    assert run("list", "--as-of", "2025-02-01").stdout == "No offer was seen by 2025-02-01.\n"
    assert run("list", "--seller", "b").stdout.startswith("1 offer of 1 part by B")
    assert run("list", "--seller", "c").exit_code == 2
    found = " ".join(run("find", "Drive-BELT").stdout.split())
    assert found.startswith('"Drive-BELT" fits 1 part, 1 offer; the cheapest new one, belt, is 12.50 USD a piece at A')
    assert run("find", "drve", "belt").stdout.startswith('Nothing holds "drve belt"; the nearest, "drive belt",')
    assert run("find", "zzzzzz").stdout == 'No part of the book fits "zzzzzz".\n'
    assert run("find", "-", "/").exit_code == 2
    stale = run("stale", "--as-of", "2026-05-10").stdout
    assert " ".join(stale.split()).startswith(
        "1 of 2 offers is stale: older than 120 days on 2026-05-10, the oldest seen on 2026-01-05."
    )
    none = run("stale", "--days", "999999999", "--as-of", "2026-05-10").stdout
    assert none.startswith("None of 2 offers is older")


def test_the_cheapest_of_what_was_found(run, tmp_path):
    """Of each part and currency, a fresh one before a stale one; nothing is compared that can't be."""
    (tmp_path / "more.csv").write_text(
        "part,title,price,currency,seller,seen on,status\n"
        "rope,starter rope,3.00,USD,A,2026-01-02,new\nrope,starter rope,4.00,USD,B,2026-05-01,new\n"
        "rope,starter rope,3.50,EUR,C,2026-05-01,new\nspring,starter spring,6.00,USD,B,2026-05-01,new\n"
        "cup,starter cup,6.00,USD,B,2026-01-01,new\nhook,starter hook,1.00,USD,B,2026-05-01,used\n",
        encoding="utf-8",
    )
    assert run("import", "more.csv").exit_code == 0

    def headline(*asked):
        return json.loads(run("find", *asked, "--as-of", "2026-05-10", "--json").stdout)["headline"]

    rope = "4.00 USD a piece at B, seen on 2026-05-01; "
    assert headline("rope") == (
        '"rope" fits 1 part, 3 offers; the cheapest new one, rope, is '
        "3.50 EUR a piece at C, seen on 2026-05-01; " + rope[:-2] + "."
    )
    assert headline("cup").endswith("is 6.00 USD a piece at B, seen on 2026-01-01, stale.")
    assert headline("hook") == '"hook" fits 1 part, 1 offer; none is new.'
    assert headline("spring", "rope").startswith("Nothing holds") or "fits" in headline("spring", "rope")
    assert headline("starter") == '"starter" fits 4 parts, 6 offers.', "more than can be named in a sentence"
    assert headline("starter sp").startswith(
        '"starter sp" fits 1 part, 1 offer; the cheapest new one, spring, is 6.00 USD a piece at B'
    )


def test_a_mistake_is_withdrawn_and_the_list_before_holds_again(run, tmp_path):
    run("import", "good.csv")
    (tmp_path / "wrong.csv").write_text(GOOD.replace("12.50", "125.0"), encoding="utf-8")
    assert run("import", "wrong.csv").exit_code == 0

    def belt(*more):
        return json.loads(run("find", "drive belt", "--as-of", "2026-05-10", "--json", *more).stdout)["offers"][0]

    assert belt()["price"] == "125.00"
    done = run("withdraw", "2")
    assert done.exit_code == 0
    assert " ".join(done.stdout.split()).startswith("Revision 2 of ")
    assert "no longer counts from revision 3 on" in " ".join(done.stdout.split())
    assert (belt()["price"], belt()["revision"]) == ("12.50", 1)
    assert belt("--revision", "2")["price"] == "125.00", "what was asked can be asked again"
    assert json.loads(run("withdraw", "1", "--json").stdout)["revision"]["withdraws"] == 1
    assert run("find", "belt").stdout.startswith("No part of the book fits") or run("list").stdout.startswith(
        "No offer"
    )
    assert run("import", "wrong.csv").exit_code == 0, "and may be added again"
    for number, said in (("2", "revision 3 withdrew it"), ("3", "this withdrew revision 2"), ("9", "revisions 1 to 5")):
        refused = run("withdraw", number)
        assert refused.exit_code == 2
        assert said in refused.stderr
    told = " ".join(run("revisions").stdout.split())
    assert told.startswith("3 imports, 2 withdrawn, 2 rows in all.")
    assert "withdrawn by 3" in told
    assert "withdraws 2" in told


def test_an_older_list_may_be_added_again_where_a_later_one_spoke_otherwise_of_the_same_day(run, tmp_path):
    run("import", "good.csv")
    (tmp_path / "other.csv").write_text(GOOD.replace("12.50", "13.00"), encoding="utf-8")
    run("import", "other.csv")
    again = run("import", "good.csv")
    assert again.exit_code == 0, again.stderr
    assert "is 12.50 USD a piece" in " ".join(run("find", "drive belt").stdout.split())
    assert run("import", "good.csv").exit_code == 2


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["list", "--as-of", "10/5/2026"], 'got "10/5/2026"; a day is written 2026-05-10'),
        (["list", "--limit", "some"], "'some' is not a valid whole number"),
        (["list", "--limit", "-1"], "-1 is not in the range x>=0"),
        (["find", "x", "--revision", "0"], "0 is not in the range x>=1"),
        (["list", "--sellers", "A"], "no such option '--sellers'"),
        (["withdraw"], "missing argument 'REVISION'"),
        (["lst"], "no such command 'lst'"),
    ],
)
def test_a_command_line_at_fault_is_told_in_one_line(run, args, said):
    done = run(*args)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert re.search(r" Usage: \w+ prices .*; more: --help\.$", done.stderr)


def test_a_seller_has_one_name_in_the_book(run, tmp_path):
    (tmp_path / "first.csv").write_text(
        "part,price,currency,seller,seen on,shipping\nbelt,12.50,USD,Fen Parts,2026-04-01,5.00\n", encoding="utf-8"
    )
    (tmp_path / "second.csv").write_text(
        "part,price,currency,seller,seen on,shipping\nbelt,11.50,USD,FEN parts,2026-05-01,6.00\n", encoding="utf-8"
    )
    run("import", "first.csv")
    done = json.loads(run("import", "second.csv", "--json").stdout)
    assert done["lists"][0]["sellers"] == ["Fen Parts"]
    assert run("list", "--as-of", "2026-05-10").stdout.startswith("1 offer of 1 part by 1 seller")
    with Book(tmp_path / "book.db") as book:
        assert book.sellers("USD") == {"Fen Parts": Seller("Fen Parts", Shipping(600))}


def test_parts_that_replace_each_other_since_another_list_are_told(run, tmp_path):
    head = "part,price,currency,seller,seen on,superseded by\n"
    (tmp_path / "then.csv").write_text(head + "a,,USD,A,2026-04-01,b\n", encoding="utf-8")
    (tmp_path / "now.csv").write_text(head + "b,,USD,A,2026-05-01,c\nc,,USD,A,2026-05-01,a\n", encoding="utf-8")
    assert json.loads(run("import", "then.csv", "--json").stdout)["lists"][0]["notes"] == []
    (note,) = json.loads(run("import", "now.csv", "--json").stdout)["lists"][0]["notes"]
    assert '"a" -> "b" -> "c" -> "a"' in note


def test_what_is_not_known_is_no_nought(run, tmp_path):
    (tmp_path / "own.csv").write_text(
        "part,price,currency,seller,seen on,status\nbelt,,USD,Shelf,2026-04-01,own stock\n"
        "blade,,USD,A,2026-04-01,discontinued\ncup,0,USD,Barn,2026-04-01,donor\n",
        encoding="utf-8",
    )
    run("import", "own.csv")
    answer = json.loads(run("list", "--json").stdout)
    assert [(x["part"], x["price"], x["price_each"]) for x in answer["offers"]] == [
        ("belt", None, None),
        ("blade", None, None),
        ("cup", "0.00", "0.00"),
    ]


def test_answers_as_json(run):
    run("import", "good.csv")
    for command in (["list"], ["find", "belt"], ["stale"]):
        answer = json.loads(run(*command, "--as-of", "2026-05-10", "--json").stdout)
        assert answer["as_of"] == "2026-05-10"
        assert answer["revision"] == 1
        for line in answer["offers"]:
            assert re.fullmatch(r"\d+\.\d\d", line["price"])
            assert (line["age_days"] > 120) == line["stale"]
    assert json.loads(run("list", "--limit", "1", "--json").stdout)["total"] == 2
    assert run("list", "--revision", "7").exit_code == 2


def test_control_characters_of_a_foreign_book_are_not_printed(run, tmp_path):
    run("import", "good.csv")
    row = "2, 'x', 'a\x1b[31mb', '', 'A', 'new', 1, 5, 'USD', 0, null, null, null, '2026-04-01', '', ''"
    with sqlite3.connect(tmp_path / "book.db") as raw:
        raw.execute("INSERT INTO revision VALUES (2, '2026-01-01', 'x', '', '', 1, NULL)")
        raw.execute(f"INSERT INTO offer VALUES ({row})")  # noqa: S608
    raw.close()
    told = run("list").stdout
    assert "a?[31mb" in told
    assert "\x1b" not in told


@pytest.mark.parametrize("args", [["prices", "--help"], ["prices", "import", "--help"], ["prices", "list", "-h"]])
def test_help_is_light(args):
    heavy = "{'numpy', 'pandas', 'openpyxl', 'pydantic', 'sqlite3'}"
    code = (
        "import sys\nfrom api.command import main\n"
        f"try: main({args!r}, prog_name='mendworth')\nexcept SystemExit: pass\n"
        f"print(sorted({heavy} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stderr.splitlines()[-1] == "[]"


def commands():
    for block in re.findall(r"^```console\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL):
        for piece in re.split(r"^\$ mendworth ", block, flags=re.MULTILINE)[1:]:
            command, _, told = piece.partition("\n")
            yield command, told


def test_the_commands_of_the_page_print_what_it_shows(tmp_path, monkeypatch):
    """One after the other: they build one book."""
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("MENDWORTH_BOOK", str(tmp_path / "book.db"))
    ran = set()
    for command, told in commands():
        done = CliRunner().invoke(main, shlex.split(command))
        got = done.output + (f"[exit status {done.exit_code}]\n" if done.exit_code else "")
        assert OutputChecker().check_output(told, got, ELLIPSIS), got
        ran |= {command.split()[1]} if command.startswith("prices ") else set()
    assert ran == set(prices.commands)


def test_every_subcommand_and_option_is_documented():
    row = re.search(r"^\| `mendworth prices .*$", API, re.MULTILINE)
    assert row
    for name, command in prices.commands.items():
        assert f"`{name}`" in row[0]
        for option in command.params:
            if option.opts[0].startswith("--"):
                assert option.opts[0] in PAGE + row[0], option.opts[0]


def test_every_column_is_documented_as_the_reader_takes_it():
    rows = re.findall(r"^\| `(\w+)` \| (.+?) \| (.+?) \|$", SAMPLES.partition("## Columns")[2], re.MULTILINE)
    assert [r[0] for r in rows] == list(COLUMNS)
    for column, _, others in rows:
        named = set(re.findall(r"`([^`]+)`", others))
        assert named <= set(COLUMNS[column].others), column


def test_a_machine_class_that_does_not_ship_is_told(run, tmp_path):
    rows = "belt,5,USD,A,2026-04-01,mower_walk_behind\nbelt,6,USD,A,2026-04-01,mower_wlk\n"
    (tmp_path / "fits.csv").write_text("part,price,currency,seller,seen on,machine class\n" + rows, encoding="utf-8")
    notes = json.loads(run("import", "fits.csv", "--json").stdout)["lists"][0]["notes"]
    assert len(notes) == 1
    assert '"mower_wlk"' in notes[0]
    assert "mower_walk_behind" not in notes[0]


def test_a_list_without_a_good_row_is_no_revision(run, tmp_path):
    (tmp_path / "all.csv").write_text("part,price,currency,seller,seen on\na,x,USD,A,2026-04-01\n", encoding="utf-8")
    done = run("import", "all.csv", "--keep-good")
    assert done.exit_code == 2
    assert done.stderr.startswith("all.csv: row 2, price: got")
    assert not (tmp_path / "book.db").exists()


def test_of_rows_that_contradict_each_other_none_is_kept(run, tmp_path):
    (tmp_path / "twice.csv").write_text(GOOD + "belt,drive belt,13.50,USD,A,2026-04-01\n", encoding="utf-8")
    done = run("import", "twice.csv", "--keep-good", "--json")
    assert [x["rows"] for x in json.loads(done.stdout)["lists"]] == [1]
    assert '"belt" again, with another price than row 2' in done.stderr


def test_faults_of_options_and_of_the_list_are_told_together(run):
    done = run("import", "bad.csv", "none.csv", "--seen-on", "2999-01-01", "--map", "price")
    assert done.exit_code == 2
    told = [line.partition(": ")[0] for line in done.stderr.splitlines()]
    assert sorted(told) == ["--map", "--seen-on", "bad.csv", "none.csv"]
