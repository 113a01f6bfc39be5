"""A small invented machine class whose every figure can be followed by hand, as rulebook texts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import econ
from econ.case import Case
from econ.costing import Bench, make_bench
from econ.rulebook import MachineClass
from econ.terms import Terms, settle

from ..strategies import TODAY, rulebook_texts

MODULE = """
[module]
id = "small"
title = "small machine"
source = "invented"

[facts.care]
title = "care"
question = "How was it kept?"
levels = ["good", "bad"]
weights = [0.5, 0.5]
source = "invented"

[faults.seal]
title = "leaking seal"
prior = 0.2
service_loss = 0.5
claim_chance = 1.0
as_is_share = 0.5
factors = { care = [0.5, 2.0] }
shows = { drips = [0.2], gauge = [0.3, 0.6] }
source = "invented"

[faults.bearing]
title = "rough bearing"
prior = 0.2
service_loss = 1.0
claim_chance = 1.0
as_is_share = 0.5
factors = { care = [0.5, 2.0] }
shows = { gauge = [0.5, 0.9] }
source = "invented"

[faults.rod]
title = "galled rod"
hidden = true
prior = 0.1
service_loss = 1.0
fatal_chance = 1.0
claim_chance = 1.0
as_is_share = 0.1
shows = { gauge = [0.0, 0.2] }
source = "invented"

[faults.something_else]
title = "something else"
prior = 0.05
service_loss = 0.5
as_is_share = 0.5
shows = { drips = [0.9], gauge = [0.9, 0.95] }
source = "invented"

[faults.rope]
title = "tired rope"
wear = true
service_loss = 0.1
as_is_share = 0.9
source = "invented"

[checks.drips]
title = "look under it"
complaint = true
outcomes = ["dry", "drips"]
leak = [1.0]
source = "invented"

[checks.gauge]
title = "measure it"
outcomes = ["good", "fair", "poor"]
leak = [0.9, 1.0]
reading = { unit = "%", bands = [10, 20] }
minutes = 5
source = "invented"

[checks.open]
title = "open it"
reveals = ["rod"]
operations = ["strip"]
source = "invented"

[checks.scope]
title = "look inside with a borescope"
reveals = ["rod"]
source = "invented"

[complaints.drips]
title = "drips"
check = "drips"
outcome = "drips"
source = "invented"

[operations.strip]
title = "strip it"
hours = [0.5, 0.5, 0.5]
parts = [{ part = "oil", quantity = 0.5 }]
source = "invented"
[[operations.strip.complications]]
title = "snapped bolt"
chance = 0.1
rusty_factor = 3.0
hours = [1, 1, 1]
parts = [{ part = "bolt", quantity = 2 }]

[operations.fit_seal]
title = "fit the seal"
hours = [0.2, 0.2, 0.2]
source = "invented"

[operations.press]
title = "press the bearing"
hours = [0.4, 1.0, 1.6]
tools = ["press"]
source = "invented"

[operations.test_run]
title = "test run"
hours = [0.1, 0.1, 0.1]
source = "invented"

[operations.trace_fault]
title = "trace the fault"
hours = [0.25, 0.25, 0.25]
source = "invented"

[jobs.seal_job]
title = "renew the seal"
operations = ["strip", "fit_seal"]
parts = [{ part = "seal", quantity = 1 }]
clears = ["seal"]
source = "invented"

[jobs.bearing_job]
title = "renew the bearing"
operations = ["strip", "press"]
parts = [{ part = "bearing", quantity = 2 }]
clears = ["bearing"]
also_clears = ["seal"]
source = "invented"

[jobs.exchange]
title = "exchange the unit"
operations = ["strip"]
parts = [{ part = "unit", quantity = 1 }]
clears = ["seal", "bearing", "rod", "something_else"]
source = "invented"

[jobs.rope_job]
title = "fit a rope"
operations = ["strip"]
parts = [{ part = "rope", quantity = 1 }]
clears = ["rope"]
extra = true
source = "invented"

[parts.oil]
title = "oil"
price = [8, 8, 8]
consumable = true
source = "invented"

[parts.bolt]
title = "bolt"
price = [2, 2, 2]
source = "invented"

[parts.seal]
title = "seal"
price = [10, 10, 10]
source = "invented"

[parts.bearing]
title = "bearing"
price = [10, 20, 30]
designation = "6203"
source = "invented"

[parts.unit]
title = "unit"
price = [150, 150, 150]
source = "invented"

[parts.rope]
title = "rope"
price = [4, 4, 4]
source = "invented"

[tools.press]
title = "press"
price = 60
hire = 15
source = "invented"

[holds.drips]
title = "it drips"
why = "it is slippery"
opened_by = [{ check = "drips", outcome = "drips" }]
cleared_by = ["seal_job", "exchange"]
source = "invented"

[cautions.manual]
text = "the maker's manual comes first"
source = "invented"

[release_checks.dry]
title = "dry after a run"
source = "invented"
"""

CLASS = """
[class]
id = "small"
title = "small machine"
modules = ["small"]
new_price = [400, 400, 400]
new_price_source = "invented"
weight_kg = 20
weight_source = "invented"
release_checks = ["dry"]
cautions = ["manual"]
source = "invented"

[life.residential]
hours_per_year = 25
hours_per_year_source = "invented"
median_hours = 250
median_hours_source = "invented"

[value]
method = "geometric"
rate = 0.15
source = "invented"
part_out_share = 0.1
part_out_hours = 1
part_out_source = "invented"

[season]
resale = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]
days_to_sell = [10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10]
downtime = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]
source = "invented"
"""


def texts(module: str = MODULE, machine: str = CLASS) -> dict[str, str]:
    return {
        "modules/small.toml": module,
        "classes/small.toml": machine,
        "terms.toml": rulebook_texts()["terms.toml"],
    }


def without_holds(module: str = MODULE) -> str:
    """Return the module without its hold, for cases about something else."""
    before, _, after = module.partition("[holds.drips]")
    return before + "[cautions" + after.partition("[cautions")[2]


def read(
    module: str = MODULE, machine: dict[str, Any] | None = None, **fields: Any
) -> tuple[Case, MachineClass, Terms]:
    document = {"perspective": "owner", "machine": {"class": "small", "age_years": 5.0, **(machine or {})}, **fields}
    case, c = econ.read_case(document, econ.Shelf(texts(module)), TODAY)
    return case, c, settle(case, c, econ.read_defaults(texts()))


def bench_of(module: str = MODULE, **fields: Any) -> tuple[Bench, MachineClass]:
    case, c, terms = read(module, **fields)
    return make_bench(case, c, terms), c


def decide(module: str = MODULE, **fields: Any) -> econ.Decision:
    case, c, _ = read(module, **fields)
    return econ.decide(case, c, econ.read_defaults(texts()))


def problems(document: Any, rulebooks: Mapping[str, str] | None = None) -> list[econ.Problem]:
    """Return the problems reading a document gives; none where it is read."""
    try:
        econ.read_case(document, econ.Shelf(rulebooks or texts()), TODAY)
    except econ.BadInput as error:
        return list(error.problems)
    return []
