"""Overlays: what they add and change, what they leave alone, and every way they are refused."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

import econ
from econ.draft import SHELVES
from econ.rulebook import MachineClass

from ..strategies import CLASS_IDS, SHELF, base, decide, defaults, machine_class, rulebook_texts
from . import small

HEAD = '[overlay]\nid = "{0}"\ntitle = "{0}"\nsource = "invented {0}"\n'


def over(*bodies: str, own: dict[str, str] | None = None, **heads: str) -> econ.Shelf:
    """Return the small class with overlays a.toml, b.toml and so on laid over; heads: more of the head of each."""
    texts = {f"{n}.toml": HEAD.format(n) + heads.get(n, "") + body for n, body in zip("abc", bodies, strict=False)}
    return econ.Shelf(small.texts(), texts, own)


def refused(*bodies: str, own: dict[str, str] | None = None, **heads: str) -> list[econ.Problem]:
    with pytest.raises(econ.BadInput) as caught:
        over(*bodies, own=own, **heads)
    assert all(p.remedy and p.value for p in caught.value.problems)
    return list(caught.value.problems)


SMALL = econ.Shelf(small.texts())["small"]
PRICE = '[change.parts.seal]\nprice = [12, 14, 16]\nsource = "an invoice"\n'
FAULT = """
[add.faults.foot]
title = "cracked foot"
prior = 0.1
service_loss = 0.2
as_is_share = 0.9
shows = { feet = [0.1] }
source = "our own"
[add.checks.feet]
title = "look at its feet"
outcomes = ["whole", "cracked"]
leak = [0.99]
source = "our own"
[add.jobs.foot_job]
title = "new foot"
operations = ["strip"]
clears = ["foot"]
source = "our own"
"""


def test_a_price_changed_by_hand() -> None:
    """The one table differs, in the one figure, and says whose it is; a repair with it costs that much more."""
    c, before = over(PRICE)["small"], econ.Shelf(small.texts())["small"]
    assert c.parts["seal"].price == (12, 14, 16)
    assert c.parts["seal"].source == "an invoice (overlay a: price); else invented"
    assert {**c.parts, "seal": before.parts["seal"]} == before.parts
    assert all(getattr(c, shelf) == getattr(before, shelf) for shelf in SHELVES if shelf != "parts")
    (laid,) = c.laid
    assert (laid.id, laid.file, laid.source, laid.added) == ("a", "a.toml", "invented a", ())
    assert [(n.name, n.before, n.after) for n in laid.changed] == [("parts.seal.price", "[10, 10, 10]", "[12, 14, 16]")]


def test_the_answer_names_the_overlay_it_rests_on() -> None:
    document = base("small", complaints=["drips"])
    case, c = econ.read_case(document, over(PRICE, FAULT), small.TODAY)
    told = {a.name: a for a in econ.decide(case, c, defaults()).assumptions}
    assert told["overlay.a"].value == "changes parts.seal.price"
    assert told["overlay.a"].source == "invented a"
    assert told["overlay.b"].value == "adds faults.foot, checks.feet, jobs.foot_job"
    assert "(overlay a: price)" in told["price.seal"].source
    assert not [a for a in small.decide(complaints=["drips"]).assumptions if a.name.startswith("overlay")]


def test_a_summary_counts_what_it_does_not_name() -> None:
    body = "".join(f'[add.tools.t{n}]\ntitle = "t"\nprice = 1\nsource = "x y"\n' for n in range(14))
    (laid,) = over(body)["small"].laid
    assert laid.summary() == "adds " + ", ".join(f"tools.t{n}" for n in range(12)) + " and 2 more"


def test_what_is_added_takes_part() -> None:
    """By hand: prior 0.1; it cracks with 1 - 0.1 x 0.99 where the fault is, with 0.01 where it is not."""
    case, c = econ.read_case(
        base("small", complaints=["drips"], findings=[{"check": "feet", "outcome": "cracked"}]),
        over(FAULT),
        small.TODAY,
    )
    faults = {f.id: f.probability for f in econ.decide(case, c, defaults()).faults}
    assert faults["foot"] == pytest.approx(0.1 * 0.901 / (0.1 * 0.901 + 0.9 * 0.01), rel=1e-9)


def test_rows_are_changed_one_by_one() -> None:
    body = '[change.faults.seal]\nshows = { gauge = [0.1, 0.2] }\nsource = "job cards"\n'
    assert over(body)["small"].faults["seal"].shows == {"drips": (0.2,), "gauge": (0.1, 0.2)}


def test_figures_of_the_class() -> None:
    body = """
[change.class]
new_price = [500, 500, 500]
new_price_source = "a catalogue"
[change.life.residential]
median_hours = 300
median_hours_source = "job cards"
[change.season]
downtime = [0, 0, 0, 1, 1, 1, 1, 1, 1, 0, 0, 0]
source = "our own"
[change.value]
rate = 0.2
source = "our sales"
[add.life.commercial]
hours_per_year = 100
hours_per_year_source = "our own"
median_hours = 400
median_hours_source = "our own"
"""
    c = over(body)["small"]
    assert (c.about.new_price, c.about.new_price_source) == ((500, 500, 500), "a catalogue (overlay a)")
    assert c.about.source == "invented"
    assert (c.life["residential"].median_hours, c.life["commercial"].median_hours) == (300, 400)
    assert (c.season.downtime[0], c.value.rate) == (0, 0.2)
    assert len(c.laid[0].changed) == 4


def test_an_overlay_may_change_what_another_adds_in_any_order() -> None:
    body = '[change.faults.foot]\nprior = 0.3\nsource = "learned"\n'
    for bodies in ((FAULT, body), (body, FAULT)):
        assert over(*bodies)["small"].faults["foot"].prior == 0.3


def toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value)


def restated(name: str, table: BaseModel) -> str:
    """Return a change that says again all that a table holds, defaults too, under another source."""
    figures = table.model_dump(exclude_none=True)
    figures |= {k: "said again" for k in figures if k.endswith("source")}
    return f"[change.{name}]\n" + "".join(
        f"{k} = {toml(v)}\n" for k, v in figures.items() if k not in ("id", "modules")
    )


def all_tables(c: MachineClass) -> dict[str, BaseModel]:
    found = {f"{shelf}.{key}": table for shelf in (*SHELVES, "life") for key, table in getattr(c, shelf).items()}
    return found | {"class": c.about, "value": c.value, "season": c.season}


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_an_overlay_that_changes_no_value_changes_nothing(class_id: str) -> None:
    """Every table of every class said again under another source: the same class, to the last word."""
    tables = all_tables(machine_class(class_id))
    text = HEAD.format("a") + f'classes = ["{class_id}"]\n' + "\n".join(restated(n, t) for n, t in tables.items())
    c = econ.Shelf(rulebook_texts(), {"a.toml": text})[class_id]
    assert c == machine_class(class_id)


@given(st.data())
@settings(max_examples=4, deadline=None)
def test_an_overlay_that_changes_no_value_changes_no_byte(data: st.DataObject) -> None:
    class_id = data.draw(st.sampled_from(CLASS_IDS))
    tables = all_tables(machine_class(class_id))
    names = data.draw(st.lists(st.sampled_from(sorted(tables)), unique=True, max_size=30))
    text = HEAD.format("a") + f'classes = ["{class_id}"]\n' + "\n".join(restated(n, tables[n]) for n in names)
    document = base(class_id, complaints=[data.draw(st.sampled_from(sorted(machine_class(class_id).complaints)))])
    case, c = econ.read_case(document, econ.Shelf(rulebook_texts(), {"a.toml": text}), small.TODAY)
    assert repr(econ.decide(case, c, defaults())) == repr(decide(document))


@pytest.mark.slow
@given(st.data())
@settings(max_examples=15, deadline=None)
def test_overlays_reach_every_class_they_are_for_in_any_order(data: st.DataObject) -> None:
    """Random prices by one overlay and hours by another: those and no others, whichever is named first."""
    chosen = data.draw(st.lists(st.sampled_from(CLASS_IDS), unique=True, min_size=1))
    parts = sorted({p for i in chosen for p in machine_class(i).parts})
    steps = sorted({o for i in chosen for o in machine_class(i).operations})
    prices, hours = (
        data.draw(st.dictionaries(st.sampled_from(names), three.map(sorted), min_size=1, max_size=4))
        for names, three in (
            (parts, st.lists(st.integers(1, 400), min_size=3, max_size=3)),
            (steps, st.lists(st.integers(1, 400), min_size=3, max_size=3)),
        )
    )
    head = f"classes = {json.dumps(chosen)}\n"
    tables = {
        "a.toml": "".join(f'[change.parts.{p}]\nprice = {x}\nsource = "x y"\n' for p, x in prices.items()),
        "b.toml": "".join(f'[change.operations.{o}]\nhours = {x}\nsource = "x y"\n' for o, x in hours.items()),
    }
    texts = {file: HEAD.format(file[0]) + head + body for file, body in tables.items()}
    one = econ.Shelf(rulebook_texts(), texts)
    other = econ.Shelf(rulebook_texts(), dict(reversed(texts.items())))
    for i in CLASS_IDS:
        before = machine_class(i)
        for p, part in before.parts.items():
            assert one[i].parts[p].price == (tuple(prices[p]) if i in chosen and p in prices else part.price)
        for o, step in before.operations.items():
            assert one[i].operations[o].hours == (tuple(hours[o]) if i in chosen and o in hours else step.hours)
        assert one[i].parts == other[i].parts
        assert sorted(x.id for x in one[i].laid) == sorted(x.id for x in other[i].laid)


REFUSED = [
    # what is wrong, the text, the line and key named, words of the reason
    ("an id that is not there", PRICE.replace("seal", "seel"), "a.toml, line 5: change.parts.seel", "nothing of this"),
    (
        "no source",
        PRICE.replace("source", "# source"),
        "a.toml, line 5: change.parts.seal",
        "every figure has a source",
    ),
    ("a price that falls", PRICE.replace("16", "1"), "a.toml, line 6: change.parts.seal.price", "price must rise"),
    ("text for a number", PRICE.replace("12", '"12"'), "a.toml, line 6: change.parts.seal.price.0", "number"),
    ("an unknown key", PRICE.replace("price", "pric"), "a.toml, line 6: change.parts.seal.pric", "not permitted"),
    ("an unknown shelf", PRICE.replace("parts", "part"), "a.toml, line 5: change.part", "no such shelf"),
    ("an unknown part", "[chance.parts]\n", "a.toml, line 5: chance", "an overlay holds"),
    ("a figure for a table", "[change]\nparts = 3\n", "a.toml, line 6: change.parts", "a shelf holds tables"),
    ("an id that is taken", FAULT.replace("foot]", "seal]", 1), "a.toml, line 6: add.faults.seal", "is taken"),
    ("an id of large letters", FAULT.replace("foot]", "Foot]", 1), "a.toml, line 6: add.faults.Foot", "small letters"),
    ("a fault without a job", FAULT.partition("[add.jobs")[0], "a.toml, line 6: add.faults.foot", "no job clears"),
    ("a prior above 1", FAULT.replace("0.1\n", "1.1\n", 1), "a.toml, line 8: add.faults.foot.prior", "less than 1"),
    (
        "a row too long",
        FAULT.replace("[0.1]", "[0.1, 0.2]"),
        "a.toml, line 11: add.faults.foot.shows",
        "one figure few",
    ),
    ("a check unknown", FAULT.replace("{ feet", "{ feets"), "a.toml, line 11: add.faults.foot.shows", "no such check"),
    (
        "no source of what is added",
        FAULT.replace('source = "our own"', "", 1),
        "a.toml, line 6: add.faults.foot",
        "req",
    ),
    ("the modules", '[change.class]\nmodules = ["small"]\nsource = "x y"\n', "change.class.modules", "leaves the id"),
    ("the id", '[change.class]\nid = "large"\nsource = "x y"\n', "a.toml, line 6: change.class.id", "leaves the id"),
    ("a class added", '[add.class]\ntitle = "x"\n', "a.toml, line 5: add.class", "no such shelf"),
    ("a new price without its source", "[change.class]\nnew_price = [1, 2, 3]\n", "change.class", "a source"),
    ("a use that is none", "[add.life.farm]\nhours_per_year = 1\n", "add.life.farm", "no such use"),
    ("unreadable text", "[change.parts\nx = 1\n", "a.toml", "line 5"),
    ("no unreadable head", 'classes = "small"\n', "a.toml, line 5: overlay.classes", "this must be a list"),
    ("an unknown class", 'classes = ["smal"]\n', "a.toml, line 5: overlay.classes", "no such machine class"),
    ("no class", "classes = []\n", "a.toml, line 5: overlay.classes", "at least 1"),
]


@pytest.mark.parametrize(("text", "path", "reason"), [m[1:] for m in REFUSED], ids=[m[0] for m in REFUSED])
def test_refused(text: str, path: str, reason: str) -> None:
    found = refused(text)
    assert [p for p in found if path in p.path and reason in p.rule], [p.sentence() for p in found]


LOOSE = st.recursive(
    st.sampled_from([0, -1, 0.5, True, "", "seal", "x y", [], [1, 2, 3], [0.2], [[1]], ["seal"]]),
    lambda inner: st.dictionaries(st.sampled_from(["source", "price", "shows", "gauge", "life", "title"]), inner),
    max_leaves=4,
)


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_whatever_stands_in_an_overlay_it_is_read_or_refused(data: st.DataObject) -> None:
    """Tables that are there and not, keys that are there and not, values of every kind: no other error."""
    lines = []
    for verb in data.draw(st.lists(st.sampled_from(["add", "change"]), unique=True, min_size=1)):
        shelves = data.draw(st.lists(st.sampled_from([*SHELVES, "class", "value", "life", "none"]), unique=True))
        for shelf in shelves:
            there = sorted(getattr(SMALL, shelf, {})) if shelf in SHELVES else []
            key = data.draw(st.sampled_from([*there, "residential", "new", ""]))
            name = f"{verb}.{shelf}.{key}" if key else f"{verb}.{shelf}"
            known = sorted({k for kind in SHELVES.values() for k in kind.model_fields} | {"modules", "id", "x"})
            figures = data.draw(st.dictionaries(st.sampled_from(known), LOOSE, max_size=4))
            lines.append(f"[{name}]\n" + "".join(f"{k} = {toml(v)}\n" for k, v in figures.items()))
    problems: tuple[econ.Problem, ...] = ()
    try:
        c = over("\n".join(lines))["small"]
    except econ.BadInput as error:
        problems = error.problems
    else:
        assert c.laid or replace(c, laid=()) == SMALL
    assert all(p.path and p.value and p.rule and p.remedy for p in problems)


@pytest.mark.parametrize("part", ["add", "change"])
def test_what_holds_no_tables_is_refused(part: str) -> None:
    with pytest.raises(econ.BadInput, match=rf"a\.toml, line 1: {part}: got 3; this holds tables"):
        econ.Shelf(small.texts(), {"a.toml": f"{part} = 3\n" + HEAD.format("a")})


def test_the_nearest_name_is_offered() -> None:
    (problem,) = refused(PRICE.replace("seal", "seel"))
    assert problem.remedy == 'did you mean "seal"'
    assert any('"price"' in p.remedy for p in refused(PRICE.replace("price", "pric")))


def test_a_life_with_a_source_of_its_own() -> None:
    lives = small.MODULE.replace(
        "designation =", 'life = { median_years = 5, shape = 2, source = "x y" }\ndesignation ='
    )
    body = '[change.parts.bearing]\nlife = { median_years = 9%s }\nsource = "job cards"\n'

    def shelf(more: str) -> econ.Shelf:
        return econ.Shelf(small.texts(lives), {"a.toml": HEAD.format("a") + body % more})

    changed = shelf(', source = "returns"')["small"].parts["bearing"].life
    assert changed is not None
    assert (changed.median_years, changed.shape, changed.source) == (9, 2, "returns (overlay a)")
    with pytest.raises(econ.BadInput, match=r"add life\.source"):
        shelf("")


def test_all_mistakes_of_all_overlays_are_told_at_once() -> None:
    found = refused(PRICE.replace("16", "1"), FAULT.replace("0.1\n", "7\n", 1), "[nonsense]\n")
    assert [p.path for p in found] == [
        "a.toml, line 6: change.parts.seal.price",
        "b.toml, line 8: add.faults.foot.prior",
        "c.toml, line 5: nonsense",
    ]


@pytest.mark.parametrize(
    ("one", "two", "key"),
    [
        (PRICE, PRICE.replace("14", "15"), "change.parts.seal.price"),
        (PRICE, PRICE, "change.parts.seal.price"),
        (FAULT, FAULT, "add.faults.foot"),
        ("[change.parts]\n" + 'seal = { price = [1, 2, 3], source = "x y" }', PRICE, "change.parts.seal.price"),
    ],
)
def test_overlays_that_clash_are_refused_with_both_named(one: str, two: str, key: str) -> None:
    found = [p for p in refused(one, two) if p.path.startswith("b.toml") and p.path.endswith(key)]
    assert found
    assert all("a.toml" in p.rule for p in found)


def test_overlays_of_one_id_are_refused() -> None:
    with pytest.raises(econ.BadInput, match=r"b\.toml, line 2: overlay\.id: got \"a\"; a\.toml has this id too"):
        econ.Shelf(small.texts(), {"a.toml": HEAD.format("a"), "b.toml": HEAD.format("a")})


def test_overlays_that_change_different_figures_of_a_table_do_not_clash() -> None:
    c = over(PRICE, '[change.parts.seal]\ndesignation = "x"\nsource = "a list"\n')["small"]
    assert (c.parts["seal"].price, c.parts["seal"].designation) == ((12, 14, 16), "x")
    said = "a list (overlay b: designation); else an invoice (overlay a: price); else invented"
    assert c.parts["seal"].source == said


def test_overlays_for_different_classes_do_not_clash() -> None:
    other = {"classes/large.toml": small.CLASS.replace('id = "small"', 'id = "large"', 1)}
    shelf = over(PRICE, PRICE.replace("14", "15"), own=other, a='classes = ["small"]\n', b='classes = ["large"]\n')
    assert shelf["small"].parts["seal"].price == (12, 14, 16)
    assert shelf["large"].parts["seal"].price == (12, 15, 16)


def test_a_change_applies_in_the_classes_that_have_the_table() -> None:
    part = 'title = "pad"\nprice = [1, 1, 1]\nsource = "x y"\n'
    other = {"classes/large.toml": small.CLASS.replace('id = "small"', 'id = "large"', 1) + f"[parts.pad]\n{part}"}
    shelf = over('[change.parts.pad]\nprice = [2, 2, 2]\nsource = "x y"\n', own=other)
    assert shelf["large"].parts["pad"].price == (2, 2, 2)
    assert shelf["small"] == econ.Shelf(small.texts())["small"]


def test_a_mistake_in_one_of_several_classes_says_in_which() -> None:
    other = {"classes/large.toml": small.CLASS.replace('id = "small"', 'id = "large"', 1) + "[tools.vice]\n"}
    other["classes/large.toml"] += 'title = "vice"\nprice = 1\nsource = "x y"\n'
    body = '[change.operations.strip]\ntools = ["vice"]\nsource = "x y"\n'
    (problem,) = refused(body, own=other)
    assert problem.path == "a.toml, line 6: change.operations.strip.tools"
    assert problem.rule.endswith("(in small)")


def test_what_no_longer_fits_in_a_file_that_ships_names_the_overlay() -> None:
    body = (
        '[change.checks.gauge]\noutcomes = ["good", "poor"]\nleak = [0.9]\nreading = { bands = [10] }\nsource = "x y"\n'
    )
    found = refused(body)
    assert {p.path.partition(": ")[0] for p in found} == {"modules/small.toml"}
    assert all(p.rule.endswith("with a.toml laid over it") for p in found)


def test_a_class_of_the_shops_own() -> None:
    large = small.CLASS.replace('id = "small"', 'id = "large"', 1)
    shelf = econ.Shelf(small.texts(), {}, {"classes/large.toml": large})
    assert list(shelf) == ["large", "small"]
    assert shelf["large"].parts == shelf["small"].parts
    (problem,) = refused(own={"modules/small.toml": small.MODULE})
    assert "there already" in problem.rule
    (problem,) = refused(own={"classes/large.toml": large.replace("weight_kg = 20", "weight_kg = -20")})
    assert problem.path == "classes/large.toml, line 8: class.weight_kg"
    (problem,) = refused(own={"classes/large.toml": "[class"})
    assert problem.path == "classes/large.toml"


def test_without_overlays_classes_are_read_when_asked_for_and_once() -> None:
    texts = {**rulebook_texts(), "classes/broken.toml": "["}
    shelf = econ.Shelf(texts)
    assert shelf[CLASS_IDS[0]] is shelf[CLASS_IDS[0]]
    assert shelf[CLASS_IDS[0]] == SHELF[CLASS_IDS[0]]
    with pytest.raises(econ.BadInput):
        shelf["broken"]
    with pytest.raises(KeyError):
        shelf["none"]


def test_each_text_is_parsed_once_and_when_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    parsed = []
    monkeypatch.setattr(
        econ.draft, "parse", lambda name, text, read=econ.draft.parse: parsed.append(name) or read(name, text)
    )
    shelf = econ.Shelf(rulebook_texts())
    assert shelf["chain_saw"].id == "chain_saw"
    assert len(parsed) < len(rulebook_texts()) * 0.6
    assert [shelf[i].id for i in shelf] == list(CLASS_IDS)
    assert sorted(parsed) == sorted(set(rulebook_texts()) - {"terms.toml"})
