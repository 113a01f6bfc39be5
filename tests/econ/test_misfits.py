"""Every kind of error our models can give is told in our words: none of the wording of the library reaches the user."""

from __future__ import annotations

import math
import tomllib
from datetime import date
from decimal import Decimal
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel
from pydantic_core import core_schema

import econ
from api.again import read_question
from econ import misfits
from econ.case import Case
from econ.draft import KINDS
from econ.knowledge import ModuleHead
from econ.lines import line_of, parse
from econ.misfits import OTHER, WORDS
from econ.overlay import OverlayHead
from econ.problems import Problem, nearest, shown
from econ.rulebook import read_class

from . import small
from .test_overlay import HEAD, over

# What would be the library's, or Python's, own.
FOREIGN = (
    "Input should", "Extra inputs", "Field required", "validation", "uple", "instance of", "datetime.", "Decimal(",
    "Value error", "ictionary", "String should", "Keys should", "valid ", "None", "'", "(1", "(0", "1e+",
)  # fmt: skip
OURS = ("case's one currency", "can't")  # the apostrophes of our own


def in_our_words(problems: tuple[Problem, ...] | list[Problem]) -> str:
    """Return all sentences, none of which is in the library's words, and each of which says what to do."""
    assert problems
    told = "\n".join(p.sentence() for p in problems)
    ours = told
    for words in OURS:
        ours = ours.replace(words, "")
    assert not [x for x in FOREIGN if x in ours], told
    assert not [p for p in problems if OTHER[0] in p.rule], told
    assert not [p for p in problems if p.remedy.startswith("correct")], told
    assert all(p.path and p.value and p.rule and p.remedy for p in problems)
    return told


SEAL = "[change.parts.seal]\nsource = 'an invoice'\n"
GAUGE = "[change.checks.gauge]\nsource = 'our own'\n"
PRESS = "[change.operations.press]\nsource = 'our own'\n"
RULEBOOK = [  # of an overlay: the text, the path, what was got, words of the rule, words of the remedy
    ("[add.parts.x]\nprice = [1, 2, 3]\nsource = 'x y'\n", "add.parts.x.title", "nothing", "required", "add title"),
    ("[add.tools.x]\ntitle = 'x'\nprice = 3\n", "add.tools.x.source", "nothing", "every figure", "add source"),
    (SEAL + "pric = 3\n", "change.parts.seal.pric", "3", "not permitted", 'did you mean "price"'),
    (SEAL + "life = { median_year = 3, shape = 2, source = 'x y' }\n", "life.median_year", "3", "not", "median_years"),
    (SEAL + "title = 2026-01-02\n", "change.parts.seal.title", "2026-01-02", "must be text", "quotation marks"),
    (SEAL + "title = [1.0, 2.0]\n", "change.parts.seal.title", "[1.0, 2.0]", "must be text", "quotation marks"),
    (SEAL + "title = { a = [true] }\n", "change.parts.seal.title", '{"a": [true]}', "must be text", "quotation"),
    (SEAL + "consumable = 'yes'\n", "change.parts.seal.consumable", '"yes"', "true or false", "write true or false"),
    (SEAL + "price = [1, '2', 3]\n", "change.parts.seal.price.1", '"2"', "must be a number", "without quotation"),
    (SEAL + "price = [1, nan, 3]\n", "change.parts.seal.price.1", "nan", "finite", "give a finite number"),
    (SEAL + "price = [1, 2]\n", "change.parts.seal.price", "[1, 2]", "3 figures", "write [low, likely, high]"),
    (SEAL + "price = 7\n", "change.parts.seal.price", "7", "list in [ ]", "write [low, likely, high]"),
    (SEAL + "price = [9, 5, 3]\n", "change.parts.seal.price", "[9, 5, 3]", "must rise", "write [3, 5, 9]"),
    (SEAL + "price = [-1, 5, 9]\n", "change.parts.seal.price.0", "-1", "or equal to 0", "write 0 or more"),
    (SEAL + "price = [1, 5, 900000]\n", "change.parts.seal.price.2", "900000", "equal to 100000", "100000 or less"),
    (SEAL + "life = 3\n", "change.parts.seal.life", "3", "names with their values", "write each name"),
    (PRESS + "hours = [0, 0, 900000]\n", "change.operations.press.hours.2", "900000", "equal to 1000", "1000 or less"),
    (PRESS + "parts = [{ part = 'seal', quantity = 0 }]\n", "press.parts.0.quantity", "0", "than 0", "above 0"),
    (PRESS + "tools = 'press'\n", "change.operations.press.tools", '"press"', "a list in [ ]", "write it in [ ]"),
    (PRESS + "tools = ['']\n", "change.operations.press.tools.0", '""', "at least 1", "write"),
    (PRESS + f"tools = ['{'a' * 65}']\n", "press.tools.0", '"aaa', "at most 64", "shorten"),
    (PRESS + "tools = ['A press!']\n", "press.tools.0", '"A press!"', "small letters", 'write "a_press"'),
    (GAUGE + "minutes = 9000\n", "change.checks.gauge.minutes", "9000", "equal to 600", "600 or less"),
    (GAUGE + "leak = [0, 0]\n", "change.checks.gauge.leak.0", "0", "greater than 0", "above 0"),
    (GAUGE + "leak = [0.9, 0.5]\n", "change.checks.gauge.leak", "[0.9, 0.5]", "must not fall", "write [0.5, 0.9]"),
    (GAUGE + "leak = [0.9]\n", "change.checks.gauge.leak", "[0.9]", "one figure fewer", "give leak 2"),
    (GAUGE + "outcomes = ['a', 'b']\n", "change.checks.gauge", "a table that", "leak must have one", "give leak 1"),
    (GAUGE + "outcomes = ['a', 'b', 'b']\n", "change.checks.gauge.outcomes", '["a"', "differ", "rename or remove"),
    (GAUGE + "reading = { bands = [9, 1] }\n", "gauge.reading.bands", "[9, 1]", "must rise", "write [1, 9]"),
    (GAUGE + "reveals = ['rod']\n", "change.checks.gauge", "a table that", "either outcomes", "keep one"),
    ("[change.faults.seal]\nprior = 1\nsource = 'x y'\n", "faults.seal.prior", "1", "less than 1", "below 1"),
    ("[change.faults.seal]\nfactors = 3\nsource = 'x y'\n", "seal.factors", "3", "names with", "write each name"),
    ("[change.faults.seal]\nshows = { gauge = [0.6, 0.1] }\nsource = 'x y'\n", "seal.shows.gauge", "[0.6, 0.1]",
     "must not fall", "write [0.1, 0.6]"),
    ("[change.facts.care]\nweights = [0.5, 0.4]\nsource = 'x y'\n", "care.weights", "[0.5, 0.4]", "sum to 1", "2 sha"),
    ("[change.facts.care]\nlevels = ['a']\nsource = 'x y'\n", "facts.care.levels", '["a"]', "at least 2", "add 1"),
    ("[change.value]\nmethod = 'geometrical'\nsource = 'x y'\n", "value.method", '"geometrical"', "one of geometric,",
     'did you mean "geometric"'),
    ("[change.season]\nresale = [1, 1]\nsource = 'x y'\n", "season.resale", "[1, 1]", "12 figures", "January"),
    ("[change.holds.drips]\nopened_by = [{ check = 'drips' }]\nsource = 'x y'\n", "opened_by.0", "a table that",
     "check and outcome", "keep one"),
    ("[change.life.residential]\nepa_median_years = 3\n", "life.residential", "no source", "every figure", "add epa_"),
    (SEAL.replace("an invoice", "   ") + "price = [1, 2, 3]\n", "change.parts.seal.source", '"   "', "3 char", "say"),
    (SEAL.replace("'an invoice'", "5") + "price = [1, 2, 3]\n", "change.parts.seal.source", "5", "be text", "quota"),
    ("[add.tools.x]\ntitle = 'x'\nprice = 3\nsource = '\u200b\u200b\u200b'\n", "add.tools.x.source", '"???"', "3", "s"),
    ("[add.tools.x]\ntitle = 'x'\nprice = 3\nsource = ' x '\n", "add.tools.x.source", '" x "', "3 characters", "say"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "path", "got", "rule", "remedy"), RULEBOOK, ids=[f"{m[1]}: {m[2]}" for m in RULEBOOK])
def test_of_an_overlay(text: str, path: str, got: str, rule: str, remedy: str) -> None:
    with pytest.raises(econ.BadInput) as caught:
        over(text)
    told = in_our_words(caught.value.problems)
    hits = [p for p in caught.value.problems if p.path.endswith(path) and p.path.startswith("a.toml, line ")]
    assert [p for p in hits if p.value.startswith(got) and rule in p.rule and remedy in p.remedy], told
    paths = [p.path for p in caught.value.problems]
    assert len(set(paths)) == len(paths), told


CASES: list[tuple[dict[Any, Any], str, str, str, str]] = [
    # of a case: what is laid over a sound one, the path, what was got, words of the rule, words of the remedy
    ({"machine": {}}, "machine.class", "nothing", "required", "add class"),
    ({"complaint": ["drips"]}, "complaint", '["drips"]', "not permitted", 'did you mean "complaints"'),
    ({"terms": {"shop_rat": "9.00"}}, "terms.shop_rat", '"9.00"', "not permitted", '"shop_rate"'),
    ({"machine": {"class": "small", "rusty": 1}}, "machine.rusty", "1", "true or false", "write true"),
    ({"machine": {"class": "small", "age_years": "5"}}, "machine.age_years", '"5"', "a number", "without quotation"),
    ({"machine": {"class": "small", "age_years": math.nan}}, "machine.age_years", "nan", "finite", "leave it out"),
    ({"machine": {"class": "small", "age_years": -1}}, "machine.age_years", "-1", "equal to 0", "0 or more"),
    ({"machine": {"class": "small", "age_years": 900}}, "machine.age_years", "900", "equal to 80", "80 or less"),
    ({"machine": {"class": "small", "hours": 1e9}}, "machine.hours", "1000000000.0", "equal to 50000", "50000 or less"),
    ({"machine": {"class": "small", "name": "x" * 201}}, "machine.name", '"xxx', "at most 200", "shorten"),
    ({"machine": {"class": "small", "condition": "godo"}}, "machine.condition", '"godo"', "one of restored", '"good"'),
    ({"machine": {"class": "Small!"}}, "machine.class", '"Small!"', "small letters", 'write "small"'),
    ({"machine": 3}, "machine", "3", "names with their values", "write each name"),
    ({"findings": {}}, "findings", "{}", "a list in [ ]", "write it in [ ]"),
    ({"market": {"comparables": []}}, "market.comparables", "[]", "at least 5", "add 5"),
    ({"two_way": ["a", "b", "c"]}, "two_way", '["a", "b", "c"]', "at most 2", "leave out 1"),
    ({"history": {f"f{i}": "a" for i in range(70)}}, "history", '{"f0"', "at most 60", "leave out 10"),
    ({"history": 5}, "history", "5", "names with their values", "write each name"),
    ({"history": {"care": 5}}, "history.care", "5", "must be text", "quotation marks"),
    ({"history": {"care": {"level": "good", "reliable": 2}}}, "history.care.reliable", "2", "equal to 1", "1 or less"),
    ({"history": {"care": {"levl": "good"}}}, "history.care.levl", '"good"', "not permitted", '"level"'),
    ({"history": {"Care": "good"}}, "history.Care", '"Care"', "small letters", 'write "care"'),
    ({"terms": {"hours_per_year": 0}}, "terms.hours_per_year", "0", "greater than 0", "above 0"),
    ({"terms": {"shop_rate": "-95.00"}}, "terms.shop_rate", '"-95.00"', "equal to 0", "0 or more"),
    ({"terms": {"shop_rate": 95}}, "terms.shop_rate", "95", "text of digits", 'write "95.00"'),
    ({"terms": {"shop_rate": None, "tax_rate": None}}, "terms.tax_rate", "null", "a number", "write a number"),
    ({"price_revision": 1.5}, "price_revision", "1.5", "a whole number", "such as 12"),
    ({"as_of": "2026-02-30"}, "as_of", '"2026-02-30"', "no such day", "month"),
    ({"as_of": "10.04.2026"}, "as_of", '"10.04.2026"', "a day is text", "year, month and day"),
    ({1: 2}, "1", "1", "a name is text", "quotation marks"),
]


@pytest.mark.parametrize(("change", "path", "got", "rule", "remedy"), CASES, ids=[f"{m[1]}: {m[2]}" for m in CASES])
def test_of_a_case(change: dict[Any, Any], path: str, got: str, rule: str, remedy: str) -> None:
    found = small.problems({"perspective": "owner", "machine": {"class": "small"}, **change})
    if path == "as_of" and got == '"2026-02-30"':
        assert [p.remedy for p in found] == ["correct the month or the day"]
    else:
        in_our_words(found)
    told = [p.sentence() for p in found]
    hits = [p for p in found if p.path == path and p.value.startswith(got)]
    assert [p for p in hits if rule in p.rule and remedy in p.remedy], told


def _schema_kinds(node: Any, found: set[str]) -> set[str]:
    """Return the kinds of checks in a schema of pydantic."""
    if isinstance(node, dict):
        found.add(str(node.get("type")))
        found |= {
            "finite_number" if k == "allow_inf_nan" else k
            for k in ("gt", "ge", "lt", "le", "pattern", "allow_inf_nan", "multiple_of", "max_digits", "decimal_places")
            if node.get(k) is not None
        }
        for value in node.values():
            _schema_kinds(value, found)
    elif isinstance(node, list | tuple):
        for value in node:
            _schema_kinds(value, found)
    return found


CHECKED = {  # every kind of check whose errors have words in econ.misfits, or that has no errors of its own
    "gt", "ge", "lt", "le", "pattern", "finite_number", "str", "float", "int", "bool", "tuple", "dict", "literal",
    "model", "model-fields", "model-field", "default", "nullable", "union", "definitions", "definition-ref", "decimal",
    "function-before", "function-after", "function-plain", "with-info", "no-info", "date", "any", "None",
}  # fmt: skip


@pytest.mark.parametrize(
    "kind", [*dict.fromkeys(KINDS.values()), ModuleHead, OverlayHead, Case], ids=lambda k: k.__name__
)
def test_no_model_checks_in_a_way_that_has_no_words(kind: type[BaseModel]) -> None:
    """A check of a new kind needs words in econ.misfits, and a case above that provokes it."""
    assert _schema_kinds(kind.__pydantic_core_schema__, set()) <= CHECKED


def test_each_kind_of_error_that_has_words_is_provoked_above(monkeypatch: pytest.MonkeyPatch) -> None:
    provoked = set()
    told = misfits._told
    monkeypatch.setattr(misfits, "_told", lambda error, kind: provoked.add(error["type"]) or told(error, kind))
    for text in (m[0] for m in RULEBOOK):
        with pytest.raises(econ.BadInput):
            over(text)
    for change in (m[0] for m in CASES):
        assert small.problems({"perspective": "owner", "machine": {"class": "small"}, **change})
    special = {"value_error", "missing", "extra_forbidden", "literal_error", "string_pattern_mismatch"}
    assert provoked == set(WORDS) | special
    assert provoked <= set(get_args(core_schema.ErrorType))


ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.sampled_from(["small", "good"]),
    lambda x: (
        st.lists(x, max_size=3) | st.dictionaries(st.sampled_from(["a", "class", "check", "level"]), x, max_size=2)
    ),
    max_leaves=5,
)


@given(st.dictionaries(st.sampled_from(sorted(Case.model_fields)), ANY, min_size=1, max_size=4))
@settings(max_examples=300, deadline=None)
def test_whatever_stands_in_a_case_is_told_in_our_words(change: dict[str, Any]) -> None:
    found = small.problems({"perspective": "owner", "machine": {"class": "small"}, **change})
    for p in found:
        told = f"{p.rule} {p.remedy}"
        for words in OURS:
            told = told.replace(words, "")
        assert not [x for x in FOREIGN if x in told], p
        assert OTHER[0] not in p.rule


def test_of_a_rulebook() -> None:
    broken = small.MODULE.replace("prior = 0.2", "prior = 2", 1).replace("price = [10, 20, 30]", "price = [3, 2, 1]")
    broken = broken.replace('title = "oil"\n', "")
    with pytest.raises(econ.BadInput) as caught:
        read_class(small.texts(broken, small.CLASS.replace("weight_kg = 20", "weight = 20")), "small")
    told = in_our_words(caught.value.problems)
    assert 'class.weight: got 20; this name is not permitted here. did you mean "weight_kg"' in told
    assert "parts.bearing.price: got [3, 2, 1]; price must rise: low <= likely <= high. write [1, 2, 3]." in told


def test_of_the_question_what_a_part_is_worth() -> None:
    document = {"machine": {"class": "small"}, "component": {"part_price": 14, "hours": "1", "lif": 2, "failures": 3}}
    with pytest.raises(econ.BadInput) as caught:
        read_question(document, small.TODAY, econ.Shelf(small.texts()))
    told = in_our_words(caught.value.problems)
    assert "component.part_price: got 14; " in told
    assert {p.path for p in caught.value.problems} >= {f"component.{k}" for k in ("hours", "lif", "failures")}


def test_a_head_whose_classes_are_not_there_gives_no_false_alarm() -> None:
    with pytest.raises(econ.BadInput) as caught:
        over(SEAL + "price = [1, 2, 3]\n", a='classes = ["smal"]\n')
    assert [p.path for p in caught.value.problems] == ["a.toml, line 5: overlay.classes"]


def test_a_faulty_head_hides_nothing_below_it() -> None:
    body = SEAL.replace("seal", "seel") + GAUGE + "leak = [0, 0]\n" + "[add.tools.x]\nprice = 'x'\nsource = 'x y'\n"
    head = HEAD.format("a").replace('title = "a"\n', "").replace('id = "a"', "id = 3")
    with pytest.raises(econ.BadInput) as caught:
        econ.Shelf(small.texts(), {"a.toml": head + body})
    in_our_words(caught.value.problems)
    assert [p.path for p in caught.value.problems] == [
        "a.toml, line 1: overlay.title",
        "a.toml, line 2: overlay.id",
        "a.toml, line 4: change.parts.seel",
        "a.toml, line 8: change.checks.gauge.leak.0",
        "a.toml, line 8: change.checks.gauge.leak.1",
        "a.toml, line 9: add.tools.x.title",
        "a.toml, line 10: add.tools.x.price",
    ]


def test_a_name_that_is_not_there_is_told_beside_figures_that_do_not_fit() -> None:
    body = SEAL + "price = [3, 2, 1]\n[change.faults.seal]\nshows = { nothing_such = [0.5] }\nsource = 'x y'\n"
    body += (
        "[add.faults.lonely]\ntitle = 'lonely'\nprior = 0.1\nservice_loss = 0.5\nas_is_share = 0.5\nsource = 'x y'\n"
    )
    with pytest.raises(econ.BadInput) as caught:
        over(body)
    assert [p.path for p in caught.value.problems] == [
        "a.toml, line 7: change.parts.seal.price",
        "a.toml, line 9: change.faults.seal.shows.nothing_such",
        "a.toml, line 11: add.faults.lonely",
    ]
    assert caught.value.problems[1].remedy.startswith("known: ")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ((1.0, 2.0), "[1.0, 2.0]"),
        (date(2026, 1, 2), "2026-01-02"),
        (Decimal("9.50"), '"9.50"'),
        ({"a": (True, None)}, '{"a": [true, null]}'),
        ("a\nb", '"a?b"'),
        (list(range(10_000)), "[" + ", ".join(map(str, range(26))) + ", 2..."),
    ],
)
def test_a_value_is_shown_as_a_document_writes_it(value: object, text: str) -> None:
    assert shown(value)[:40] == text[:40]
    assert len(shown(value)) <= 80


def test_a_value_of_many_levels_is_cut() -> None:
    deep: list[Any] = []
    for _ in range(100_000):
        deep = [deep]
    assert shown(deep) == "[[[[[[...]]]]]]"


def test_only_what_is_close_is_offered() -> None:
    assert nearest("seel", ["seal", "steel_rod"]) == 'did you mean "seal"'
    assert nearest("nothing_such", ["winding_ohms", "spark_test"]) == "known: spark_test, winding_ohms"
    assert nearest("colour", ["source", "title"]) == "known: source, title"
    assert nearest("x", [f"n{i:02}" for i in range(20)]).endswith("n11 and 8 more")


UNREADABLE = [
    ('a = "x\n', 1, "quotation marks"),
    ("a = '''x\n", 1, "close the text"),
    ("a = [1, 2\nb = 3\n", 2, "close the list"),
    ("a = { b = 1\n", 1, "close it with }"),
    ("[a\n", 1, "close the heading"),
    ("[a]\n[a]\n", 2, "below one heading"),
    ("a = 1\na = 2\n", 2, "same name"),
    ("a = yes\n", 1, "true or false"),
    ("a = 1 2\n", 1, "new line"),
    ("a\n", 1, "key = value"),
    ('a = "c:\\x"\n', 1, "'...'"),
    ("a = " + "9" * 5000, 1, "shorter"),
    ("a = " + "[" * 100_000, 1, "leave some out"),
]


@pytest.mark.parametrize(("text", "line", "remedy"), UNREADABLE, ids=[m[0][:12] for m in UNREADABLE])
def test_text_that_is_no_toml(text: str, line: int, remedy: str) -> None:
    problem = parse("x.toml", text)
    assert isinstance(problem, Problem)
    assert problem.path == "x.toml"
    assert remedy in problem.remedy, problem
    assert f"line {line} " in problem.rule or "levels" in problem.rule, problem


TEXT = """\
[overlay]
id = "x"

[change.parts]
seal = { price = [1, 2, 3] }
"oil".price = [1,
  2, 3]
[[operations.strip.complications]]
hours = [1, 2, 3]
[[operations.strip.complications]]
hours = [1, 2, 3]
"""


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("overlay", 1), ("overlay.id", 2), ("overlay.title", 1), ("change", 4), ("change.parts.seal.price.0", 5),
        ("change.parts.oil.price", 6), ("operations.strip.complications.0.hours", 9),
        ("operations.strip.complications.1.hours.2", 11), ("operations.strip.complications.1.title", 10),
        ("faults.x", None), ("change.faults", None),
    ],
)  # fmt: skip
def test_line_of_a_name(name: str, line: int | None) -> None:
    assert tomllib.loads(TEXT)
    assert line_of(TEXT, name) == line
