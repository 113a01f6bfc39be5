"""Rulebooks: every kind of mistake is refused by file, key and reason; all that ship load and say their sources."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

import econ
from econ.costing import make_bench
from econ.draft import SHELVES
from econ.knowledge import Table
from econ.rulebook import read_class
from econ.terms import settle

from ..strategies import CLASS_IDS, ELECTRIC, ENGINES, base, defaults, machine_class, read, rulebook_texts
from . import small
from .small import CLASS, MODULE

FILE = "modules/small.toml"


def refusals(module: str = MODULE, machine: str = CLASS) -> list[econ.Problem]:
    with pytest.raises(econ.BadInput) as caught:
        read_class(small.texts(module, machine), "small")
    return list(caught.value.problems)


def changed(old: str, new: str) -> dict[str, str]:
    """Return the module or the class with a figure changed; the text must be there."""
    where = "module" if old in MODULE else "machine"
    text = MODULE if old in MODULE else CLASS
    assert old in text
    return {where: text.replace(old, new, 1)}


def test_the_small_class_is_sound() -> None:
    assert read_class(small.texts(), "small").id == "small"


MISTAKES = [
    # what is wrong, old text, new text, key named, words of the reason
    ("probability above 1", "prior = 0.2", "prior = 1.2", "faults.seal.prior", "less than 1"),
    ("probability of 0", "prior = 0.2", "prior = 0.0", "faults.seal.prior", "greater than 0"),
    ("text for a number", "prior = 0.2", 'prior = "0.2"', "faults.seal.prior", "number"),
    ("NaN", "prior = 0.2", "prior = nan", "faults.seal.prior", "finite"),
    ("no prior", "prior = 0.2\n", "", "faults.seal", "prior is missing"),
    ("unknown key", "prior = 0.2", "prior = 0.2\nprobability = 1", "faults.seal.probability", "not permitted"),
    ("unknown shelf", "[cautions.manual]", "[caution.manual]", "caution", "no such shelf"),
    ("shows out of order", "gauge = [0.3, 0.6]", "gauge = [0.6, 0.3]", "faults.seal", "must not fall"),
    ("shows too short", "gauge = [0.3, 0.6]", "gauge = [0.3]", "faults.seal.shows.gauge", "one figure fewer"),
    ("shows an unknown check", "gauge = [0.3, 0.6]", "guage = [0.3, 0.6]", "faults.seal.shows.guage", "no such check"),
    ("leak out of order", "leak = [0.9, 1.0]", "leak = [1.0, 0.9]", "checks.gauge", "must not fall"),
    ("leak too short", "leak = [0.9, 1.0]", "leak = [0.9]", "checks.gauge", "one figure fewer"),
    ("weights not 1", "weights = [0.5, 0.5]", "weights = [0.5, 0.4]", "facts.care", "sum to 1"),
    ("too few factors", "care = [0.5, 2.0]", "care = [0.5]", "faults.seal.factors.care", "one factor per level"),
    (
        "a fact that is not there",
        "care = [0.5, 2.0]",
        "cair = [0.5, 2.0]",
        "faults.seal.factors",
        "nothing of this name",
    ),
    ("hours falling", "hours = [0.4, 1.0, 1.6]", "hours = [1.6, 1.0, 0.4]", "operations.press", "hours must rise"),
    ("price falling", "price = [10, 20, 30]", "price = [30, 20, 10]", "parts.bearing", "price must rise"),
    ("negative hours", "hours = [0.4, 1.0, 1.6]", "hours = [-1, 1.0, 1.6]", "operations.press.hours", "greater than"),
    (
        "an unknown operation",
        '["strip", "press"]',
        '["strip", "pres"]',
        "jobs.bearing_job.operations",
        "nothing of this",
    ),
    ("an unknown part", 'part = "seal"', 'part = "seel"', "jobs.seal_job.parts", "nothing of this name"),
    ("an unknown tool", 'tools = ["press"]', 'tools = ["pres"]', "operations.press.tools", "nothing of this name"),
    ("a job clears nothing known", 'clears = ["seal"]', 'clears = ["seel"]', "jobs.seal_job.clears", "nothing of this"),
    ("extra for a real fault", 'clears = ["rope"]', 'clears = ["seal"]', "jobs.rope_job.clears", "wear faults only"),
    ("a visible fault revealed", 'reveals = ["rod"]', 'reveals = ["seal"]', "checks.open.reveals", "only hidden"),
    (
        "unusable from a normal outcome",
        "leak = [0.9, 1.0]",
        'leak = [0.9, 1.0]\nunusable_from = "good"',
        "checks.gauge.unusable_from",
        "abnormal outcome",
    ),
    (
        "unusable from no outcome of the check",
        "leak = [0.9, 1.0]",
        'leak = [0.9, 1.0]\nunusable_from = "dead"',
        "checks.gauge.unusable_from",
        "abnormal outcome",
    ),
    ("a normal outcome complained of", 'outcome = "drips"', 'outcome = "dry"', "complaints.drips", "abnormal"),
    (
        "a hold cleared by no such job",
        '["seal_job", "exchange"]',
        '["sealing"]',
        "holds.drips.cleared_by",
        "nothing of",
    ),
    (
        "a hold opened by a normal outcome",
        'opened_by = [{ check = "drips", outcome = "drips" }]',
        'opened_by = [{ check = "drips", outcome = "dry" }]',
        "holds.drips.opened_by",
        "abnormal",
    ),
    (
        "a hold opened by half a rule",
        'opened_by = [{ check = "drips", outcome = "drips" }]',
        'opened_by = [{ check = "drips" }]',
        "holds.drips.opened_by",
        "check and outcome",
    ),
    (
        "a life of none",
        "designation = ",
        "life = { median_years = 0, shape = 2, source = 'x y' }\ndesignation = ",
        "parts.bearing.life.median_years",
        "greater than",
    ),
    (
        "a life without a source",
        "designation = ",
        "life = { median_years = 5, shape = 2 }\ndesignation = ",
        "parts.bearing.life.source",
        "required",
    ),
    (
        "a consumable with a life",
        "consumable = true",
        "life = { median_years = 5, shape = 2, source = 'x y' }\nconsumable = true",
        "parts.oil",
        "no life",
    ),
    (
        "an unknown root cause",
        'clears = ["seal"]',
        'root_causes = ["rodd"]\nclears = ["seal"]',
        "jobs.seal_job.root_causes",
        "nothing of this name",
    ),
    (
        "a root cause that the job clears",
        'clears = ["seal"]',
        'root_causes = ["seal"]\nclears = ["seal"]',
        "jobs.seal_job.root_causes",
        "that the job leaves",
    ),
    (
        "a root cause seen by looking",
        'clears = ["seal"]',
        'root_causes = ["rope"]\nclears = ["seal"]',
        "jobs.seal_job.root_causes",
        "with a prior",
    ),
    (
        "root causes of a part without a life",
        'clears = ["seal"]',
        'root_causes = ["rod"]\nclears = ["seal"]',
        "jobs.seal_job.root_causes",
        "a part with a life",
    ),
    ("no test run", "[operations.test_run]", "[operations.test_ran]", "operations", "nothing of this name"),
    ("a module that is not there", 'modules = ["small"]', 'modules = ["smal"]', "class.modules", "no such module"),
    ("eleven months", "resale = [1, ", "resale = [", "season.resale", "12"),
    ("an unknown method", 'method = "geometric"', 'method = "linear"', "value.method", "geometric"),
    ("no life", "[life.residential]", "[life.commercial]", "life", "residential"),
    ("unreadable text", "[facts.care]", "[facts.care", "small.toml", "TOML"),
]


@pytest.mark.parametrize(("old", "new", "key", "reason"), [m[1:] for m in MISTAKES], ids=[m[0] for m in MISTAKES])
def test_mistake(old: str, new: str, key: str, reason: str) -> None:
    texts = changed(old, new)
    file = FILE if "module" in texts else "classes/small.toml"
    found = refusals(**texts)
    hits = [p for p in found if key in p.path and reason in p.rule]
    assert hits, [p.sentence() for p in found]
    assert any(file in p.path or "classes/small.toml" in p.path for p in hits)
    assert all(p.remedy for p in found)


def test_a_fault_without_a_job() -> None:
    found = refusals(MODULE.replace('clears = ["seal", "bearing", "rod", "something_else"]', 'clears = ["seal"]'))
    assert {p.path.split(": ")[1] for p in found if "no job clears" in p.rule} == {
        "faults.rod",
        "faults.something_else",
    }


def test_an_id_taken_twice() -> None:
    (problem,) = refusals(machine=CLASS + '\n[parts.oil]\ntitle = "oil"\nprice = [1, 1, 1]\nsource = "invented"\n')
    assert problem.path == "classes/small.toml: parts.oil"
    assert "taken" in problem.rule


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ('[change.faults.seel]\nprior = 0.1\nsource = "x y"', "nothing of this name"),
        ("[change.faults.seal]\nprior = 0.1", "source"),
        ('[change.faults.seal]\nprior = 7\nsource = "x y"', "less than 1"),
    ],
)
def test_a_change_in_the_class(change: str, rule: str) -> None:
    assert any(
        (rule in p.rule and "seal" in p.path) or "seel" in p.path for p in refusals(machine=f"{CLASS}\n{change}\n")
    )


def test_a_module_may_change_another_and_the_class_has_the_last_word() -> None:
    """Rows within a table are laid over one by one."""
    more = '[module]\nid = "more"\ntitle = "more"\nsource = "x y"\n[change.faults.seal]\nprior = 0.3\n'
    more += 'shows = { drips = [0.4] }\nsource = "of the module"\n'
    both = CLASS.replace('modules = ["small"]', 'modules = ["more", "small"]')
    texts = {**small.texts(machine=both), "modules/more.toml": more}
    seal = read_class(texts, "small").faults["seal"]
    assert (seal.prior, seal.shows, seal.source) == (0.3, {"drips": (0.4,), "gauge": (0.3, 0.6)}, "of the module")
    texts["classes/small.toml"] += '[change.faults.seal]\nprior = 0.4\nsource = "of the class"\n'
    assert read_class(texts, "small").faults["seal"].prior == 0.4
    texts["modules/more.toml"] = more.replace("seal", "seel")
    with pytest.raises(econ.BadInput, match=r"modules/more\.toml: change\.faults\.seel"):
        read_class(texts, "small")


def test_a_class_may_state_coefficients_of_its_remaining_value() -> None:
    value = CLASS.replace('method = "geometric"', 'method = "remaining_value"\ncoefficients = [0.9, 0.1, 0.01]')
    assert read_class(small.texts(machine=value), "small").value.coefficients == (0.9, 0.1, 0.01)


def test_all_mistakes_are_told_at_once() -> None:
    broken = MODULE.replace("prior = 0.2", "prior = 2").replace("price = [10, 20, 30]", "price = [3, 2, 1]")
    paths = [p.path for p in refusals(broken, CLASS.replace('method = "geometric"', 'method = "linear"'))]
    assert len(paths) == 4
    assert {p.split(".toml: ")[1].split(".")[0] for p in paths} == {"faults", "parts", "value"}


def test_an_unknown_class_is_refused_plainly() -> None:
    with pytest.raises(econ.BadInput) as caught:
        read_class(small.texts(), "smal")
    (problem,) = caught.value.problems
    assert '"small"' in problem.remedy


LOOSE = {
    "a shelf that is no table": ("cautions = 1\n" + MODULE.replace("[cautions.manual]", "[tools.manual]"), CLASS),
    "a table that is no table": (MODULE.replace("[tools.press]", "[tools]\nhammer = 3\n[tools.press]"), CLASS),
    "bands out of order": (MODULE.replace("bands = [10, 20]", "bands = [20, 10]"), CLASS),
    "a class that is not its file": (MODULE, CLASS.replace('id = "small"', 'id = "large"')),
    "a check that waits for itself": (MODULE.replace("minutes = 5", 'requires = ["gauge"]'), CLASS),
}


@pytest.mark.parametrize("mistake", LOOSE)
def test_mistake_that_slips_through(mistake: str) -> None:
    assert refusals(*LOOSE[mistake])


def test_every_table_has_a_source() -> None:
    """Each table of each shelf in each file, and the heads and figures of the classes."""
    for name, text in rulebook_texts().items():
        document: dict[str, Any] = tomllib.loads(text)
        shelves = [t for shelf in SHELVES for t in document.get(shelf, {}).items()]
        shelves += [t for shelf in document.get("change", {}).values() for t in shelf.items()]
        heads = [(h, document[h]) for h in ("module", "class", "value", "season") if h in document]
        terms = list(document.items()) if name == "terms.toml" else []
        for key, table in (*shelves, *heads, *terms):
            assert len(table.get("source", "")) > 2, f"{name}: {key}"
        for use, life in document.get("life", {}).items():
            assert life["hours_per_year_source"], f"{name}: life.{use}"
            assert life["median_hours_source"], f"{name}: life.{use}"
            assert "epa_median_years" not in life or life["epa_source"], f"{name}: life.{use}"
        about = document.get("class", {})
        assert all(about[f"{k}_source"] for k in ("new_price", "weight") if about), name


@pytest.mark.parametrize("kind", sorted(SHELVES))
def test_a_table_without_its_source_is_refused(kind: str) -> None:
    assert issubclass(SHELVES[kind], Table)
    head = f"[{kind}."
    before, _, after = MODULE.partition(head)
    assert after
    cut = after.replace('source = "invented"\n', "", 1)
    assert any(p.path.endswith(".source") and kind in p.path for p in refusals(before + head + cut))


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_shipped_class(class_id: str) -> None:
    """It loads, every fault can be told from its absence or seen, and every job can be priced."""
    c = machine_class(class_id)
    for i, fault in c.faults.items():
        seen = any(i in check.reveals for check in c.checks.values())
        assert fault.wear or seen or set(fault.shows) & set(c.checks), i
    case, _ = read(base(class_id, complaints=[next(iter(c.complaints))]))
    bench = make_bench(case, c, settle(case, c, defaults()))
    assert (bench.unit_cost > 0).all()
    assert (bench.op_hours > 0).all()
    assert not bench.barred


USUAL = {  # what machines with an engine are brought in for, whatever they are; of a complaint by several names, one
    "will_not_start", "pulls_hard", "starter_locked", "starts_then_dies", "low_power", "surging", "smokes_blue",
    "smokes_black", "leaks_oil", "leaks_fuel", "vibrates", "knocks",
}  # fmt: skip
USUAL_ELECTRIC = {  # and those driven by a pack
    "will_not_start", "starts_then_dies", "runs_short", "low_power", "will_not_charge", "cuts_out", "vibrates",
    "knocks", "noisy", "smells_hot", "smokes",
}  # fmt: skip
CAUTIONS = {"maker_manual", "spark_lead", "fuel", "carbon_monoxide"}  # of every class with an engine
CAUTIONS_ELECTRIC = {"maker_manual", "pack_out", "pack_short", "pack_never_open"}


ASKED = {"hit_object", "opened_before", "last_ran", "storage"}  # what a repairer asks of any machine
ASKED_FOUR_STROKE = {"oil_care", "ran_low", "tipped_over", "governor"}
ASKED_TWO_STROKE = {"fuel_mix", "mixture_set"}


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_a_class_asks_what_a_repairer_asks(class_id: str) -> None:
    c = machine_class(class_id)
    assert set(c.facts) >= ASKED
    assert c.facts["opened_before"].levels == ("no", "by_a_mechanic", "by_others")
    if class_id in ENGINES:
        assert set(c.facts) >= (ASKED_FOUR_STROKE if "oil_care" in c.facts else ASKED_TWO_STROKE)


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_what_does_not_work_sells_for_clearly_less(class_id: str) -> None:
    """However small the cause: a buyer has only the seller's word for it (judgement)."""
    for name, fault in machine_class(class_id).faults.items():
        if not fault.wear:
            assert fault.as_is_share <= 1 - 0.3 * fault.service_loss + 0.006, name


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_what_drives_or_turns_is_shown_to_stop(class_id: str) -> None:
    """Before it goes back: the control stops the engine, what it drives and the wheels; guards are on."""
    c = machine_class(class_id)
    tests = set(c.about.release_checks)
    if class_id in ENGINES:
        assert "stop_control" in tests
    if "drive" in c.checks:
        assert "drive_stops" in tests
    if "guard_look" in c.checks:
        assert tests & {"guards_in_place", "chain_brake_works", "rotor_run"}


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_a_class_is_no_sketch(class_id: str) -> None:
    """The usual complaints, ten faults and ten checks at least, the cheap looks first to hand, and something to ask."""
    c = machine_class(class_id)
    assert set(c.complaints) >= (USUAL_ELECTRIC if class_id in ELECTRIC else USUAL)
    assert sum(not fault.wear for fault in c.faults.values()) >= 10
    ordinary = [check for check in c.checks.values() if check.outcomes and not check.complaint]
    assert len(ordinary) >= 10
    assert sum(check.minutes <= 5 and not check.operations for check in ordinary) >= 5
    assert any(check.reveals for check in c.checks.values())
    assert len(c.facts) >= 5
    assert any(fault.wear for fault in c.faults.values())
    assert any(trouble.rusty_factor > 1 for o in c.operations.values() for trouble in o.complications)
    assert any(job.root_causes for job in c.jobs.values())
    assert (CAUTIONS_ELECTRIC if class_id in ELECTRIC else CAUTIONS) <= set(c.about.cautions)


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_no_table_of_a_class_is_idle(class_id: str) -> None:
    """Every fact bears on a fault, every operation, part and tool is used, every caution and release check is named.

    Cautions and tools of the modules that every class has, or every class with an engine, may be for others.
    """
    c = machine_class(class_id)
    shared = [
        tomllib.loads(rulebook_texts()[f"modules/{m}.toml"]) for m in ("general", "engine") if m in c.about.modules
    ]
    assert {fact for fault in c.faults.values() for fact in fault.factors} == set(c.facts)
    used = {o for job in c.jobs.values() for o in job.operations}
    used |= {o for check in c.checks.values() for o in check.operations}
    assert set(c.operations) - used - {"test_run", "trace_fault"} == set()
    parts = {q.part for job in c.jobs.values() for q in job.parts}
    parts |= {q.part for o in c.operations.values() for q in o.parts}
    assert set(c.parts) - parts == set()
    named = {x for table in (c.checks, c.jobs) for entry in table.values() for x in entry.cautions}
    assert set(c.cautions) - named - set(c.about.cautions) <= {x for m in shared for x in m["cautions"]}
    tests = {x for job in c.jobs.values() for x in job.release_checks} | set(c.about.release_checks)
    assert set(c.release_checks) - tests == set()
    tools = {x for table in (c.checks, c.operations) for entry in table.values() for x in entry.tools}
    assert set(c.tools) - tools <= {x for m in shared for x in m["tools"]}
