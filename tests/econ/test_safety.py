"""Holds: every one in the shipped rulebooks, opened by each of its openers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

import pytest

import econ
from econ.findings import hear, open_holds
from econ.money import to_decimal
from econ.setting import _unusable
from econ.weighing import believe

from ..strategies import CLASS_IDS, ELECTRIC, QUICK_IDS, base, decide, defaults, machine_class, read, weighed

OPENERS = [
    (class_id, hold, opener)
    for class_id in CLASS_IDS
    for hold, figures in machine_class(class_id).holds.items()
    for opener in figures.opened_by
]


def opened(class_id: str, opener: object, outcome: str | None = None) -> dict:
    """Return a case in which a hold is opened; perspective and the rest are plain."""
    if opener.fact is not None:
        return base(class_id, complaints=["low_power"], history={opener.fact: opener.level})
    if opener.fault is not None:
        checks = machine_class(class_id).checks
        look = next(i for i, check in checks.items() if opener.fault in check.reveals)
        return base(class_id, complaints=["low_power"], findings=[{"check": look, "found": [opener.fault]}])
    return base(
        class_id, complaints=["low_power"], findings=[{"check": opener.check, "outcome": outcome or opener.outcome}]
    )


def each(openers: list) -> list:
    """Return openers to run over; a decision of a class beyond the quick ones is made in the long run only."""
    return [
        pytest.param(
            i, h, o, id=f"{i}-{h}-{o.check or o.fact or o.fault}", marks=() if i in QUICK_IDS else pytest.mark.slow
        )
        for i, h, o in openers
    ]


@dataclass(frozen=True)
class Told:
    """What is held back: holds; of each course its kind, why it is barred, its jobs and its worth; the best."""

    holds: set[str]
    courses: dict[str, tuple[str, str, tuple[str, ...], Decimal]]
    best: str


def answered(case: econ.Case, c: econ.MachineClass) -> Told:
    """Return what the whole answer tells."""
    found = econ.decide(case, c, defaults())
    courses = {x.course: (x.kind, x.barred or "", x.jobs, x.net_worth) for x in found.courses}
    return Told({line.id for line in found.holds}, courses, found.verdict.course)


def kernel(case: econ.Case, c: econ.MachineClass) -> Told:
    """Return what is weighed for an answer."""
    found = weighed(case, c)
    jobs = found.weighed.bench.jobs
    courses = {
        i: (x.kind, x.barred, tuple(jobs[j] for j in x.jobs), to_decimal(x.worth, case.currency))
        for i, x in found.courses.items()
    }
    return Told(set(found.believed.holds), courses, found.best)


def held_back(tell: Callable[[econ.Case, econ.MachineClass], Told], class_id: str, hold: str, opener: object) -> None:
    """Hold what is told of a case in which a hold is opened against what is so of every hold."""
    c = machine_class(class_id)
    document = opened(class_id, opener)
    found = tell(*read(document))
    assert hold in found.holds
    ((_, barred, *_),) = (x for x in found.courses.values() if x[0] == "keep_using")
    assert barred
    assert found.best != "keep_using"
    clearing = set(c.holds[hold].cleared_by)
    repairs = [jobs for kind, _, jobs, _ in found.courses.values() if kind == "repair"]
    assert repairs
    assert {i for i, (_, barred, *_) in found.courses.items() if not barred} & {"replace_used", "replace_new"}

    if c.holds[hold].by_cause:
        return  # whatever causes it fails the test run, which every repair ends with
    assert all(clearing & set(jobs) for jobs in repairs)

    # Where no clearing job can be done, here for want of a tool that nothing else needs, no repair can.
    stuck = tell(*without_tool(document, clearing))
    assert [i for i, (kind, barred, *_) in stuck.courses.items() if kind == "repair" and not barred] == []
    assert not stuck.best.startswith("repair")
    assert stuck.best != "keep_using"


@pytest.mark.parametrize(("class_id", "hold", "opener"), each(OPENERS))
def test_hold(class_id: str, hold: str, opener: object) -> None:
    held_back(kernel, class_id, hold, opener)


@pytest.mark.slow
@pytest.mark.parametrize(("class_id", "hold", "opener"), each(OPENERS))
def test_hold_in_the_whole_answer(class_id: str, hold: str, opener: object) -> None:
    """It tells what was weighed."""
    case, c = read(opened(class_id, opener))
    assert answered(case, c) == kernel(case, c)


@pytest.mark.slow
@pytest.mark.parametrize(("class_id", "hold", "opener"), each(OPENERS))
def test_every_hold_in_the_whole_answer(class_id: str, hold: str, opener: object) -> None:
    held_back(answered, class_id, hold, opener)


def without_tool(document: dict, jobs: set[str]) -> tuple[econ.Case, econ.MachineClass]:
    """Return the case and a class in which these jobs, and no others, need a tool that can't be had."""
    case, c = read(document)
    operation = next(iter(c.operations.values())).model_copy(update={"tools": ("rare_tool",)})
    tool = next(iter(c.tools.values()))
    changed = replace(
        c,
        tools={**c.tools, "rare_tool": tool},
        operations={**c.operations, "rare_operation": operation},
        jobs={
            i: job.model_copy(update={"operations": (*job.operations, "rare_operation")}) if i in jobs else job
            for i, job in c.jobs.items()
        },
    )
    return case.model_copy(update={"tools": case.tools.model_copy(update={"cannot_get": ("rare_tool",)})}), changed


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_a_worse_outcome_opens_the_hold_too_and_a_better_one_does_not(class_id: str) -> None:
    for i, hold, opener in OPENERS:
        if i != class_id or opener.check is None:
            continue
        outcomes = machine_class(class_id).checks[opener.check].outcomes
        for k, outcome in enumerate(outcomes):
            case, c = read(opened(class_id, opener, outcome))
            held = open_holds(case, c, hear(case, c).worst, {})
            assert (hold in held) == (k >= outcomes.index(opener.outcome)), (hold, outcome)


@pytest.mark.parametrize(("class_id", "hold", "opener"), each([x for x in OPENERS if x[2].fact]))
def test_doubtful_report_opens_the_hold(class_id: str, hold: str, opener: object) -> None:
    """A tampered governor, or a guard tied, that somebody only thinks they saw still stops the machine."""
    report = {opener.fact: {"level": opener.level, "reliable": 0.2}}
    found = believe(*read(base(class_id, complaints=["low_power"], history=report)), {})
    assert set(found.holds) == {hold}


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_what_every_class_holds_back(class_id: str) -> None:
    """A fuel leak or bad pack, new vibration; a governor or guard made useless; what does not stop or stand still."""
    holds = machine_class(class_id).holds
    own = {"pack_damaged", "overheats"} if class_id in ELECTRIC else {"fuel_leak"}
    assert own | {"vibration"} <= set(holds)
    assert {"governor_tampered", "guard_defeated"} & set(holds)
    assert any(i.endswith("does_not_stop") for i in holds)


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_a_hold_that_no_job_is_laid_down_for_is_put_right_by_its_cause(class_id: str) -> None:
    """Where a sign opens it, some fault shows the sign, and jobs that clear it clear such a fault."""
    c = machine_class(class_id)
    for i, hold in c.holds.items():
        for opener in hold.opened_by:
            if opener.check is None or not hold.by_cause:
                continue
            causes = {f for f, fault in c.faults.items() if opener.check in fault.shows}
            assert causes, (i, opener)
            assert any(causes & set(c.jobs[j].cleared) for j in hold.cleared_by), (i, opener)


PERSPECTIVES = ("owner", "shop", "reseller")


@pytest.mark.parametrize(
    ("class_id", "perspective"),
    [  # of the quick classes one each
        pytest.param(i, p, marks=() if (i, p) in zip(QUICK_IDS, PERSPECTIVES, strict=True) else pytest.mark.slow)
        for i in CLASS_IDS
        for p in PERSPECTIVES
    ],
)
def test_every_answer_defers_to_the_maker(class_id: str, perspective: str) -> None:
    found = decide(base(class_id, perspective=perspective, complaints=["will_not_start"]))
    text = " ".join(line.text for line in found.cautions).lower()
    for words in ("maker's manual", "local codes", "licensed practice"):
        assert words in text
    assert all(line.source for line in (*found.cautions, *found.holds, *found.release_checks))
    assert found.release_checks


def test_a_finding_does_not_erase_the_hold_of_a_complaint() -> None:
    """The blade was said not to stop; that it stops on the bench does not clear the hold."""
    for class_id in ("mower_walk_behind", "mower_blade_clutch"):
        seen = [{"check": "blade_stopping", "outcome": "stops"}]
        found = decide(base(class_id, complaints=["blade_does_not_stop"], findings=seen))
        assert "blade_does_not_stop" in {line.id for line in found.holds}
        assert found.verdict.course != "keep_using"


def test_ruin_that_was_seen_can_not_be_kept_in_use() -> None:
    """A crankshaft found bent opens its hold (common practice: never run it)."""
    seen = [{"check": "open_crankcase", "found": ["crank_bent"]}]
    found = decide(base("mower_blade_clutch", complaints=["pulls_hard"], findings=seen))
    assert "crank_bent" in {line.id for line in found.holds}
    assert found.verdict.course != "keep_using"


NOT_HANDED_BACK = [  # class, check, outcome, hold that it opens, a job that does not cure it, where one was named [1]
    ("pressure_washer", "oil_smell", "fuel", "fuel_in_oil", "carburettor_clean"),
    ("mower_walk_behind", "oil_smell", "fuel", "fuel_in_oil", "oil_reset"),
    ("generator_portable", "oil_look", "metal", "metal_in_oil", "gasket_job"),
    ("chain_saw", "throttle_look", "sticks", "throttle_sticks", ""),
    ("chain_saw", "line_look", "cracked", "fuel_line_cracked", "carburettor_new"),
    ("chain_saw", "primer_look", "cracked", "primer_cracked", "fuel_line_job"),
    ("chain_saw", "tensioner_look", "stripped_or_broken", "tensioner_stripped", "tension_job"),
    ("chain_saw", "brake_band_look", "worn", "chain_brake_band", "chain_brake_clean"),
    ("leaf_blower", "exhaust_look", "loose_or_cracked", "muffler_loose", "exhaust_job"),
    ("leaf_blower", "housing_look", "cracked", "fan_housing_cracked", "fan_clear"),
    ("leaf_blower", "fan_look", "cracked_or_chipped", "fan_cracked", "fan_tighten"),
    ("string_trimmer", "head_look", "cracked_or_parts_missing", "head_cracked", "head_clear"),
    ("string_trimmer", "mount_look", "torn_or_soft", "mounts_torn", ""),
    ("log_splitter", "rod_look", "bent_or_binding", "rod_bent", "cylinder_reseal"),
    ("mower_walk_behind", "stop_wire_test", "open", "stop_wire_open", "stop_cable_job"),
    ("mower_walk_behind", "stop_cable_look", "sticks_or_slack", "stop_cable", "stop_wire_job"),
    ("mower_walk_behind", "brake_look", "worn_through", "flywheel_brake_worn", "brake_set"),
    ("mower_battery", "plug_look_drive", "brown_or_melted", "connector_burnt", ""),
    ("mower_battery", "fold_look", "chafed", "wire_chafed", ""),
    ("mower_ride_on", "blade_brake_look", "worn_glazed_or_clear", "blade_brake_worn", ""),
    ("mower_ride_on", "sector_look", "worn_or_broken", "steering_gear_bad", "tie_rod_job"),
    ("generator_portable", "winding_ohms", "down_to_frame", "winding_to_frame", "earth_job"),
    ("pressure_washer", "unloader_look", "stuck_or_cut", "unloader_sticks", ""),
    ("snow_thrower_two_stage", "auger_cable_look", "stiff", "auger_cable_stiff", "auger_cable_adjust"),
    ("chipper_shredder", "hammer_look", "worn_or_broken", "hammers_broken", ""),
    ("chipper_shredder", "guard_look", "missing_or_tied", "guard_missing", ""),
    ("water_pump", "guard_look", "loose_or_cracked", "guard_defeated", ""),
]


@pytest.mark.parametrize(("class_id", "check", "outcome", "hold", "no_cure"), NOT_HANDED_BACK)
def test_what_no_repairer_hands_back(class_id: str, check: str, outcome: str, hold: str, no_cure: str) -> None:
    """Each opens a hold of its own, cleared by nothing but what cures it (common practice)."""
    case, c = read(base(class_id, findings=[{"check": check, "outcome": outcome}]))
    assert hold in open_holds(case, c, hear(case, c).worst, {})
    if no_cure:
        assert no_cure in c.jobs
        assert no_cure not in c.holds[hold].cleared_by


STANDS = [  # class, check, outcome with which it can't be used whatever the cause
    ("generator_portable", "wrench_turn", "stuck"),
    ("mower_walk_behind", "wrench_turn", "stuck"),
    ("mower_walk_behind", "plug_out_pull", "locked"),
    ("tiller_rear_tine", "plug_out_pull", "locked"),
    ("chain_saw", "spark_test", "none"),
    ("mower_battery", "pack_voltage", "none"),
    ("mower_ride_on", "drive", "none"),
]


@pytest.mark.parametrize(("class_id", "check", "outcome"), STANDS)
def test_what_stands_still_is_not_kept_in_use(class_id: str, check: str, outcome: str) -> None:
    """A finding stops it as a complaint does; what is believed stays as it was, and so does the milder outcome."""
    seen = base(class_id, perspective="shop", findings=[{"check": check, "outcome": outcome}])
    case, c = read(seen)
    found = econ.decide(case, c, defaults())
    (keep,) = (x for x in found.courses if x.kind == "keep_using")
    assert outcome.replace("_", " ") in keep.barred
    assert found.verdict.course != "keep_using"
    without = replace(c, checks={i: x.model_copy(update={"unusable_from": None}) for i, x in c.checks.items()})
    assert hear(case, without) == hear(case, c)
    assert _unusable(case, without, hear(case, without), ()) == ""
    outcomes = c.checks[check].outcomes
    milder, _ = read(base(class_id, findings=[{"check": check, "outcome": outcomes[outcomes.index(outcome) - 1]}]))
    assert _unusable(milder, c, hear(milder, c), ()) == ""


def test_a_machine_that_starts_now_may_be_kept() -> None:
    """The finding stands for the complaint about the same thing; it is named once where both say so."""
    told = {"complaints": ["will_not_start"]}
    case, c = read(base("tiller_rear_tine", **told))
    assert _unusable(case, c, hear(case, c), ()) == "will not start"
    case, _ = read(base("tiller_rear_tine", **told, findings=[{"check": "starting", "outcome": "will_not_start"}]))
    assert _unusable(case, c, hear(case, c), ()) == "will not start"
    case, _ = read(base("tiller_rear_tine", **told, findings=[{"check": "starting", "outcome": "starts"}]))
    assert _unusable(case, c, hear(case, c), ()) == ""


@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_what_a_complaint_stops_a_finding_of_the_same_stops_too(class_id: str) -> None:
    c = machine_class(class_id)
    for i, complaint in c.complaints.items():
        check = c.checks[complaint.check]
        stops = check.unusable_from is not None and check.outcomes.index(complaint.outcome) >= check.outcomes.index(
            check.unusable_from
        )
        assert complaint.unusable == stops, i
