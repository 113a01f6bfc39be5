"""First station: a case document in, a checked and frozen case out.

A case is one machine, its history, complaint, findings, prices and the terms of whoever decides. All problems of a
document are reported together: the shape of each field here, and the names that must be in the machine class's
rulebook in `names.py`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    TypeAdapter,
    ValidationError,
    WithJsonSchema,
)

from econ.misfits import Misfit, misfits
from econ.money import DIGITS
from econ.problems import Problem, nearest, shown

MONEY_PATTERN = r"^-?[0-9]{1,9}(\.[0-9]{1,3})?$"
SAID_NOTHING = ("not_done", "not_sure")  # outcomes that are no finding


def _money(value: object) -> object:
    if not isinstance(value, str) or not re.fullmatch(MONEY_PATTERN, value):
        rule = 'an amount is text of digits in the case\'s one currency, such as "380.00"'
        number = isinstance(value, int | float) and abs(value) < 10**9
        remedy = f'write "{value:.2f}"' if number else "write it so, in quotation marks"
        raise Misfit(rule, f"{remedy}, or leave it out if it is not known")
    return Decimal(value)


def _day(value: object) -> object:
    if not isinstance(value, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        raise Misfit('a day is text such as "2026-04-10"', "write year, month and day so, in quotation marks")
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise Misfit("the calendar has no such day", "correct the month or the day") from None


AnyMoney = Annotated[Decimal, BeforeValidator(_money), WithJsonSchema({"type": "string", "pattern": MONEY_PATTERN})]
Money = Annotated[
    Decimal,
    BeforeValidator(_money),
    Field(ge=0),
    WithJsonSchema({"type": "string", "pattern": MONEY_PATTERN.replace("-?", "")}),
]
Day = Annotated[date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]
Share = Annotated[float, Field(ge=0, le=1)]
Id = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[a-z0-9_]+$")]
Text = Annotated[str, Field(max_length=200)]
Item = TypeVar("Item")
Many = Annotated[tuple[Item, ...], Strict(False)]  # JSON arrays; what is in them stays strict


class Frozen(BaseModel):
    """A checked value: no unknown fields, no text for numbers, no NaN, no change afterwards."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Machine(Frozen):
    """The machine itself."""

    machine_class: Id = Field(alias="class", description="id of the machine class")
    use: Literal["residential", "commercial"] = "residential"
    age_years: float | None = Field(None, ge=0, le=80, description="age [years]")
    hours: float | None = Field(None, ge=0, le=50_000, description="hours on the machine [h]")
    life_hours: float | None = Field(
        None, ge=10, le=50_000, description="hours by which half of such machines are past repair [h]"
    )
    condition: Literal["restored", "good", "fair", "poor"] = "fair"
    new_price: Money | None = Field(None, ge=1, description="price of an equivalent new machine, without tax")
    rusty: bool = Field(False, description="fasteners are rusty: complications are likelier")
    name: Text | None = Field(None, description="how people call it")
    serial_number: Text | None = None
    model_verified: bool = Field(True, description="model number read off the machine, so that parts are ordered by it")
    blade_length_mm: float | None = Field(None, ge=50, le=3_000, description="tip to tip [mm]")
    engine_rpm: float | None = Field(None, ge=100, le=20_000, description="governed speed, measured [1/min]")


class Report(Frozen):
    """A history fact as somebody told it."""

    level: Id
    reliable: Share = Field(1.0, description="chance that the report is true; else the fact counts as unknown")


class Finding(Frozen):
    """The recorded outcome of one check; give one of outcome, reading or found."""

    check: Id
    outcome: Id | None = Field(None, description="an outcome of the check, or not_done, or not_sure")
    reading: float | None = Field(None, ge=0, description="a measured figure in the check's unit")
    found: Many[Id] | None = Field(None, description="opening checks: the hidden faults seen")
    by: Text | None = None
    on: Day | None = None


class PriorJob(Frozen):
    """A job done before on this machine, perhaps under warranty."""

    job: Id
    months_ago: float = Field(ge=0, le=600)
    warranty_months: float | None = Field(None, ge=0, le=600, description="covered for; none: not known")
    covers: Many[Literal["parts", "labour"]] = ("parts", "labour")


class Tools(Frozen):
    """Special tools, beyond common hand tools."""

    owned: Many[Id] = ()
    cannot_get: Many[Id] = ()


class MarkupTier(Frozen):
    """Parts mark-up for unit costs up to a limit."""

    up_to: Money | None = Field(None, description="highest unit cost of the tier; none for the last")
    rate: float = Field(ge=0, le=5)


Taxable = Literal["labour", "parts", "supplies", "fees"]


class Terms(Frozen):
    """Terms of whoever decides; what is left out takes the stated default of the terms rulebook."""

    horizon_years: float | None = Field(None, ge=0.5, le=30)
    real_rate: float | None = Field(None, ge=0, le=1, description="real discount rate [1/year]")
    hemisphere: Literal["north", "south"] = "north"
    work_by: Literal["self", "shop"] | None = Field(None, description="who does the work")
    hour_worth: Money | None = Field(None, description="worth of one's own hour [money/h]")
    bench_hour_worth: Money | None = Field(
        None, description="worth of one's own hour at the bench, where it is scarce; hour_worth if left out [money/h]"
    )
    slowness: float | None = Field(None, ge=0.5, le=10, description="own hours per hour of the book [1]")
    shop_rate: Money | None = Field(None, description="labour rate [money/h]")
    hours_factor: float = Field(1.0, ge=0.1, le=10, description="hours of the work over those of the book [1]")
    billing_step_hours: float | None = Field(None, ge=0, le=4)
    minimum_charge: Money = Decimal(0)
    parts_markup: Many[MarkupTier] = Field((), max_length=12)
    supplies_rate: Share = Field(0.0, description="shop supplies, share of labour")
    supplies_cap: Money | None = None
    diagnosis_fee: Money = Decimal(0)
    diagnosis_credited: bool = Field(True, description="fee credited when the repair is done")
    deposit: Money = Decimal(0)
    pickup_delivery: Money = Decimal(0)
    card_fee_rate: float = Field(0.0, ge=0, le=0.2)
    disposal_fee: Money = Field(Decimal(0), description="oil, fuel and waste")
    storage_per_day: Money = Decimal(0)
    storage_free_days: float = Field(0.0, ge=0, le=3_650)
    storage_days: float = Field(0.0, ge=0, le=3_650)
    tax_rate: float = Field(0.0, ge=0, le=1)
    taxable: Many[Taxable] = ("labour", "parts", "supplies", "fees")
    tax_inclusive: bool = False
    mechanic_wage: Money | None = Field(None, description="shop: wage of a bench hour [money/h]")
    queue_weeks: float | None = Field(None, ge=0, le=104)
    parts_lead_days: float | None = Field(None, ge=0, le=730)
    parts_shipping: Money = Field(Decimal(0), description="shipping of one parts order")
    return_loss: Share | None = Field(None, description="share of a part's price lost when it goes back")
    wrong_part_chance: Share | None = Field(
        None, description="chance that parts ordered without a model number are wrong"
    )
    replacement_days: float | None = Field(None, ge=0, le=730, description="days to get a replacement")
    replacement_delivery: Money = Decimal(0)
    downtime_per_week: Money | None = Field(None, description="cost of a week without it, in season")
    do_without_per_year: Money | None = Field(None, description="cost of hiring or doing without for a year")
    upkeep_rate: float | None = Field(None, ge=0, le=1, description="upkeep, share of new price a year")
    upkeep_growth: float | None = Field(None, ge=0, le=1, description="its rise over a median life")
    hours_per_year: float | None = Field(None, gt=0, le=8_760, description="own use [h/year]")
    as_is_steepness: float | None = Field(
        None, gt=0, le=8, description="exponent on the share of the price that disclosed faults leave"
    )
    selling_fee_rate: Share | None = None
    selling_cost: Money = Decimal(0)
    selling_hours: float | None = Field(None, ge=0, le=100)
    cleaning_hours: float | None = Field(None, ge=0, le=100)
    holding_per_week: Money = Decimal(0)
    unsold_chance: Share | None = None


class Comparable(Frozen):
    """A machine of the same kind seen for sale."""

    price: Money
    age_years: float = Field(ge=0, le=80)
    condition: Literal["restored", "good", "fair", "poor"] = "fair"


class Market(Frozen):
    """What the market pays; what is left out is estimated and said so."""

    running: Money | None = Field(None, description="price of this machine if it ran as it should")
    as_is: Money | None = Field(None, description="price of this machine with its complaint disclosed")
    part_out: Money | None = Field(None, description="proceeds of selling its sound parts")
    scrap: AnyMoney | None = Field(None, description="scrap proceeds; negative where disposal costs")
    used_price: Money | None = Field(None, description="price of a comparable used machine")
    used_age_years: float | None = Field(None, ge=0, le=80)
    comparables: Many[Comparable] = Field(
        (), min_length=5, max_length=1_000, description="machines of the same kind seen for sale, five or more"
    )


class Find(Frozen):
    """A machine not bought yet."""

    asking_price: Money | None = None
    travel_cost: Money = Decimal(0)
    travel_hours: float = Field(0.0, ge=0, le=100)


class Case(Frozen):
    """One machine, its history, complaint, findings, prices and the terms of whoever decides."""

    perspective: Literal["owner", "shop", "reseller"] = Field(description="whose money is counted")
    currency: Annotated[str, WithJsonSchema({"type": "string", "enum": sorted(DIGITS)})] = "USD"
    as_of: Day | None = Field(None, description="day of the decision; sets the season")
    machine: Machine
    history: dict[Id, Id | Report] = Field(default_factory=dict, max_length=60)
    complaints: Many[Id] = Field((), max_length=20)
    findings: Many[Finding] = Field((), max_length=100)
    wanted: Many[Id] = Field((), max_length=8, description="extra jobs the owner would like")
    prior_jobs: Many[PriorJob] = Field((), max_length=20)
    recalled_jobs: Many[Id] = Field((), max_length=20, description="jobs a recall pays for")
    tools: Tools = Tools()
    terms: Terms = Terms()
    market: Market = Market()
    find: Find = Find()
    prices: dict[Id, Money] = Field(default_factory=dict, max_length=500, description="unit cost by part id")
    listed_as: dict[Id, Annotated[str, Field(min_length=1, max_length=100)]] = Field(
        default_factory=dict, max_length=500, description="which part of the price book is meant, by part id"
    )
    price_revision: int | None = Field(None, ge=1, description="revision of the price book; the newest if left out")
    unobtainable: Many[Id] = Field((), max_length=50, description="parts that can't be had")
    spent_so_far: Money = Field(Decimal(0), description="shown and excluded")
    two_way: Many[Text] = Field((), max_length=2, description="two inputs to lay against each other")


_ADAPTER: TypeAdapter[Case] = TypeAdapter(Case)


def read_shape(document: object) -> tuple[Case | None, tuple[Problem, ...]]:
    """Check the shape of a case document.

    document: what JSON gave. Returns the case (None where it has problems) and all problems found.
    """
    if not isinstance(document, Mapping):
        return None, (Problem("case", shown(document), "a case is a JSON object", "see docs/case.md"),)
    problems: list[Problem] = []
    currency = document.get("currency", "USD")
    if not isinstance(currency, str) or currency not in DIGITS:
        problems.append(
            Problem("currency", shown(currency), "a known ISO 4217 code", nearest(str(currency).upper(), DIGITS))
        )
    try:
        case = _ADAPTER.validate_python(document)
    except ValidationError as error:
        found = misfits(error, Case, lambda path: path or "case")
        return None, (*problems, *(p for p in found if p.path != "currency"))
    for i, finding in enumerate(case.findings):
        given = [finding.outcome, finding.reading, finding.found]
        if sum(x is not None for x in given) != 1:
            problems.append(
                Problem(
                    f"findings.{i}",
                    f"{sum(x is not None for x in given)} of outcome, reading, found",
                    "a finding has exactly one of outcome, reading or found",
                    'give the one that was seen, or outcome "not_done"',
                )
            )
    tiers = [t.up_to for t in case.terms.parts_markup]
    limits = [t for t in tiers if t is not None]
    if None in tiers[:-1] or limits != sorted(limits):
        rule = "tiers rise, and only the last may have no limit"
        problems.append(Problem("terms.parts_markup", shown([str(t) for t in tiers]), rule, "put them in order"))
    return (None if problems else case), tuple(problems)


def case_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a case document."""
    return Case.model_json_schema(by_alias=True)
