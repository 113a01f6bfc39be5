"""The tables a rulebook is made of, as frozen values: facts, faults, checks, complaints, operations, jobs and the rest.

Every table carries the source of its figures. `rulebook.py` reads them from text and checks them against each other.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    ValidationInfo,
    model_validator,
)

from econ.misfits import Misfit

Item = TypeVar("Item")
Many = Annotated[tuple[Item, ...], Strict(False)]  # TOML arrays; what is in them stays strict
Id = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[a-z0-9_]+$")]
Chance = Annotated[float, Field(ge=0, le=1)]
Hours = Annotated[float, Field(ge=0, le=1000)]  # of one step of work
Minutes = Annotated[float, Field(ge=0, le=600)]  # of one check
Price = Annotated[float, Field(ge=0, le=100_000)]  # of a part, a tool or a new machine [USD]
Days = Annotated[float, Field(ge=0, le=3_650)]
Times = Annotated[float, Field(ge=0, le=10)]  # of what it is on average


Three = tuple[float, float, float]  # low, likely, high


def _is_source(text: str) -> bool:
    return len("".join(c if c.isprintable() else " " for c in text).strip()) >= 3


def _sourced(source: str) -> str:
    if not _is_source(source):
        rule = "a source is at least 3 characters, not counting blanks around it"
        raise Misfit(rule, 'say where the figures are from, such as "judgement"')
    return source


Source = Annotated[str, AfterValidator(_sourced)]


def _figures(count: int, what: str) -> BeforeValidator:
    """Return the check that a list is of so many figures."""

    def check(value: object) -> object:
        if not isinstance(value, list | tuple) or len(value) != count:
            raise Misfit(f"this must be a list in [ ] of {count} figures", f"write [{what}]")
        return value

    return BeforeValidator(check)


def _in_order(figures: list[float]) -> str:
    return "write [" + ", ".join(f"{x:.15g}" for x in figures) + "]"


def _rising(three: Three, info: ValidationInfo) -> Three:
    if not three[0] <= three[1] <= three[2]:
        rule = f"{info.field_name} must rise: low <= likely <= high"
        raise Misfit(rule, _in_order(sorted(three)))
    return three


_three = _figures(3, "low, likely, high")
_coefficients = _figures(3, "c1, c2, c3")
_months = _figures(12, "January, February, and so on to December")
ThreeHours = Annotated[tuple[Hours, Hours, Hours], Strict(False), _three, AfterValidator(_rising)]
ThreePrices = Annotated[tuple[Price, Price, Price], Strict(False), _three, AfterValidator(_rising)]


class Table(BaseModel):
    """One table of a rulebook: frozen, no unknown keys, and a source for its figures."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
    source: Source


def pert_mean(three: Three) -> float:
    """Return the PERT mean (low + 4 likely + high) / 6.

    References: D. G. Malcolm et al., Operations Research 7(5), 1959 (from memory).
    """
    low, likely, high = three
    return (low + 4 * likely + high) / 6


class Fact(Table):
    """A history fact: something about care and use that may be known before any check."""

    title: str
    question: str
    levels: Annotated[tuple[Id, ...], Strict(False), Field(min_length=2)]
    weights: Many[Chance]

    @model_validator(mode="after")
    def _fits(self) -> Fact:
        if len(self.weights) != len(self.levels) or abs(sum(self.weights) - 1) > 1e-9:
            remedy = f"write {len(self.levels)} shares that sum to 1"
            raise Misfit("weights must be one per level and sum to 1", remedy, "weights")
        return self


class Fault(Table):
    """A cause; `prior` is its probability among machines brought in, before complaint and history."""

    title: str
    hidden: bool = False
    wear: bool = False
    prior: Annotated[float, Field(gt=0, lt=1)] | None = None
    service_loss: Chance
    fatal_chance: Chance = 0.0
    claim_chance: Chance = 0.0
    as_is_share: Annotated[float, Field(gt=0, le=1)]
    parts_loss: Chance = 0.0
    factors: dict[Id, Many[Annotated[float, Field(gt=0, le=1000)]]] = Field(default_factory=dict)
    shows: dict[Id, Many[Chance]] = Field(default_factory=dict)
    note: str = ""

    @model_validator(mode="after")
    def _fits(self) -> Fault:
        if self.wear and (self.prior is not None or self.shows or self.factors or self.hidden):
            rule = "a wear fault is seen by looking: it has no prior, shows, factors or hidden"
            raise Misfit(rule, "leave those out, or wear", "wear")
        if not self.wear and self.prior is None:
            rule = "prior is missing: the probability among machines brought in"
            raise Misfit(rule, "add prior, or wear = true for what is seen by looking")
        for check, row in self.shows.items():
            if any(a > b for a, b in pairwise(row)):
                raise Misfit(f"{check} must not fall: it is P(outcome <= k)", _in_order(sorted(row)), f"shows.{check}")
        return self


class Reading(BaseModel):
    """Bands that turn a measured figure into an outcome."""

    model_config = Table.model_config
    unit: str
    bands: Many[float]
    falling: bool = False


class Check(Table):
    """An inspection or test; outcomes go from normal to worst. An opening check `reveals` hidden faults.

    running: the machine must run for it; an open hold bars it. unusable_from: with this outcome or a worse one the
    machine can't be used at all, whatever the cause.
    """

    title: str
    complaint: bool = False
    outcomes: Many[Id] = ()
    leak: Many[Annotated[float, Field(gt=0, le=1)]] = ()  # a check never normal with nothing wrong is none
    unusable_from: Id | None = None
    minutes: Minutes = 0.0
    operations: Many[Id] = ()
    requires: Many[Id] = ()
    reading: Reading | None = None
    reveals: Many[Id] = ()
    put_back: ThreeHours = (0.0, 0.0, 0.0)
    as_is_drop: Chance = 0.0
    how: str = ""
    tools: Many[Id] = ()
    cautions: Many[Id] = ()
    running: bool = False

    @model_validator(mode="after")
    def _fits(self) -> Check:
        if bool(self.reveals) == bool(self.outcomes):
            raise Misfit("a check has either outcomes with a leak, or reveals", "keep one of them")
        if self.outcomes:
            if len(self.outcomes) < 2:
                raise Misfit("outcomes must be two or more, normal first", "add what is not normal", "outcomes")
            if len(self.leak) != len(self.outcomes) - 1:
                remedy = f"give leak {len(self.outcomes) - 1} of them"
                raise Misfit("leak must have one figure fewer than outcomes", remedy, "leak")
            if any(a > b for a, b in pairwise(self.leak)):
                raise Misfit("leak must not fall: it is P(outcome <= k)", _in_order(sorted(self.leak)), "leak")
            if len(set(self.outcomes)) != len(self.outcomes):
                raise Misfit("outcomes must differ", "rename or remove one of the same name", "outcomes")
        if self.reading and len(self.reading.bands) != len(self.leak):
            remedy = f"give bands {len(self.leak)} of them"
            raise Misfit("bands must have one figure fewer than outcomes", remedy, "reading.bands")
        if self.reading and list(self.reading.bands) != sorted(self.reading.bands, reverse=self.reading.falling):
            bands = sorted(self.reading.bands, reverse=self.reading.falling)
            raise Misfit("bands must rise, or fall where falling = true", _in_order(bands), "reading.bands")
        return self


class Complaint(Table):
    """What the machine is said to do wrong: a name for one outcome of a complaint check.

    unusable: a machine that does this can't be used at all, whatever the cause.
    """

    title: str
    check: Id
    outcome: Id
    unusable: bool = False


class Quantity(BaseModel):
    """A part and how many of it."""

    model_config = Table.model_config
    part: Id
    quantity: Annotated[float, Field(gt=0, le=1000)] = 1


class Complication(BaseModel):
    """Something that may go wrong in an operation, with its own hours and parts."""

    model_config = Table.model_config
    title: str
    chance: Chance
    rusty_factor: Annotated[float, Field(ge=1, le=100)] = 1.0
    hours: ThreeHours
    parts: Many[Quantity] = ()


class Operation(Table):
    """A labour step that several jobs may share and that is charged once."""

    title: str
    hours: ThreeHours
    parts: Many[Quantity] = ()
    tools: Many[Id] = ()
    complications: Many[Complication] = ()


class Job(Table):
    """A repair: operations and parts that clear faults.

    root_causes: faults it leaves that make it needed again before its time.
    """

    title: str
    operations: Annotated[tuple[Id, ...], Strict(False), Field(min_length=1)]
    parts: Many[Quantity] = ()
    clears: Many[Id] = ()
    also_clears: Many[Id] = ()
    root_causes: Many[Id] = ()
    uncured: Annotated[float, Field(ge=0, lt=1)] = 0.0
    renewal: Chance = 0.0
    release_checks: Many[Id] = ()
    cautions: Many[Id] = ()
    extra: bool = False

    @property
    def cleared(self) -> tuple[str, ...]:
        """All faults the job clears."""
        return (*self.clears, *self.also_clears)


class PartLife(Table):
    """A part's Weibull life: the years of the class's residential use by which half have failed, and the shape [1]."""

    median_years: Annotated[float, Field(ge=0.01, le=80)]
    shape: Annotated[float, Field(ge=0.5, le=10)]


class Part(Table):
    """A part or consumable with its typical price [rulebook currency]; life: where it wears out and fails again."""

    title: str
    price: ThreePrices
    consumable: bool = False
    designation: str = ""
    life: PartLife | None = None

    @model_validator(mode="after")
    def _fits(self) -> Part:
        if self.consumable and self.life is not None:
            raise Misfit("a consumable is used up: it has no life", "leave out life, or consumable", "life")
        return self


class Tool(Table):
    """A special tool: bought or hired when it is not at hand."""

    title: str
    price: Price
    hire: Price | None = None


class Opener(BaseModel):
    """What opens a hold: a check's outcome (or a worse one), a level of a history fact, or a fault.

    A fault opens it when opening the machine showed it, or when it is likelier than not.
    """

    model_config = Table.model_config
    check: Id | None = None
    outcome: Id | None = None
    fact: Id | None = None
    level: Id | None = None
    fault: Id | None = None

    @model_validator(mode="after")
    def _fits(self) -> Opener:
        given = [name for name in type(self).model_fields if getattr(self, name) is not None]
        if given not in (["check", "outcome"], ["fact", "level"], ["fault"]):
            rule = "a hold is opened by check and outcome, by fact and level, or by fault"
            raise Misfit(rule, "keep one of these three")
        return self


class Hold(Table):
    """A safety condition under which the machine must not be run, returned or sold as working until cleared.

    cleared_by: jobs, any one of which clears it. by_cause: it is cleared by putting right whatever causes it, and the
    test run shows whether it is; then no job is laid down beforehand.
    """

    title: str
    why: str
    opened_by: Annotated[tuple[Opener, ...], Strict(False), Field(min_length=1)]
    cleared_by: Many[Id] = ()
    by_cause: bool = False


class Caution(Table):
    """A caution for whoever does the work."""

    text: str


class ReleaseCheck(Table):
    """A test that must pass after a job before the machine goes back."""

    title: str
    how: str = ""
    limit: float | None = None
    unit: str = ""
    at_most: bool = True


class LifeFigures(BaseModel):
    """Life and use of a machine class."""

    model_config = Table.model_config
    hours_per_year: Annotated[float, Field(gt=0, le=8_760)]
    hours_per_year_source: Source
    median_hours: Annotated[float, Field(gt=0, le=50_000)]
    median_hours_source: Source
    epa_median_years: Annotated[float, Field(gt=0, le=80)] | None = None
    epa_source: str = ""

    @model_validator(mode="after")
    def _fits(self) -> LifeFigures:
        if self.epa_median_years is not None and not _is_source(self.epa_source):
            raise Misfit("every figure has a source", "add epa_source, or leave out epa_median_years", "epa_source")
        return self


class ValueFigures(Table):
    """How the class loses value, and what a machine is worth in parts."""

    method: Literal["geometric", "declining_balance", "straight_line", "remaining_value"]
    rate: Annotated[float, Field(ge=0, le=10)] = 0.0
    life_years: Annotated[float, Field(gt=0, le=80)] | None = None
    salvage_share: Chance = 0.0
    coefficients: Annotated[tuple[float, float, float], Strict(False), _coefficients] = (0.0, 0.0, 0.0)
    part_out_share: Chance
    part_out_hours: Hours
    part_out_source: Source


class Season(Table):
    """Monthly figures, January to December, northern hemisphere."""

    resale: Annotated[tuple[Times, ...], Strict(False), _months]
    days_to_sell: Annotated[tuple[Days, ...], Strict(False), _months]
    downtime: Annotated[tuple[Times, ...], Strict(False), _months]


class About(Table):
    """The head of a machine class."""

    id: Id
    title: str
    modules: Many[Id]
    new_price: ThreePrices
    new_price_source: Source
    weight_kg: Annotated[float, Field(gt=0, le=10_000)]
    weight_source: Source
    release_checks: Many[Id] = ()
    cautions: Many[Id] = ()


class ModuleHead(Table):
    """The head of a module."""

    id: Id
    title: str
