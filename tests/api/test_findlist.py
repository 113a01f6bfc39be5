"""Lists of finds: odd files read right, every fault of every row named, and a row good exactly when its case is."""

from __future__ import annotations

import csv
import io
import random
import re
import sys
from dataclasses import replace
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyarrow import parquet
from scipy import constants

from api import library
from api.findheads import COLUMNS, FINDS, OF_MONEY, UNITS, find_heads, read_find_map
from api.findlist import KIND, PER_KM, ToldOfFinds, case_document, read_finds
from api.findrows import FRAME, LONGEST_TITLE
from api.findtold import Names, Seen
from api.headers import PRICE_LIST, Heads, match, plain, read_map
from api.leftout import HEADERS, left_out_csv
from econ.money import DIGITS
from econ.problems import BadInput
from econ.reading import read_case

from .test_docs import ROOT

TODAY = date(2026, 6, 1)
WHOLE = ToldOfFinds(currency="USD", decimal="point")
MOWER = "mower_walk_behind"
SAMPLE = (ROOT / "sample_prices/finds.csv").read_bytes()
SAMPLES = (ROOT / "sample_prices/README.md").read_text(encoding="utf-8")


def read(text, told=WHOLE, name="list.csv"):
    return read_finds(text if isinstance(text, bytes) else text.encode(), name, told, library.shelf(), TODAY)


def rows(header, *lines):
    return read("\n".join((f"machine_class,{header}", *(f"{MOWER},{line}" for line in lines))))


def refused(text, told=WHOLE):
    with pytest.raises(BadInput) as error:
        read(text, told)
    return [(p.path, p.value, p.rule, p.remedy) for p in error.value.problems]


def faults(found):
    return [(p.path.removeprefix("list.csv: "), p.value) for p in found.problems]


def column(found, name):
    return found.rows[name].tolist()


def pattern(found, i=0):
    return found.patterns[found.rows["pattern"].iloc[i]]


def packed(**columns):
    body = io.BytesIO()
    parquet.write_table(pa.table(columns), body)
    return body.getvalue()


def workbook(*lines):
    book = openpyxl.Workbook()
    for line in lines:
        book.active.append(line)
    body = io.BytesIO()
    book.save(body)
    return body.getvalue()


def test_the_invented_finds_are_all_good():
    found = read(SAMPLE, ToldOfFinds())
    assert (found.read, found.bad, found.blank, found.count) == (2_000, 0, 0, 0)
    assert (found.ignored, found.notes, found.told()) == ((), (), ())
    assert tuple(found.rows.columns) == FRAME
    table = pd.read_csv(io.BytesIO(SAMPLE), dtype=str, keep_default_na=False)
    for name in ("id", "title", "machine_class", "currency", "seen_on", "note"):
        assert column(found, name) == table[name].tolist(), name
    assert column(found, "row") == list(range(2, 2_002))
    stated = found.rows.asking_price_stated
    assert stated.tolist() == (table.asking_price != "").tolist(), "not told is not free"
    assert found.rows.asking_price_minor[stated].tolist() == [int(Decimal(x) * 100) for x in table.asking_price if x]
    assert found.rows.age_years.isna().tolist() == (table.age_years == "").tolist(), "unknown is not zero"
    told = [[";".join(p.complaints), ";".join(map("=".join, p.history)), p.condition] for p in found.patterns]
    as_sets = [[set(x.split(";")) for x in told[i]] for i in found.rows.pattern]
    theirs = table[["complaints", "history", "condition"]].itertuples(index=False)
    assert as_sets == [[set(x.split(";")) for x in row] for row in theirs]


def test_the_invented_finds_are_the_same_cases_as_read_plainly():
    found = read(SAMPLE, ToldOfFinds())
    table = pd.read_csv(io.BytesIO(SAMPLE), dtype=str, keep_default_na=False)
    for i in range(0, len(table), 97):
        case, c = read_case(case_document(found, i), library.shelf())
        row = table.iloc[i]
        assert (case.perspective, case.currency, str(case.as_of)) == ("reseller", row.currency, row.seen_on)
        assert (c.about.id, case.machine.name, case.machine.condition) == (row.machine_class, row.title, row.condition)
        assert case.find.asking_price == (Decimal(row.asking_price) if row.asking_price else None)
        assert case.machine.new_price == (Decimal(row.new_price) if row.new_price else None)
        assert case.find.travel_cost == Decimal(row.travel_km) * PER_KM
        assert case.find.travel_hours == float(row.travel_minutes) / 60


def test_only_the_machine_class_is_needed():
    found = read(f"Machine\n{MOWER}\n")
    assert (column(found, "id"), column(found, "row")) == (["2"], [2])
    assert (column(found, "seen_on"), column(found, "currency")) == (["2026-06-01"], ["USD"])
    assert not any(found.rows[f"{name}_stated"].any() for name in OF_MONEY)
    assert found.rows[["age_years", "hours", "travel_km", "travel_minutes"]].isna().all(axis=None)
    assert column(found, "trip_minor") == [0]
    (only,) = found.patterns
    assert (only.machine_class, only.condition, only.use, only.rusty) == (MOWER, "fair", "residential", False)
    assert only.complaints == only.history == only.findings == ()


# Of each column cells at fault, and what is told of them.
AT_FAULT = {
    "machine_class": [("mower_wlk_behind", '"mower_walk_behind"'), ("", "add it"), ("???", "known:")],
    "id": [("x" * 101, "shorten it"), ("#REF!", "correct it"), ("a\x07b", "take it out")],
    "title": [("x" * 201, "shorten it"), ("a\x07b", "take it out")],
    "asking_price": [("-1", "correct it"), ("free", "correct it"), ("1.999", "round it"), ("1000000000", "correct it"),
                     ("1e3", "correct it")],
    "currency": [("XYZ", "known:"), ("US", "did you mean")],
    "travel_km": [("-1", "correct it"), ("40001", "correct it"), ("far", "correct it"), ("3 kg", "correct it")],
    "travel_minutes": [("6001", "correct it"), ("100.1 h", "correct it"), ("-5", "correct it"), ("1:30", "correct it")],
    "travel_cost": [("-1", "correct it"), ("x", "correct it"), ("1000000000.00", "correct it")],
    "age_years": [("80.01", "correct it"), ("-1", "correct it"), ("old", "correct it"), ("nan", "correct it"),
                  ("inf", "correct it"), ("961 months", "correct it")],
    "hours": [("50000.5", "correct it"), ("-1", "correct it"), ("many", "correct it")],
    "condition": [("fare", '"fair"'), ("mint", "known:")],
    "use": [("comercial", '"commercial"'), ("x", "known:")],
    "rusty": [("maybe", "known:"), ("2", "known:")],
    "complaints": [("wont_start", '"will_not_start"'), ("sings", "known:"),
                   (";".join(["will_not_start"] * 21), "leave out 1")],
    "history": [("storage", "put ="), ("storage=", "put ="), ("=outdoors", "put ="), ("storge=outdoors", '"storage"'),
                ("storage=outdors", '"outdoors"'), ("storage=outdoors;storage=indoors_with_fuel", "keep the one"),
                (";".join(["storage=outdoors"] * 61), "leave out 1")],
    "history.storage": [("outdors", '"outdoors"'), ("yes", "known:")],
    "findings": [("spark_test", "put ="), ("leek_down=60", '"leak_down"'), ("leak_down=-5", "correct it"),
                 ("leak_down=60 bar", "write it in %"), ("leak_down=bad", "known:"),
                 ("leak_down=60;leak_down=70", "keep the one"), ("open_crankcase=2", "as a case"),
                 ("open_crankcase=no_such", "as a case"), ("leak_down=1,200", "write a point"),
                 (";".join(["leak_down=not_done"] * 101), "leave out 1")],
    "new_price": [("0.99", "correct it"), ("0", "correct it"), ("-5", "correct it"), ("dear", "correct it"),
                  ("1000000000", "correct it")],
    "running": [("-1", "correct it"), ("x", "correct it"), ("1000000000", "correct it")],
    "as_is": [("-1", "correct it"), ("x", "correct it"), ("1000000000", "correct it")],
    "seen_on": [("2026-02-30", "correct it"), ("3.4.26", "correct it"), ("soon", "correct it")],
}  # fmt: skip


def test_faults_of_every_column_but_the_note_are_tried():
    assert set(AT_FAULT) == set(COLUMNS) - {"note"} | {"history.storage"}


@pytest.mark.parametrize("name", AT_FAULT)
def test_a_cell_at_fault_leaves_out_its_row_alone(name):
    """Told with its column, what stands there, the rule and the remedy; every good row stays."""
    headers = ["machine_class"] if name == "machine_class" else ["machine_class", name]
    for cell, remedy in AT_FAULT[name]:
        out = io.StringIO()
        line = [cell] if name == "machine_class" else [MOWER, cell]
        good = [MOWER, ""][: len(headers)]
        csv.writer(out).writerows([headers, good, line, good, ["", "x"][: len(headers)]][:4])
        text = out.getvalue() if cell else f"id,machine_class\n1,{MOWER}\n2,\n3,{MOWER}\n"
        found = read(text)
        assert column(found, "row") == [2, 4], cell
        assert (found.read, found.bad, found.count) == (3, 1, 1), cell
        (problem,) = found.told()
        assert problem.path == f"list.csv: row 3, {name}"
        assert problem.rule
        assert remedy in problem.remedy, (cell, problem)


def test_every_fault_of_every_row_at_once():
    text = (
        "id,class,price,currency,km,minutes,age,hours,condition,use,rusty,complaints,facts,history.storage,checks,"
        "price new,running,as is,date,title\n"
        f"ok,{MOWER},5,USD,1,1,1,1,good,commercial,yes,will_not_start,hit_object=no,outdoors,leak_down=90,10,10,10,"
        "2026-05-01,fine\n"
        f"b1,{MOWER},-5,XYZ,-1,x,99,x,bad,bad,bad,a;b,c=d;e,f,g=h;leak_down=x,0,-1,-1,2026-13-01,{'t' * 201}\n"
        "b2,tractor,x,,,,,,,,,a,c=d,f,g=h,,,,,\n"
    )
    found = read(text)
    assert column(found, "id") == ["ok"]
    assert faults(found) == [
        ("row 3, price", '"-5"'), ("row 3, currency", '"XYZ"'), ("row 3, km", '"-1"'), ("row 3, minutes", '"x"'),
        ("row 3, age", '"99"'), ("row 3, hours", '"x"'), ("row 3, condition", '"bad"'), ("row 3, use", '"bad"'),
        ("row 3, rusty", '"bad"'), ("row 3, complaints", '"a"'), ("row 3, complaints", '"b"'), ("row 3, facts", '"e"'),
        ("row 3, facts", '"c=d"'), ("row 3, history.storage", '"f"'), ("row 3, checks", '"g=h"'),
        ("row 3, checks", '"leak_down=x"'), ("row 3, price new", '"0"'), ("row 3, running", '"-1"'),
        ("row 3, as is", '"-1"'), ("row 3, date", '"2026-13-01"'), ("row 3, title", f'"{"t" * 76}...'),
        ("row 4, class", '"tractor"'), ("row 4, price", '"x"'),
    ]  # fmt: skip
    assert (found.bad, found.count) == (2, 23)
    each = list(found.left_out.each())
    assert [(r.number, r.id, len(r.problems)) for r in each] == [(3, "b1", 21), (4, "b2", 2)]
    assert [p for r in each for p in r.problems] == list(found.problems)


def test_rows_left_out_as_a_file_that_can_be_put_right_and_read():
    text = (
        "A list\n\nNo,Class,Asking,Remark,\n"
        f'1,{MOWER},5,"two\nlines",\n,{MOWER},"1,5,0",=1+1,\n3,no_such,"a ""b""",,\n4,{MOWER},7,x,beyond\n'
    )
    found = read(text)
    assert column(found, "row") == [4]
    table = list(csv.reader(io.StringIO(left_out_csv(found.left_out), newline="")))
    assert table[0] == [*HEADERS, "No", "Class", "Asking", "Remark", ""]
    assert [(r[0], r[1], *r[4:]) for r in table[1:]] == [
        ("5", "5", "", MOWER, "1,5,0", "'=1+1", ""), ("6", "3", "3", "no_such", 'a "b"', "", ""),
        ("7", "4", "4", MOWER, "7", "x", "beyond"),
    ]  # fmt: skip
    assert table[2][3].startswith('Class: got "no_such"; the rulebooks hold no such machine class. known:')
    assert 'Asking: got "a ""b"""; it is an amount' not in table[2][3]
    assert 'Asking: got "a "b""; it is an amount' in table[2][3]
    table[1][6], table[2][5:7], table[3][8] = "1.50", [MOWER, "8"], ""
    out = io.StringIO()
    csv.writer(out).writerows(table)
    again = read(out.getvalue())
    assert (again.bad, column(again, "asking_price_minor")) == (0, [150, 800, 700])
    assert again.ignored == HEADERS
    assert not again.notes


def test_nothing_left_out_is_a_header_alone():
    assert left_out_csv(read(f"class\n{MOWER}\n").left_out) == ",".join((*HEADERS, "class")) + "\r\n"


def test_all_faults_are_had_beyond_the_first_that_are_told():
    found = rows("age,hours", *["x,y"] * 150, "1,1")
    assert (found.bad, found.count, len(found.problems), len(found.rows)) == (150, 300, 100, 1)
    assert found.told()[-1].value == "200 more values at fault"
    each = list(found.left_out.each())
    assert [r.number for r in each] == list(range(2, 152))
    assert all([p.path.rpartition(", ")[2] for p in r.problems] == ["age", "hours"] for r in each)


def test_a_list_without_a_good_row_is_still_a_list():
    found = rows("age", "x")
    assert (len(found.rows), found.patterns, found.bad) == (0, (), 1)
    assert tuple(found.rows.columns) == FRAME


@pytest.mark.parametrize(
    "text", ["Walk-behind rotary mower, blade fixed to the crankshaft", "MOWER-walk behind", MOWER]
)
def test_machine_classes_by_id_or_title(text):
    found = read(f'class\n"{text}"\n')
    assert column(found, "machine_class") == [MOWER]


def test_complaints_by_id_or_title_in_any_order():
    c = library.machine_class(MOWER)
    assert "starts, then dies" in [x.title for x in c.complaints.values()]
    dies = next(i for i, x in c.complaints.items() if x.title == "starts, then dies")
    texts = [f"{dies};will_not_start", f"will_not_start, {dies}", f"Starts, then dies, will not start;{dies}",
             f" Will-not-start ;; STARTS, THEN DIES\n{dies};"]  # fmt: skip
    found = rows("symptoms", *(f'"{t}"' for t in texts))
    assert len(found.patterns) == 1, "what is told alike is one pattern"
    assert set(pattern(found).complaints) == {"will_not_start", dies}
    assert list(pattern(found).complaints) == [x for x in c.complaints if x in {"will_not_start", dies}]


def test_every_complaint_is_known_by_its_title():
    for c in map(library.machine_class, library.ids()):
        for i, complaint in c.complaints.items():
            text = f"{complaint.title}, {next(iter(c.complaints))}"
            assert set(Names(c).complaints_in(text).said) == {i, next(iter(c.complaints))}, (c.about.id, text)


def test_history_in_one_column_and_in_columns_of_its_own():
    found = rows(
        "history,history.storage,History: opened before",
        "storage=outdoors;opened_before=no,,", ",Outdoors,No", '"opened-before=no, storage=Outdoors",outdoors,',
        "hit_object=not_sure,,", ",,",
    )  # fmt: skip
    assert column(found, "pattern") == [0, 0, 0, 1, 2]
    assert dict(pattern(found).history) == {"storage": "outdoors", "opened_before": "no"}
    assert dict(pattern(found, 3).history) == {"hit_object": "not_sure"}
    odd = rows("history,history.storage", "storage=outdoors,indoors_with_fuel", "storage=outdoors,outdoors")
    assert faults(odd) == [("row 2, history.storage", '"storage" with "outdoors" and "indoors_with_fuel"')]


def test_a_fact_of_another_class_is_none_of_this_ones():
    text = f"class,history.bar_oil\nchain_saw,ran_dry\n{MOWER},ran_dry\n{MOWER},\n"
    found = read(text)
    assert column(found, "row") == [2, 4]
    assert faults(found) == [("row 3, history.bar_oil", '"ran_dry"')]
    assert "no such history fact" in found.problems[0].rule
    near = read(f"class,history.storrage\n{MOWER},outdoors\n")
    assert near.ignored == ("history.storrage",)
    assert "looks like history.storage (" in near.notes[0]


def test_findings_are_outcomes_or_readings():
    checks = library.machine_class(MOWER).checks
    look = next(i for i, x in checks.items() if x.outcomes and not x.reading)
    worst = checks[look].outcomes[-1]
    cells = (
        f'"leak_down=62.5 %; {look}={worst}, shaft_runout=bent"',
        f'"leak_down=62,5;shaft_runout=Bent,{look}={worst}"',
    )
    found = rows("findings", *cells, "leak_down=not_done;leak_down=60", "Leak-down=0;shaft runout=not sure")
    assert column(found, "pattern") == [0, 0, 1, 2]
    told = {Seen("leak_down", None, 62.5), Seen("shaft_runout", "bent", None), Seen(look, worst, None)}
    assert set(pattern(found).findings) == told
    assert [s.reading for s in pattern(found, 2).findings] == [None, 60.0]
    assert set(pattern(found, 3).findings) == {Seen("leak_down", None, 0.0), Seen("shaft_runout", "not_sure", None)}


@pytest.mark.parametrize(
    ("header", "cell", "name", "value"),
    [
        ("Distance (mi)", "10", "travel_km", constants.mile / 100),
        ("travel miles", "10", "travel_km", constants.mile / 100),
        ("Distance", "10 mi", "travel_km", constants.mile / 100), ("km", "12.5", "travel_km", 12.5),
        ("Travel (km)", "7", "travel_km", 7), ("Travel time (h)", "1.5", "travel_minutes", 90),
        ("Travel (min)", "20", "travel_minutes", 20), ("Trip, hours", "2", "travel_minutes", 120),
        ("Age", "18 months", "age_years", 1.5), ("Age (months)", "18", "age_years", 1.5),
        ("Age [years]", "3", "age_years", 3),
        ("Engine hours", "120", "hours", 120), ("Hours (h)", "120", "hours", 120),
        ("Travel (USD)", "20", "trip_minor", 2000),
        ("Asking ($)", "20", "asking_price_minor", 2000), ("As-is price", "20", "as_is_minor", 2000),
    ],
)  # fmt: skip
def test_headers_with_units(header, cell, name, value):
    found = read(f'class,"{header}"\n{MOWER},{cell}\n{MOWER},\n')
    assert not found.ignored
    assert column(found, name)[0] == pytest.approx(value, rel=1e-12)


def test_headers_that_may_mean_several_columns_are_asked_about():
    (problem,) = refused(f"class,travel\n{MOWER},5\n")
    assert "travel_km or travel_minutes or travel_cost" in problem[2]
    (problem,) = refused(f"class,list price\n{MOWER},5\n")
    assert "asking_price or new_price" in problem[2]
    told = replace(WHOLE, mapped=read_find_map(["travel=travel_km", "Stall=history.storage"], library.shelf()))
    found = read(f"class,travel,Stall\n{MOWER},5,outdoors\n", told)
    assert column(found, "travel_km") == [5]
    assert dict(pattern(found).history) == {"storage": "outdoors"}
    with pytest.raises(BadInput, match="a list of finds has no such column"):
        read_find_map(["x=asking_prise", "y=history.no_such"], library.shelf())


def test_a_word_means_one_column_or_is_asked_about():
    shared = {w for c, h in COLUMNS.items() for w in h.others for d, k in COLUMNS.items() if d != c and w in k.others}
    assert shared == {"travel", "trip", "list price"}
    for c, head in COLUMNS.items():
        assert all(w == plain(w) for w in head.others), c
        assert plain(c) in FINDS.words, c


def test_heads_are_a_value():
    """Another kind of list is matched by its own columns, words, units and rules."""
    heads = Heads("list of tools", {"tool": PRICE_LIST.columns["part"], "reach": PRICE_LIST.columns["weight_kg"]},
                  {"reach": {"": 1.0, "mm": 1.0}}, frozenset(), frozenset({"sku"}), (("tool",),),
                  {("tool", "reach"): "one of both"})  # fmt: skip
    assert match(["Tool"], {}, "x", heads).places == {"tool": 0}
    assert match(["Tool", "Weight (mm)"], {}, "x", heads).units == {"reach": "mm"}
    assert [p.rule for p in match(["Tool", "reach"], {}, "x", heads).problems] == ["one of both"]
    assert [p.rule for p in match(["sku"], {}, "x", heads).problems] == [
        "this header may mean tool or none of these columns", "a list of tools has a column tool",
    ]  # fmt: skip
    assert match(["part"], {}, "x", PRICE_LIST).places == {"part": 0}
    assert read_map(["x=tool"], heads) == {"x": "tool"}


def test_currencies():
    """The row's own, else beside an amount, else in a header, else the user's; each in its own digits."""
    text = f"class,new price,asking,currency\n{MOWER},500,500,JPY\n{MOWER},5,€5.00,\n{MOWER},£7,,\n{MOWER},5,6,\n"
    found = read(text)
    assert column(found, "currency") == ["JPY", "EUR", "GBP", "USD"]
    assert column(found, "new_price_minor") == [500, 500, 700, 500]
    assert column(found, "asking_price_minor") == [500, 500, 0, 600]
    assert column(read(f"class,asking (EUR)\n{MOWER},5\n"), "currency") == ["EUR"]
    assert refused(f"class,asking\n{MOWER},5\n", ToldOfFinds())[0][:2] == ("list.csv: currency", "no such column")
    assert faults(read(f"class,asking,currency\n{MOWER},5,\n{MOWER},5,usd\n", ToldOfFinds())) == [
        ("row 2, currency", "nothing")
    ]
    assert faults(rows("asking,currency", "5.5,JPY", "€5,USD", "1,JPY")) == [
        ("row 2, asking", '"5.5"'),
        ("row 3, asking", '"€5"'),
    ]


def test_a_price_new_is_one_or_more_in_any_currency():
    found = rows("new_price,currency", "1,JPY", "0,JPY", "1.000,KWD", "0.999,KWD", "1,USD", "0.99,USD")
    assert column(found, "row") == [2, 4, 6]


def test_trips_cost_what_is_stated_and_the_kilometres():
    told = replace(WHOLE, per_km=Decimal("0.335"))
    text = f"class,km,travel cost,currency\n{MOWER},10,2.00,USD\n{MOWER},,2.00,USD\n{MOWER},1,,USD\n{MOWER},3,,USD\n"
    found = read(f"{text}{MOWER},10,100,JPY\n{MOWER},,,USD\n", told)
    assert column(found, "trip_minor") == [535, 200, 34, 100, 103, 0], "half to even: 33.5 is 34, 100.5 is 100"
    assert column(found, "travel_cost_minor") == [200, 200, 0, 0, 100, 0]
    assert column(found, "travel_cost_stated") == [True, True, False, False, True, False]
    assert column(rows("km", "12.5"), "trip_minor") == [375]
    over = rows("travel_km,travel_cost", "100,999999999.99", "0,999999999.99")
    assert faults(over) == [("row 2, travel_km", "1000000029.99 USD in all")]


@pytest.mark.parametrize("per_km", ["-0.01", "NaN", "Infinity", "1000001"])
def test_what_a_kilometre_costs_is_checked(per_km):
    told = replace(WHOLE, per_km=Decimal(per_km), currency="XYZ")
    assert [p[0] for p in refused(f"class\n{MOWER}\n", told)] == ["--currency", "--per-km"]


def test_measures_keep_fifteen_digits():
    """A program that divides writes more of them than it means."""
    found = rows("age,km,hours", "3.3333333333333335,0.12345678901234567,1234.5")
    assert column(found, "age_years") == pytest.approx([10 / 3], rel=1e-14)
    assert column(found, "travel_km") == pytest.approx([0.12345678901234567], rel=1e-14)
    semicolons = read(f"class;age\n{MOWER};3,3333333333333335\n", ToldOfFinds("USD", decimal="comma"))
    assert column(semicolons, "age_years") == pytest.approx([10 / 3], rel=1e-14)


def test_days():
    found = rows("date", "2026-04-03", "2026/04/03 10:30", "3.4.2026", "", "2031-01-01")
    days = ["2026-04-03"] * 3 + ["2026-06-01", "2031-01-01"]
    assert column(found, "seen_on") == days, "a decision may be made for a day to come"
    told = replace(WHOLE, seen_on=date(2026, 5, 1), dates="month")
    assert column(read(f"class,date\n{MOWER},4/3/2026\n{MOWER},\n", told), "seen_on") == ["2026-04-03", "2026-05-01"]
    assert "--dates" in refused(f"class,date\n{MOWER},3/4/2026\n")[0][3]


def test_titles_and_notes_are_text_of_any_kind():
    joined = "mower \U0001f469\u200d\U0001f527"
    found = rows("title,note", f"{joined},#N/A", f"{'x' * LONGEST_TITLE},\x07", "=1+1,x")
    assert (found.bad, column(found, "title")[0]) == (0, joined)
    assert column(found, "note") == ["#N/A", "\x07", "x"]


def test_ids_that_repeat_are_told_and_kept():
    found = read(f"id,class\na,{MOWER}\na,{MOWER}\n,{MOWER}\n,{MOWER}\n")
    assert column(found, "id") == ["a", "a", "4", "5"]
    assert found.notes == ('an id stands in several rows, such as "a"; each row is taken as a find of its own',)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"", "empty"), (b"class\n", "no rows"), (b'class,x\nmower,"5\nb,6\n', '"'), (b"PK\x03\x04rubbish", "unpacked"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", "D0 CF"), (b"PAR1 rubbish PAR1", "a broken file"), (b"PAR1", "a broken file"),
        (b"colour,size\na,b\n", '"colour", "size"'), (b"," * 300 + b"\n", "columns"), (b"\x00\x01", "NUL"),
        (b"class,class\na,b\n", '"class"'), (b"class,age (km)\na,b\n", '"age (km)"'),
    ],
)  # fmt: skip
def test_what_is_no_list_of_finds(body, said):
    problems = refused(body)
    assert said in problems[0][1]
    assert all(rule and remedy for _, _, rule, remedy in problems)
    assert not any("price list" in x for p in problems for x in p)


def test_all_faults_of_a_file_at_once():
    text = f"class;price;age;date\n{MOWER};1.234;1.234;3/4/2026\n"
    assert [p[0] for p in refused(text, ToldOfFinds())] == [
        "list.csv: price", "list.csv: currency", "list.csv: age", "list.csv: date",
    ]  # fmt: skip
    assert refused(b"a" * (KIND.most_bytes + 1))[0][2].startswith("a list of finds is at most 400 MB, 1,000,000 rows")


def test_a_workbook():
    body = workbook(
        ["Spring finds"], ["Class", "Asking", "Age", "Date", "Rusty", "Complaints", "Title"],
        [MOWER, 12.5, 3, datetime(2026, 4, 3), True, "will_not_start", None], [None] * 7,
        [MOWER, 0.1 + 0.2, 10 / 3, date(2026, 4, 4), 0, None, 12], [MOWER, 1.999, 81, "x", "perhaps", "x", None],
    )  # fmt: skip
    found = read(body, ToldOfFinds("USD"))
    assert column(found, "row") == [3, 5]
    assert column(found, "asking_price_minor") == [1250, 30]
    assert column(found, "age_years") == pytest.approx([3, 10 / 3], rel=1e-14)
    assert column(found, "seen_on") == ["2026-04-03", "2026-04-04"]
    assert [pattern(found, i).rusty for i in (0, 1)] == [True, False]
    assert [p for p, _ in faults(found)] == [f"row 6, {c}" for c in ("Asking", "Age", "Date", "Rusty", "Complaints")]


def test_a_parquet_file_is_read_as_its_csv_is():
    table = pd.read_csv(io.BytesIO(SAMPLE))
    table["seen_on"] = pd.to_datetime(table["seen_on"]).dt.date
    table["complaints"] = [x.split(";") if isinstance(x, str) else None for x in table["complaints"]]
    table["condition"] = table["condition"].astype("category")
    body = io.BytesIO()
    table.to_parquet(body, engine="pyarrow")
    ours, theirs = read(body.getvalue(), ToldOfFinds()), read(SAMPLE, ToldOfFinds())
    assert (ours.bad, ours.patterns) == (0, theirs.patterns)
    pd.testing.assert_frame_equal(ours.rows, theirs.rows, check_categorical=False)


def test_the_types_of_a_parquet_file():
    body = packed(
        machine_class=pa.array([MOWER] * 3).dictionary_encode(),
        id=pa.array([2**60 + 1, None, 3]),
        asking=pa.array([Decimal("12.50"), None, Decimal("1250.00")]),
        running=[12.5, float("nan"), 0.1 + 0.2],
        age=pa.array([12.1, None, -0.0], pa.float32()),
        hours=pa.array([1, 2, None], pa.uint16()),
        rusty=[True, False, None],
        seen_on=pa.array([datetime(2026, 4, 3, 23), None, datetime(2026, 4, 4)], pa.timestamp("ns", "UTC")),
        complaints=[["will_not_start"], [], None],
        history=pa.array([[("storage", "outdoors")], None, []], pa.map_(pa.string(), pa.string())),
        findings=[{"leak_down": "60", "spark": None}, None, {"leak_down": None, "spark": None}],
        note=pa.nulls(3),
    )
    found = read(body)
    assert not found.problems
    assert column(found, "row") == [2, 3, 4], "as though the headers stood in row 1"
    assert column(found, "id") == ["1152921504606846977", "3", "3"]
    assert column(found, "asking_price_minor") == [1250, 0, 125000]
    assert column(found, "running_minor") == [1250, 0, 30]
    assert column(found, "running_stated") == [True, False, True]
    np.testing.assert_equal(column(found, "age_years"), [12.1, np.nan, 0.0])
    np.testing.assert_equal(column(found, "hours"), [1.0, 2.0, np.nan])
    assert column(found, "seen_on") == ["2026-04-03", "2026-06-01", "2026-04-04"]
    first = pattern(found)
    assert (first.complaints, first.history, first.rusty) == (("will_not_start",), (("storage", "outdoors"),), True)
    assert first.findings == (Seen("leak_down", None, 60.0),)
    assert pattern(found, 1) == pattern(found, 2)


def test_parquet_numbers_have_a_point_whatever_the_texts_beside_them():
    told = ToldOfFinds("USD")
    beside = packed(machine_class=[MOWER] * 2, price=[1250.0, 1.5], km=["1,5", "2"])
    assert column(read(beside, told), "travel_km") == [1.5, 2]
    assert column(read(packed(machine_class=[MOWER] * 2, age=[1.234, 2.345]), told), "age_years") == [1.234, 2.345]


def test_faults_of_a_parquet_file():
    found = read(packed(machine_class=[MOWER] * 3, age=[81.5, float("inf"), 3.0], rusty=["q", "yes", "no"]))
    assert faults(found) == [("row 2, age", '"81.5"'), ("row 2, rusty", '"q"'), ("row 3, age", '"inf"')]
    assert refused(packed(colour=["red"]))[0][2] == "a list of finds has a column machine_class"
    assert refused(packed(machine_class=pa.array([], pa.string())))[0][1] == "no rows"
    told = replace(WHOLE, encoding="utf-8", sheet="x")
    assert [p[0] for p in refused(packed(machine_class=[MOWER]), told)] == ["--encoding", "--sheet"]
    wide = packed(machine_class=[MOWER], **{f"c{i}": [1] for i in range(200)})
    assert "201 columns" in refused(wide)[0][1]
    body = packed(machine_class=[MOWER] * 50, age=list(range(50)))
    for cut in range(8, len(body), 37):
        with pytest.raises(BadInput):
            read(body[:cut])


def test_a_parquet_file_that_swells():
    long = packed(machine_class=pa.array([MOWER] * 1_000_001).dictionary_encode())
    assert len(long) < 100_000
    assert "1,000,001 rows" in refused(long)[0][1]


def test_without_what_reads_parquet_it_is_said_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    (problem,) = refused(b"PAR1")
    assert problem[0] == "list.csv"
    assert 'pip install "mendworth[parquet]"' in problem[3]


def test_every_column_is_documented_as_the_reader_takes_it():
    section = SAMPLES.partition("`finds.csv`:")[2].partition("`comparables.csv`:")[0]
    told = re.findall(r"^\| `([\w.…]+)` \| (.+?) \|$", section, re.MULTILINE)
    names = [r[0] for r in told]
    assert names[names.index("history") + 1] == "history.…"
    assert [n for n in names if n != "history.…"] == list(COLUMNS)
    for name, text in told:
        others = re.findall(r"`([^`]+)`", text.partition("; also ")[2])
        assert set(others) == set(COLUMNS[name].others if name in COLUMNS else ()), name
    for name, units in UNITS.items():
        assert set(units) - {""} <= set(re.findall(r"`([^`]+)`", section)), name
    with_facts = find_heads(["storage"]).columns
    assert set(with_facts) == set(COLUMNS) | {"history.storage"}


# Random rows: what each column may hold, good or at fault, and how a case says the same.
CLASSES = (MOWER, "chain_saw", "generator_portable")


RAW = [c for c in COLUMNS if c not in ("id", "travel_km", "note")]


def raw_row(rng):
    """Return a row, at fault in no column, in one or in two."""
    wrong = set(rng.sample(RAW, rng.choice((0, 1, 1, 2))))

    def one(column, good, bad):
        return rng.choice(bad if column in wrong else good)

    name = rng.choice(CLASSES)
    c = library.machine_class(name)
    currency = one("currency", ["USD", "EUR", "KWD", "JPY"], ["XYZ", "usd dollars"])
    digits = DIGITS.get(currency, 2)
    fraction = "." + "987"[:digits] if digits else ""
    money = ["", "0", f"12{fraction}", f"999999999{fraction}", "380"]
    no_money = ["-1", "1000000000", "much", "12.3456"]
    complaints = rng.choices([*c.complaints], k=rng.randint(0, 3))
    if "complaints" in wrong:
        complaints.append(rng.choice(["no_such", "will not"]))
    facts = {f: rng.choice([*c.facts[f].levels, "not_sure"]) for f in rng.sample([*c.facts], rng.randint(0, 3))}
    if "history" in wrong:
        facts |= rng.choice([{"no_such_fact": "x"}, {next(iter(c.facts)): "no_such_level"}])
    findings = []
    for check in rng.sample([*c.checks], rng.randint(0, 3)):
        readings = ["60.5", "0"] if c.checks[check].reading else []
        findings.append((check, rng.choice([*c.checks[check].outcomes, "not_done", *readings])))
    if "findings" in wrong:
        takes_none = next(i for i, x in c.checks.items() if x.outcomes and not x.reading)
        opens = next((i for i, x in c.checks.items() if x.reveals), "no_such_check")
        odd = [("no_such_check", "x"), (takes_none, "7"), (takes_none, "no_such"), (opens, "no_such"), (opens, "2")]
        findings.append(rng.choice(odd))
    return {
        "machine_class": one("machine_class", [name], ["no_such_class"]),
        "title": one("title", ["", "a mower", "x" * 200], ["x" * 201]),
        "asking_price": one("asking_price", money, no_money), "currency": currency,
        "travel_km": rng.choice(["", "0", "12.5", "333"]),
        "travel_minutes": one("travel_minutes", ["", "0", "45", "6000"], ["6000.5", "long"]),
        "travel_cost": one("travel_cost", ["", "0", f"12{fraction}", "380"], [*no_money, f"999999999{fraction}"]),
        "age_years": one("age_years", ["", "0", "3.25", "80"], ["80.5", "-1", "old"]),
        "hours": one("hours", ["", "0", "120.5", "50000"], ["50000.5", "-1", "many"]),
        "condition": one("condition", ["", "good", "restored", "poor"], ["bad"]),
        "use": one("use", ["", "commercial", "residential"], ["rental"]),
        "rusty": one("rusty", ["", "yes", "no"], ["perhaps"]),
        "complaints": complaints, "history": facts, "findings": findings,
        "new_price": one("new_price", ["", "1", f"12{fraction}", "999999999"], ["0", "-1", "1000000000", "dear"]),
        "running": one("running", money, no_money), "as_is": one("as_is", money, no_money),
        "seen_on": one("seen_on", ["", "2026-02-28", "2031-12-31"], ["2026-02-29", "someday"]),
    }  # fmt: skip


# Texts of every kind that may stand in a cell, and such as are nearly right.
ANY = st.text(max_size=20) | st.text("0123456789.,-+eE%€$ =;/:", max_size=20) | st.text("abc_ =;,\n\"'", max_size=20)


def number(text):
    return float(text) if re.fullmatch(r"-?\d+(\.\d+)?", text) else text


def as_case(raw):
    """Return a raw row as a case document, by itself and as simply as can be; what is empty is left out."""

    def told(*names):
        return {n: raw[n] for n in names if raw[n]}

    minutes = number(raw["travel_minutes"]) if raw["travel_minutes"] else None
    cost = raw["travel_cost"] or "0"
    if raw["travel_km"] and re.fullmatch(r"\d+(\.\d+)?", cost):
        digits = Decimal(1).scaleb(-DIGITS.get(raw["currency"], 2))
        way = (Decimal(raw["travel_km"]) * PER_KM).quantize(digits, ROUND_HALF_EVEN)
        cost = f"{Decimal(cost) + way:f}"
    hours = {} if minutes is None else {"travel_hours": minutes / 60 if isinstance(minutes, float) else minutes}
    machine = {n: number(raw[n]) for n in ("age_years", "hours") if raw[n]} | told("condition", "use", "new_price")
    if raw["rusty"]:
        machine["rusty"] = {"yes": True, "no": False}.get(raw["rusty"], raw["rusty"])
    findings = []
    for check, said in raw["findings"]:
        c = library.shelf()[raw["machine_class"]] if raw["machine_class"] in library.ids() else None
        known = c is not None and check in c.checks and said in c.checks[check].outcomes
        is_number = not known and re.fullmatch(r"\d+(\.\d+)?", said)
        findings.append({"check": check, **({"reading": float(said)} if is_number else {"outcome": said})})
    return {
        "perspective": "reseller", "currency": raw["currency"], "as_of": raw["seen_on"] or TODAY.isoformat(),
        "machine": {"class": raw["machine_class"], **machine} | ({"name": raw["title"]} if raw["title"] else {}),
        "complaints": raw["complaints"], "history": raw["history"], "findings": findings,
        "market": told("running", "as_is"), "find": {"travel_cost": cost} | hours | told("asking_price"),
    }  # fmt: skip


def canonical(case, c):
    """Return a case with what is told in the order of the rulebook, each complaint once."""
    return case.model_copy(update={
        "complaints": tuple(x for x in c.complaints if x in case.complaints),
        "history": {x: case.history[x] for x in c.facts if x in case.history},
        "findings": tuple(sorted(case.findings, key=lambda f: [*c.checks].index(f.check))),
    })  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from([*COLUMNS, "history.storage"]), ANY, max_size=6), st.sampled_from([MOWER, "?"]))
def test_whatever_stands_in_cells_is_read_or_told(cells, name):
    out = io.StringIO()
    row = cells | {"machine_class": name}
    csv.writer(out).writerows([row.keys(), row.values()])
    try:
        found = read(out.getvalue(), ToldOfFinds("USD"))
    except BadInput:
        assert all(x for p in refused(out.getvalue(), ToldOfFinds("USD")) for x in p)
        return
    assert found.read == len(found.rows) + found.bad == 1
    assert bool(found.bad) == bool(found.problems)
    assert all(p.value and p.rule and p.remedy for p in found.problems)
    assert len(list(csv.reader(io.StringIO(left_out_csv(found.left_out), newline="")))) == 1 + found.bad
    if not found.bad:
        read_case(case_document(found, 0), library.shelf())


@pytest.mark.parametrize("seed", range(4))
def test_a_row_is_good_exactly_when_its_case_is(seed):
    """And then it is that case, whatever stands beside it in the list."""
    rng = random.Random(seed)  # noqa: S311 - invented rows
    raws = [raw_row(rng) for _ in range(500)]
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(raws[0])
    for raw in raws:
        cells = raw | {
            "complaints": ";".join(raw["complaints"]),
            "history": ";".join(f"{k}={v}" for k, v in raw["history"].items()),
            "findings": ";".join(f"{k}={v}" for k, v in raw["findings"]),
        }
        writer.writerow(cells.values())
    found = read(out.getvalue(), ToldOfFinds(decimal="point"))
    cases = {}
    for i, raw in enumerate(raws):
        try:
            cases[i + 2] = canonical(*read_case(as_case(raw), library.shelf()))
        except BadInput:
            continue
    assert column(found, "row") == list(cases)
    for i, row in enumerate(column(found, "row")):
        assert read_case(case_document(found, i), library.shelf())[0] == cases[row]
    left = list(found.left_out.each())
    assert [r.number for r in left] == [i + 2 for i in range(len(raws)) if i + 2 not in cases]
    assert all(r.problems for r in left)
    assert len(raws) / 5 < len(left) < len(raws) * 4 / 5, "both kinds are tried"
    assert sum(len(r.problems) for r in left) == found.count
