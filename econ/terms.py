"""Terms: every figure a decision needs, with what the case leaves open filled in and said so."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from math import ceil
from typing import Any

import numpy as np

from econ.case import Case
from econ.knowledge import LifeFigures, Three, pert_mean
from econ.money import DIGITS, millionths, say, to_minor
from econ.offers import Offer, Seller
from econ.pricebook import Priced, Supply, price_parts
from econ.problems import BadInput, Problem
from econ.rulebook import CURRENCY, MachineClass

STATED = "stated in the case"
FILE = "terms.toml"


@dataclass(frozen=True)
class Assumption:
    """A figure the answer rests on: its name, its value in plain words, and where it comes from."""

    name: str
    value: str
    source: str


@dataclass(frozen=True)
class Default:
    """A default term: value, whether it is money [rulebook currency], its source, and the range nine in ten lie in."""

    value: float
    money: bool
    source: str
    low: float | None = None
    high: float | None = None


def read_defaults(texts: Mapping[str, str]) -> Mapping[str, Default]:
    """Read the default terms from rulebook texts. Raises BadInput when the file is not usable."""
    try:
        tables = tomllib.loads(texts[FILE])
        return {
            n: Default(float(t["value"]), bool(t.get("money")), str(t["source"]), t.get("low"), t.get("high"))
            for n, t in tables.items()
        }
    except (KeyError, TypeError, ValueError, tomllib.TOMLDecodeError) as error:
        rule = f"default terms have a value and a source each: {error}"
        raise BadInput([Problem(FILE, "unreadable", rule, "correct the file")]) from None


@dataclass(frozen=True)
class Terms:
    """All terms settled: every figure a decision needs. Money in minor units of the case's currency, rates as there.

    A figure is a number, or a column (W, 1) where W worlds are weighed at once that differ in it; whatever follows from
    a column has a row for each world. month: 0..11 of the season tables (shifted by half a year in the south).
    figures: the terms of the case by their names, and besides: age_years, hours, life_hours, new_price, running, as_is,
    part_out, scrap, used_price, used_age_years (those that are stated), and ``price.x`` of every part x. priced: by
    part what the price book says, where the case states no price of its own; sellers: by name.
    """

    currency: str
    perspective: str
    by_shop: bool
    scale: float
    month: int
    figures: Mapping[str, Any]
    assumptions: tuple[Assumption, ...]
    priced: Mapping[str, Priced] = field(default_factory=dict)
    sellers: Mapping[str, Seller] = field(default_factory=dict)

    def money(self, name: str) -> Any:
        """Return a money figure [minor units, whole]."""
        figure = self.figures[name]
        return round(figure) if isinstance(figure, float) else np.rint(figure).astype(np.int64)

    @property
    def new_price(self) -> Any:
        """Price of an equivalent new machine, without tax [minor units]."""
        return self.money("new_price")

    @property
    def bench_hour(self) -> Any:
        """Worth of one's own hour of work on the machine [minor units/h], whole: as other hours unless stated."""
        return self.money("bench_hour_worth" if "bench_hour_worth" in self.figures else "hour_worth")

    def from_rulebook(self, amount: float) -> int:
        """Return a rulebook price as minor units of the case's currency."""
        unit: int = 10 ** DIGITS[self.currency]
        return round(amount * self.scale * unit)

    def __getitem__(self, name: str) -> Any:
        """Return a figure that is not money, or money that need not be whole."""
        return self.figures[name]


def life_figures(case: Case, machine_class: MachineClass) -> LifeFigures:
    """Return the life figures for the case's use, the residential ones where the class has no others."""
    return machine_class.life.get(case.machine.use, machine_class.life["residential"])


def scale_to(case: Case, machine_class: MachineClass) -> float:
    """Return the factor from rulebook prices to the case's currency [1]: 1 in the rulebook's own currency.

    Elsewhere the ratio of the case's new price to the class's typical one stands for the exchange rate and the level
    of prices. Raises BadInput where that new price is missing.
    """
    if case.currency == CURRENCY:
        return 1.0
    if case.machine.new_price is None or case.machine.new_price <= 0:
        rule = f"the rulebook's typical prices are in {CURRENCY}; a case in {case.currency} states its new price"
        raise BadInput([Problem("machine.new_price", "nothing", rule, "add the price of an equivalent new machine")])
    return float(case.machine.new_price) / pert_mean(machine_class.about.new_price)


def _of_the_machine(
    case: Case, machine_class: MachineClass, scale: float, priced: Mapping[str, Priced]
) -> dict[str, float]:
    """Return what is stated about the machine and its market, and the price of every part [minor units].

    scale: minor units of the case's currency for one unit of the rulebook's. priced: what the price book says.
    """
    new_price = case.machine.new_price
    if new_price is None:
        new_price = Decimal(str(round(pert_mean(machine_class.about.new_price), 2)))
    figures: dict[str, float | None] = {"new_price": float(to_minor(new_price, case.currency))}
    for name in ("age_years", "hours", "life_hours"):
        figures[name] = getattr(case.machine, name)
    figures["used_age_years"] = case.market.used_age_years
    for name in ("running", "as_is", "part_out", "scrap", "used_price"):
        stated = getattr(case.market, name)
        figures[name] = None if stated is None else float(to_minor(stated, case.currency))
    for name, part in machine_class.parts.items():
        known = priced[name].unit_cost if name in priced else None
        if name in case.prices:
            known = to_minor(case.prices[name], case.currency)
        figures[f"price.{name}"] = float(round(pert_mean(part.price) * scale) if known is None else known)
    return {name: figure for name, figure in figures.items() if figure is not None}


def most_pieces(c: MachineClass) -> dict[str, int]:
    """Return how many pieces of each part a job takes at most; consumables are left out, as they come in any amount."""
    found: dict[str, int] = {}
    for job in c.jobs.values():
        used: dict[str, float] = {}
        for q in (*job.parts, *(q for o in job.operations for q in c.operations[o].parts)):
            used[q.part] = used.get(q.part, 0.0) + q.quantity
        found |= {p: max(found.get(p, 1), ceil(n)) for p, n in used.items() if not c.parts[p].consumable}
    return found


def settle(
    case: Case,
    machine_class: MachineClass,
    defaults: Mapping[str, Default],
    supply: Supply | None = None,
    taken: Mapping[str, Offer] | None = None,
) -> Terms:
    """Return all terms of a case, defaults filled in from `defaults` and listed as assumptions.

    case.as_of must be set. supply: what the price book offers; taken: offers to reckon with. Raises BadInput as
    `scale_to` does.
    """
    if case.as_of is None:
        raise BadInput([Problem("as_of", "nothing", "the day of the decision sets the season", "add it")])
    scale, unit = scale_to(case, machine_class), 10 ** DIGITS[case.currency]
    notes: list[Assumption] = []
    figures: dict[str, float] = {}
    given = case.terms
    for name in type(given).model_fields:
        value: Any = getattr(given, name)
        if isinstance(value, Decimal):
            figures[name] = float(to_minor(value, case.currency))
        elif isinstance(value, int | float):
            figures[name] = float(value)
    stated = frozenset(given.model_fields_set)
    by_shop = given.work_by == "shop" or (
        given.work_by is None
        and (case.perspective == "shop" or (case.perspective == "owner" and "shop_rate" in stated))
    )
    idle = {"slowness"} if by_shop else set()
    idle |= set() if by_shop else {"shop_rate", "billing_step_hours", "mechanic_wage", "queue_weeks"}
    idle |= set() if case.perspective == "reseller" else {"cleaning_hours", "unsold_chance"}
    idle |= {"wrong_part_chance"} if case.machine.model_verified else set()
    for name, default in defaults.items():
        if name in figures:
            continue
        figures[name] = default.value * scale * unit if default.money else default.value
        if default.money and name != "scrap_per_kg":
            figures[name] = float(round(figures[name]))
        if name not in idle:
            value = say(figures[name], case.currency) if default.money else f"{default.value:g}"
            notes.append(Assumption(name, value, default.source))
    asked = [p for p in machine_class.parts if p not in case.prices]
    priced: dict[str, Priced] = {}
    sellers: dict[str, Seller] = {}
    if supply is not None:
        usual = round(figures["parts_shipping"])
        sellers = {name: s.with_usual(usual) for name, s in supply.sellers.items()}
        week = 0.0 if case.perspective == "reseller" else figures["downtime_per_week"]
        most = most_pieces(machine_class)
        priced = price_parts(asked, supply.offers, sellers, case.as_of, pieces=most, taken=taken, week=week)
        if supply.elsewhere:
            said = f"its offers of these parts are in {' and '.join(supply.elsewhere)}; typical prices stand instead"
            notes.append(Assumption("price_book", f"nothing in {case.currency}", said))
        source = "the seller states no shipping: the usual of an order"
        unknown = sorted({p.offer.seller for p in priced.values() if p.offer and not sellers[p.offer.seller].stated})
        notes += [Assumption(f"shipping.{name}", say(usual, case.currency), source) for name in unknown]
    figures |= _of_the_machine(case, machine_class, scale * unit, priced)
    if not by_shop:
        figures["queue_weeks"] = figures["queue_weeks"] if "queue_weeks" in stated else 0.0
    if case.machine.new_price is None:
        typical = pert_mean(machine_class.about.new_price)
        notes.append(Assumption("new_price", f"{CURRENCY} {typical:,.0f}", machine_class.about.new_price_source))
    if scale != 1.0:
        source = f"typical prices in {CURRENCY} scaled by the new price of the case over the class's typical one"
        notes.append(Assumption("price_scale", f"{scale:.4g}", source))
    notes += [Assumption(f"overlay.{x.id}", x.summary(), x.source) for x in machine_class.laid]
    month = (case.as_of.month - 1 + (6 if given.hemisphere == "south" else 0)) % 12
    return Terms(
        case.currency,
        case.perspective,
        by_shop,
        scale,
        month,
        figures,
        tuple(notes),
        priced,
        sellers,
    )


def price_source(p: Priced) -> str:
    """Return where the price book has a price from, in words."""
    seen = f"price book: {p.seller}, seen {p.seen_on}" if p.seller else f"price book, seen {p.seen_on}"
    return seen + (f"; {p.note}" if p.note else "")


def price_range(terms: Terms, machine_class: MachineClass, part: str, stated: bool) -> Three:
    """Return the least, likely and highest price of a part [minor units]: one price where the case states it."""
    price = float(terms[f"price.{part}"])
    found = terms.priced.get(part)
    if stated:
        return price, price, price
    if found is not None and found.low is not None and found.high is not None:
        return min(float(found.low), price), price, max(float(found.high), price)
    low, likely, high = (float(terms.from_rulebook(x)) for x in machine_class.parts[part].price)
    return low, likely, high


def rate_millionths(rate: float) -> int:
    """Return a rate given as a number [1] as whole millionths."""
    return millionths(Decimal(repr(rate)))
