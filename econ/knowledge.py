"""The tables a rulebook is made of, as frozen values: facts, faults, checks, complaints, operations, jobs and the rest.

Every table carries the source of its figures. `rulebook.py` reads them from text and checks them against each other.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, Strict, model_validator

Item = TypeVar("Item")
Many = Annotated[tuple[Item, ...], Strict(False)]  # TOML arrays; what is in them stays strict
Id = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[a-z0-9_]+$")]
Chance = Annotated[float, Field(ge=0, le=1)]
Amount = Annotated[float, Field(ge=0, le=1e6)]
Twelve = Annotated[tuple[Amount, ...], Strict(False), Field(min_length=12, max_length=12)]


class Table(BaseModel):
    """One table of a rulebook: frozen, no unknown keys, and a source for its figures."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)
    source: str = Field(min_length=3)


Three = Annotated[tuple[Amount, Amount, Amount], Strict(False)]


def pert_mean(three: tuple[float, float, float]) -> float:
    """Return the PERT mean (low + 4 likely + high) / 6.

    References: D. G. Malcolm et al., Operations Research 7(5), 1959 (from memory).
    """
    low, likely, high = three
    return (low + 4 * likely + high) / 6


def _rising(three: tuple[float, float, float], what: str) -> None:
    if not three[0] <= three[1] <= three[2]:
        raise ValueError(f"{what} must rise: low <= likely <= high")


class Fact(Table):
    """A history fact: something about care and use that may be known before any check."""

    title: str
    question: str
    levels: Annotated[tuple[Id, ...], Strict(False), Field(min_length=2)]
    weights: Many[Chance]

    @model_validator(mode="after")
    def _fits(self) -> Fact:
        if len(self.weights) != len(self.levels) or abs(sum(self.weights) - 1) > 1e-9:
            raise ValueError("weights must be one per level and sum to 1")
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
            raise ValueError("a wear fault is seen by looking: it has no prior, shows, factors or hidden")
        if not self.wear and self.prior is None:
            raise ValueError("prior is missing")
        for check, row in self.shows.items():
            if any(a > b for a, b in pairwise(row)):
                raise ValueError(f"shows.{check} must not fall: it is P(outcome <= k)")
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
    leak: Many[Chance] = ()
    unusable_from: Id | None = None
    minutes: Amount = 0.0
    operations: Many[Id] = ()
    requires: Many[Id] = ()
    reading: Reading | None = None
    reveals: Many[Id] = ()
    put_back: Three = (0.0, 0.0, 0.0)
    as_is_drop: Chance = 0.0
    how: str = ""
    tools: Many[Id] = ()
    cautions: Many[Id] = ()
    running: bool = False

    @model_validator(mode="after")
    def _fits(self) -> Check:
        if bool(self.reveals) == bool(self.outcomes):
            raise ValueError("a check has either outcomes with a leak, or reveals")
        if self.outcomes:
            if len(self.outcomes) < 2 or len(self.leak) != len(self.outcomes) - 1:
                raise ValueError("leak must have one figure fewer than outcomes")
            if any(a > b for a, b in pairwise(self.leak)):
                raise ValueError("leak must not fall: it is P(outcome <= k)")
            if len(set(self.outcomes)) != len(self.outcomes):
                raise ValueError("outcomes must differ")
        if self.reading and len(self.reading.bands) != len(self.leak):
            raise ValueError("reading.bands must have one figure fewer than outcomes")
        if self.reading and list(self.reading.bands) != sorted(self.reading.bands, reverse=self.reading.falling):
            raise ValueError("reading.bands must rise, or fall where falling = true")
        _rising(self.put_back, "put_back")
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
    hours: Three
    parts: Many[Quantity] = ()


class Operation(Table):
    """A labour step that several jobs may share and that is charged once."""

    title: str
    hours: Three
    parts: Many[Quantity] = ()
    tools: Many[Id] = ()
    complications: Many[Complication] = ()

    @model_validator(mode="after")
    def _fits(self) -> Operation:
        _rising(self.hours, "hours")
        for c in self.complications:
            _rising(c.hours, "complication hours")
        return self


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
    price: Three
    consumable: bool = False
    designation: str = ""
    life: PartLife | None = None

    @model_validator(mode="after")
    def _fits(self) -> Part:
        if self.consumable and self.life is not None:
            raise ValueError("a consumable is used up: it has no life")
        _rising(self.price, "price")
        return self


class Tool(Table):
    """A special tool: bought or hired when it is not at hand."""

    title: str
    price: Amount
    hire: Amount | None = None


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
            raise ValueError("give check and outcome, or fact and level, or fault")
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
    hours_per_year: Annotated[float, Field(gt=0)]
    hours_per_year_source: str
    median_hours: Annotated[float, Field(gt=0)]
    median_hours_source: str
    epa_median_years: Annotated[float, Field(gt=0)] | None = None
    epa_source: str = ""


class ValueFigures(Table):
    """How the class loses value, and what a machine is worth in parts."""

    method: Literal["geometric", "declining_balance", "straight_line", "remaining_value"]
    rate: Annotated[float, Field(ge=0, le=10)] = 0.0
    life_years: Annotated[float, Field(gt=0)] | None = None
    salvage_share: Chance = 0.0
    coefficients: Annotated[tuple[float, float, float], Strict(False)] = (0.0, 0.0, 0.0)
    part_out_share: Chance
    part_out_hours: Amount
    part_out_source: str


class Season(Table):
    """Monthly figures, January to December, northern hemisphere."""

    resale: Twelve
    days_to_sell: Twelve
    downtime: Twelve


class About(Table):
    """The head of a machine class."""

    id: Id
    title: str
    modules: Many[Id]
    new_price: Three
    new_price_source: str
    weight_kg: Annotated[float, Field(gt=0)]
    weight_source: str
    release_checks: Many[Id] = ()
    cautions: Many[Id] = ()


class ModuleHead(Table):
    """The head of a module."""

    id: Id
    title: str
