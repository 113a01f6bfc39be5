"""`mendworth screen` as people and scripts meet it."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import date
from doctest import ELLIPSIS, OutputChecker

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner

from api.command import main
from api.findlist import case_document, read_finds
from api.findrows import ToldOfFinds
from api.library import decide_document, shelf
from api.screening import UNKNOWN_WAY, Desk, screen_list
from econ.selection import GAP
from econ.shortlist import Limits

from .test_docs import ROOT

NONE = "No find could be screened: all 40 rows are at fault."
HEAD = "id,machine_class,title,asking_price,currency,travel_km,travel_minutes,age_years,complaints,seen_on\n"
ROWS = (
    "a,mower_walk_behind,push mower (invented),0,USD,10,20,4,will_not_start,2026-04-01\n"
    "b,leaf_blower,leaf blower (invented),500,USD,10,20,4,,2026-04-01\n"
    "c,leaf_blower,=2+2,5,USD,10,20,4,,2026-04-01\n"
    "d,leaf_blower,asks nothing yet (invented),,USD,10,20,4,,2026-04-01\n"
)


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "finds.csv").write_text(HEAD + ROWS, encoding="utf-8")
    return lambda *args: CliRunner().invoke(main, ["screen", *args])


def test_the_answer_comes_first(run):
    done = run("finds.csv", "--hours", "10")
    assert done.exit_code == 0, done.stderr
    said = " ".join(done.stdout.split())
    assert said.startswith("With 10 bench hours buy these 2: $")
    assert "Of 4 finds 2 are worth what is asked. 1 names no price: offer at most what stands there." in said
    assert "..." not in said
    assert "push mower (invented) is free, offer up to $" in said
    assert "Leave 4. b leaf blower (invented) asks $500, worth $" in said
    assert "4 rows read: 2 worth what is asked, 1 without a price, 1 to leave." in said
    assert max(map(len, done.stdout.splitlines())) <= 98
    assert len(run("finds.csv", "--top", "1").stdout.splitlines()) < len(done.stdout.splitlines())


def test_files_agree_with_the_answer(run, tmp_path):
    done = run("finds.csv", "--json", "--csv", "out.csv", "--workbook", "out.xlsx", "--parquet", "out.parquet")
    assert done.exit_code == 0, done.stderr
    answer = json.loads(done.stdout)
    finds = answer["finds"]
    assert [x["id"] for x in finds] == [finds[i]["id"] for i in range(4)]
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [r["id"] for r in rows] == [x["id"] for x in finds]
    assert [r["highest_offer"] for r in rows] == [x["screened"]["highest_offer"] for x in finds]
    assert {r["name"] for r in rows} >= {"'=2+2"}, "no spreadsheet takes it for a formula"
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx")["Finds"]
    heads = [c.value for c in sheet[1]]
    assert [sheet.cell(n, heads.index("profit") + 1).value for n in range(2, 6)] == [
        None if x["screened"]["profit"] is None else float(x["screened"]["profit"]) for x in finds
    ]
    for of in ("question", "spot_check"):
        ids = [(x["screened"][of] or {"id": ""})["id"] for x in finds]
        assert [r[f"{of}_id"] for r in rows] == ids
        assert [sheet.cell(n, heads.index(f"{of.replace('_', ' ')} id") + 1).value or "" for n in range(2, 6)] == ids
    assert [r["course"] for r in rows] == [x["screened"]["course"] for x in finds]
    kept = pd.read_parquet(tmp_path / "out.parquet")
    assert kept["id"].tolist() == [x["id"] for x in finds]
    assert [str(x) for x in kept["highest_offer"]] == [x["screened"]["highest_offer"] for x in finds]
    printed = run("finds.csv", "--csv", "-")
    assert list(csv.DictReader(io.StringIO(printed.stdout))) == rows


def test_rows_at_fault_are_left_out_with_their_reasons(run, tmp_path):
    odd = "e,lef_blower,x,5,USD,1,1,4,,2026-04-01\nf,leaf_blower,x,five,USD,1,1,400,,2026-04-01\n"
    (tmp_path / "odd.csv").write_text(HEAD + ROWS + odd, encoding="utf-8")
    done = run("odd.csv")
    assert done.exit_code == 0
    assert done.stderr == "2 of 6 rows are at fault and left out: see odd.csv.left-out.csv.\n"
    with (tmp_path / "odd.csv.left-out.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [r["row left out"] for r in rows] == ["6", "7"]
    assert "leaf_blower" in rows[0]["left out because"]
    assert "asking_price" in rows[1]["left out because"]
    assert "age_years" in rows[1]["left out because"]
    assert run("odd.csv", "--left-out", "rest.csv").exit_code == 0
    assert (tmp_path / "rest.csv").read_text() == (tmp_path / "odd.csv.left-out.csv").read_text()


def test_rows_left_out_before_are_told_of_and_kept(run, tmp_path):
    """Somebody may be putting them right; a file of another kind is nobody's business."""
    good = (tmp_path / "finds.csv").read_text(encoding="utf-8")
    (tmp_path / "finds.csv").write_text(good + "e,leaf_blowe,x,5,USD,10,20,4,,2026-04-01\n", encoding="utf-8")
    run("finds.csv")
    there = (tmp_path / "finds.csv.left-out.csv").read_bytes()
    (tmp_path / "finds.csv").write_text(good, encoding="utf-8")
    done = run("finds.csv")
    assert done.stderr == "No row is at fault now: finds.csv.left-out.csv is of an earlier run.\n"
    assert (tmp_path / "finds.csv.left-out.csv").read_bytes() == there
    named = run("finds.csv", "--left-out", "finds.csv.left-out.csv")
    assert (named.exit_code, named.stderr) == (0, "")
    assert (tmp_path / "finds.csv.left-out.csv").read_text(encoding="utf-8").count("\n") == 1
    (tmp_path / "finds.csv.left-out.csv").write_text("my notes\n", encoding="utf-8")
    assert run("finds.csv").stderr == ""


@pytest.mark.parametrize(
    "args",
    [
        ("--left-out", "finds.csv"), ("--csv", "./finds.csv"), ("--csv", "out", "--workbook", "out"),
        ("--terms", "terms.json", "--parquet", "terms.json"),
    ],
)  # fmt: skip
def test_nothing_is_written_over_what_is_read_or_written(run, tmp_path, args):
    (tmp_path / "terms.json").write_text("{}", encoding="utf-8")
    before = (tmp_path / "finds.csv").read_bytes()
    done = run("finds.csv", *args)
    assert (done.exit_code, done.stdout) == (2, "")
    assert f"{args[-2]}: got {args[-1]}; " in done.stderr
    assert "name another file" in done.stderr
    assert (tmp_path / "finds.csv").read_bytes() == before
    assert sorted(x.name for x in tmp_path.iterdir()) == ["finds.csv", "terms.json"]


def test_rows_at_fault_never_go_over_a_file_of_another_kind(run, tmp_path):
    bad = HEAD + ROWS + "e,leaf_blowe,x,5,USD,10,20,4,,2026-04-01\n"
    (tmp_path / "finds.csv").write_text(bad, encoding="utf-8")
    (tmp_path / "finds.csv.left-out.csv").write_text("precious\n", encoding="utf-8")
    done = run("finds.csv")
    assert done.stderr == "1 of 5 rows are at fault and left out: see finds.csv.left-out-2.csv.\n"
    assert (tmp_path / "finds.csv.left-out.csv").read_text(encoding="utf-8") == "precious\n"
    assert run("finds.csv").stderr == done.stderr
    assert len(list(tmp_path.glob("*left-out*"))) == 2


def test_headers_that_mean_nothing_and_unknown_ways_are_told(run, tmp_path):
    """A price column by another name would else vanish without a word."""
    odd = (HEAD + ROWS).replace("asking_price", "kostet").replace(",USD,10,", ",USD,,")
    (tmp_path / "finds.csv").write_text(odd, encoding="utf-8")
    said = " ".join(run("finds.csv").stdout.split())
    assert "headers left out: kostet" in said
    assert UNKNOWN_WAY in said
    (tmp_path / "finds.csv").write_text(HEAD + ROWS, encoding="utf-8")
    assert json.loads(run("finds.csv", "--json").stdout)["notes"] == []


def test_a_find_of_unknown_way_is_not_bought_within_kilometres(run, tmp_path):
    """An empty cell is not known; it is not nothing: neither in the choice nor in what is written."""
    (tmp_path / "finds.csv").write_text(HEAD + ROWS.replace(",USD,10,", ",USD,,", 1), encoding="utf-8")
    free, within = (json.loads(run("finds.csv", *more, "--json").stdout) for more in ((), ("--km", "100")))
    (way,) = [x["km"] for x in free["finds"] if x["id"] == "a"]
    assert way is None
    assert {x["id"] for x in free["finds"] if x["buy"]} == {"a", "c"}
    assert {x["id"] for x in within["finds"] if x["buy"]} == {"c"}
    assert within["shortlist"]["pays"] == free["shortlist"]["pays"] == 2
    assert (within["shortlist"]["best"]["km"], free["shortlist"]["best"]["km"]) == (10.0, 10.0)
    assert run("finds.csv", "--csv", "out.csv", "--parquet", "out.parquet").exit_code == 0
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        assert [r["km"] for r in csv.DictReader(file) if r["id"] == "a"] == [""]
    kept = pd.read_parquet(tmp_path / "out.parquet").set_index("id")
    assert pd.isna(kept.loc["a", "km"])


def test_finds_without_a_price_are_told_of_behind_many_that_have_one(run, tmp_path):
    """The reseller may ring and offer; they are no more than asked for."""
    more = "".join(
        f"m{i},mower_walk_behind,mower (invented),{i},USD,10,20,4,will_not_start,2026-04-01\n" for i in range(6)
    )
    asked = "".join(f"n{i},leaf_blower,blower (invented),,USD,{9 - i},20,4,,2026-04-01\n" for i in range(4))
    (tmp_path / "finds.csv").write_text(HEAD + ROWS + more + asked, encoding="utf-8")
    said = run("finds.csv", "--places", "1", "--top", "2").stdout
    part = said[said.index("No price is named") : said.index("more:")]
    assert re.findall(r"^ *\d+\. (\w+)", part, re.MULTILINE) == ["n3", "n2"]
    assert part.count("offer up to") == 2
    assert int(part.split()[-1]) == 14 - 4
    assert "No price is named" not in run("finds.csv", "--top", "0").stdout


def test_a_find_whose_figures_contradict_each_other_is_left_out_too(run, tmp_path):
    """A price in working order above that of a new one is seen only once the market is read."""
    head = HEAD.replace("seen_on", "seen_on,new_price,running")
    row = "g,leaf_blower,odd,5,USD,1,1,4,,2026-04-01,100.00,900.00\n"
    (tmp_path / "late.csv").write_text(head + ROWS.replace("\n", ",,\n") + row, encoding="utf-8")
    done = run("late.csv", "--json")
    answer = json.loads(done.stdout)
    assert (len(answer["finds"]), answer["left_out"]) == (4, 1)
    (left,) = answer["left_out_rows"]
    assert left["row"] == 6
    (problem,) = left["problems"]
    assert problem["field"] == "running"
    left_out = (tmp_path / "late.csv.left-out.csv").read_text(encoding="utf-8")
    assert "got 900.00; a machine in hand" in left_out
    (tmp_path / "right.csv").write_text(left_out.replace(",900.00", ",90.00"), encoding="utf-8")
    again = json.loads(run("right.csv", "--json").stdout)
    assert [(x["id"], x["name"]) for x in again["finds"]] == [("g", "odd")], "put right, it is read again"


def test_a_list_of_which_nothing_can_be_screened(run, tmp_path, monkeypatch):
    """Outside USD a find states its price new; each row says so, alone, in parts and by workers."""
    (tmp_path / "none.csv").write_text("machine_class,asking_price,currency\n" + "chain_saw,5,EUR\n" * 40)
    monkeypatch.setattr("api.screening.ENOUGH", 2)
    for more in ((), ("--parts", "kept"), ("--workers", "2")):
        done = run("none.csv", "--json", *more)
        assert done.exit_code == 0, done.stderr
        answer = json.loads(done.stdout)
        assert (answer["headline"], answer["read"], answer["left_out"]) == (NONE, 40, 40)
        assert (tmp_path / "none.csv.left-out.csv").read_text().count("new_price: got") == 40
        assert answer["currency"] == "EUR"


def test_a_find_under_a_hold_says_so(run, tmp_path):
    (tmp_path / "hold.csv").write_text(HEAD + ROWS.replace("will_not_start", "leaks_fuel"), encoding="utf-8")
    done = run("hold.csv", "--workbook", "out.xlsx")
    assert "Hold: fuel leak" in done.stdout
    front = openpyxl.load_workbook(tmp_path / "out.xlsx").worksheets[0]
    said = [str(c.value) for row in front.iter_rows() for c in row if c.value]
    bought = {x for x in said if "push mower" in x}
    assert not bought or any("Hold: fuel leak" in x for x in said)


def test_files_that_cannot_be_written_are_told_first(run):
    done = run("finds.csv", "--csv", "nofolder/x.csv", "--workbook", "no/x.xlsx")
    assert (done.exit_code, done.stdout) == (2, "")
    assert [line.split(":")[0] for line in done.stderr.splitlines()] == ["--csv", "--workbook"]
    both = run("finds.csv", "--csv", "-", "--json")
    assert both.exit_code == 2
    assert "--csv" in both.stderr


def test_all_to_buy_are_named(run):
    done = run("finds.csv", "--hours", "10", "--top", "1")
    assert "  2. d" not in done.stdout
    assert "  2. c  =2+2: " in done.stdout or "  2. a  push mower (invented): " in done.stdout
    assert "  3. d  asks nothing yet (invented)" in done.stdout, "without a price"
    assert "1 more: --top 4, or --csv FILE." in done.stdout


def test_terms_hold_for_all_finds(run, tmp_path):
    (tmp_path / "terms.json").write_text(
        json.dumps({"terms": {"hour_worth": "90.00"}, "prices": {"spark_plug": "3.00"}})
    )
    first, dear = (json.loads(run("finds.csv", "--json", *more).stdout) for more in ((), ("--terms", "terms.json")))
    offers = [{x["id"]: float(x["screened"]["highest_offer"]) for x in a["finds"]} for a in (first, dear)]
    assert all(offers[1][i] < offers[0][i] for i in "abcd")
    (tmp_path / "bad.json").write_text(json.dumps({"terms": {"hour_wrth": "9"}, "prices": {"plug": "3.00"}, "x": 1}))
    done = run("finds.csv", "--terms", "bad.json")
    assert done.exit_code == 2
    assert sorted(line.partition(":")[0] for line in done.stderr.splitlines()) == [
        "prices.plug",
        "terms.hour_wrth",
        "x",
    ]


def test_several_processes_change_nothing(run, tmp_path, monkeypatch):
    """To the last digit. A hundred finds are enough to start workers; here two are."""
    monkeypatch.setattr("api.screening.ENOUGH", 2)
    monkeypatch.setattr("api.screening.AT_ONCE", 1)
    alone, both = (json.loads(run("finds.csv", "--json", "--workers", n).stdout) for n in ("1", "2"))
    assert alone == both


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["none.csv"], "none.csv: got No such file"), (["finds.csv", "--hours", "much"], 'got "much"; this is a'),
        (["finds.csv", "--cash", "-1"], 'got "-1"; this is from 0 to'), (["finds.csv", "--places", "1.5"], "whole"),
        (["finds.csv", "--places", "99999999999999999999999"], "is not in the range 0<=x<=1000000000"),
        (["finds.csv", "--terms", "none.json"], "--terms: got No such file"),
        (["finds.csv", "--cash", "12.505"], "--cash: got 12.505; an amount in USD has 2 digits after the point."),
        (["finds.csv", "--per-km", "9999999"], "--per-km"), (["finds.csv", "--map", "x"], "--map"),
    ],
)  # fmt: skip
def test_what_is_asked_wrongly(run, args, said):
    done = run(*args)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr


def test_finds_of_two_currencies_are_not_weighed_together(run, tmp_path):
    (tmp_path / "two.csv").write_text(HEAD + ROWS.replace("500,USD", "500,EUR"), encoding="utf-8")
    done = run("two.csv")
    assert done.exit_code == 2
    assert "EUR, USD" in done.stderr


def test_the_example_of_the_page():
    """A dozen finds of the sample, by standard input."""
    page = (ROOT / "docs/screening.md").read_text(encoding="utf-8")
    told = page.partition("--top 3\n")[2].partition("\n")[0]
    lines = (ROOT / "sample_prices/finds.csv").read_text(encoding="utf-8").splitlines(keepends=True)[:13]
    args = ["screen", "-", "--hours", "12", "--cash", "200", "--top", "3"]
    done = CliRunner().invoke(main, args, input="".join(lines))
    assert OutputChecker().check_output(f"{told}\n", done.stdout.partition("\n")[0] + "\n", ELLIPSIS), done.output


def decided_alike(places):
    """Hold rows of the sample, screened as a list, against the decision on each."""
    lines = (ROOT / "sample_prices/finds.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    body = "".join([lines[0], *(lines[i] for i in places)]).encode()
    found = read_finds(body, "finds", ToldOfFinds(), shelf(), date(2026, 6, 1))
    answer = screen_list(found, {}, Limits(), GAP, Desk(shelf()))
    rows = found.rows["row"].tolist()
    assert len(answer.finds) == len(places)
    for x in answer.finds:
        d = decide_document(case_document(found, rows.index(x.row)))
        assert d.offer is not None
        assert x.screened.course == d.verdict.course
        assert max(x.screened.highest_offer, 0) == d.offer.highest
        assert x.screened.profit == d.offer.left_at_asking
        assert x.screened.chance_of_loss == d.offer.chance_of_loss


def test_rows_of_a_list_are_decided_alike():
    decided_alike(range(3, 2000, 400))


@pytest.mark.slow
def test_more_rows_of_a_list_are_decided_alike():
    decided_alike(range(1, 2000, 40))
