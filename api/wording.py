"""Wording: ids, figures and chances of a decision in the words of people."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation

from econ.money import say, to_minor
from econ.rulebook import MachineClass
from econ.terms import Assumption
from econ.words import TITLES, listed, percent

INPUTS = {
    "hidden_damage": "hidden damage of any kind",
    "machine.age_years": "its age",
    "machine.hours": "hours on the machine",
    "machine.life_hours": "hours such a machine lasts",
    "machine.new_price": "a new one",
    "market.running": "this one if it ran as it should",
    "market.as_is": "this one as it stands",
    "market.part_out": "its parts sold singly",
    "market.used_price": "a used replacement",
    "terms.do_without_per_year": "a year of doing without",
    "find.asking_price": "the asked price",
    "terms.hours_factor": "hours of the work",
}
LABELS = {
    "hours_factor": ("hours of the work over the book", ""),
    "horizon_years": ("years looked ahead", ""),
    "real_rate": ("interest above inflation", "percent"),
    "hour_worth": ("an hour of one's own", ""),
    "slowness": ("own hours for an hour of the book", ""),
    "shop_rate": ("an hour at the shop", ""),
    "billing_step_hours": ("labour is billed in steps of", " h"),
    "mechanic_wage": ("wage of a bench hour", ""),
    "queue_weeks": ("wait for the bench", " weeks"),
    "parts_lead_days": ("wait for parts", " days"),
    "return_loss": ("lost on a part that goes back, share of its price", "percent"),
    "wrong_part_chance": ("wrong part where the model number was not read", "percent"),
    "replacement_days": ("days to find and fetch a replacement", ""),
    "downtime_per_week": ("a week without the machine in season", ""),
    "upkeep_rate": ("upkeep a year, share of new price", "percent"),
    "upkeep_growth": ("rise of upkeep over a usual life", "percent"),
    "selling_fee_rate": ("selling fees", "percent"),
    "selling_hours": ("hours to sell it", " h"),
    "cleaning_hours": ("hours to clean it up", " h"),
    "unsold_chance": ("chance that it stays unsold", "percent"),
    "scrap_per_kg": ("scrap, a kilogram", ""),
    "used_premium": ("finding a used one and its risk, share of its price", "percent"),
    "used_age_share": ("age of a used replacement, share of its life", "percent"),
    "as_is_steepness": ("how hard buyers mark down known faults, exponent", ""),
    "epa_median_life": ("life by the pessimistic bound", ""),
    "age_years": ("its age", ""),
    "comparables_say": ("what the comparables say it is worth", ""),
    "new_price": ("a new one", ""),
    "price_scale": ("typical prices multiplied by", ""),
    "median_life": ("usual life", ""),
    "effective_age": ("age it counts as", ""),
    "running_price": ("this one if it ran as it should", ""),
    "as_is_price": ("this one as it stands", ""),
    "part_out_price": ("its parts sold singly", ""),
    "scrap_price": ("scrap value", ""),
    "used_price": ("a used replacement", ""),
    "uncured": ("chance that the job does not cure", "percent"),
    "root_cause": ("chance that something else wears it out, before this failure", "percent"),
    "root_life_share": ("share of its life that the part then has", "percent"),
    "component_shape": ("how its failures spread, Weibull shape", ""),
    "component_life": ("life of the part", ""),
    "next_time_years": ("years looked ahead for the next time round", ""),
    "next_time_as_is": ("what it brings if that part fails and is left", ""),
}


def words(name: str) -> str:
    """Return an id as words."""
    return name.replace("_", " ")


def money(amount: Decimal, currency: str) -> str:
    """Return an amount rounded for people."""
    return say(to_minor(amount, currency), currency)


def exact(amount: Decimal) -> str:
    """Return an amount to the minor unit, for estimates."""
    return f"{amount:,f}"


def flow(amount: Decimal, currency: str) -> str:
    """Return cash of today: what is paid or what comes in."""
    if not to_minor(amount, currency):
        return "-"
    return f"{'pay' if amount < 0 else 'get'} {money(abs(amount), currency)}"


def short(title: str) -> str:
    """Return a fault's title without what stands in brackets at its end."""
    return title.partition(" (")[0]


def likelihood(chance: float) -> str:
    """Return how likely something is, in a word or two."""
    for least, said in ((0.9, "almost sure"), (0.6, "likely"), (0.3, "may well be"), (0.1, "possible")):
        if chance >= least:
            return said
    return "unlikely"


def minutes(amount: float) -> str:
    """Return a time for people."""
    if amount < 90:
        return f"{round(amount)} minutes"
    return f"{amount / 60:.1f} hours"


def result_name(outcome: str, c: MachineClass) -> str:
    """Return what a check's result is called: an outcome in words, or the hidden fault it showed."""
    if all(f in c.faults for f in outcome.split("+")):
        return listed([c.faults[f].title for f in outcome.split("+")])
    return "nothing amiss inside" if outcome == "nothing" else words(outcome)


def input_name(name: str, c: MachineClass) -> str:
    """Return an input of a decision in words."""
    shelf, _, key = name.partition(".")
    if shelf == "prices":
        return c.parts[key].title
    if shelf == "fault":
        return short(c.faults[key].title)
    if shelf == "history":
        return c.facts[key].question
    return INPUTS.get(name) or LABELS.get(key, (words(key or shelf), ""))[0]


def course_title(name: str, c: MachineClass, titles: Mapping[str, str]) -> str:
    """Return what a course is by its name, the long ones cut short. titles: of the courses the answer shows."""
    if name in titles:
        return titles[name].partition(", and " if name.startswith("repair") else ", ")[0]
    kind, _, jobs = name.partition(":")
    if kind == "leave_it":
        return "leave it where it is"
    if kind != "repair":
        return TITLES[kind]
    return "repair it: " + listed([c.jobs[j].title for j in jobs.split("+")])


def input_value(value: Decimal, unit: str, currency: str) -> str:
    """Return a value of an input for people."""
    if unit == "money":
        return money(value, currency)
    if unit == "share":
        return percent(float(value))
    figure = f"{value:f}".rstrip("0").rstrip(".") if "." in f"{value:f}" else f"{value:f}"
    if unit == "times":
        return "the book's" if figure == "1" else f"{figure} times the book's"
    return f"{figure} {unit[:-1] if figure == '1' else unit}"


def resting_on(a: Assumption, c: MachineClass, currency: str) -> tuple[str, str]:
    """Return an assumption's name and value in words."""
    shelf, _, name = a.name.partition(".")
    if shelf == "price" and name in c.parts:
        try:
            return c.parts[name].title, money(Decimal(a.value), currency)
        except InvalidOperation:
            return c.parts[name].title, a.value
    if shelf == "life" and name in c.parts:
        return f"life of the {c.parts[name].title}", a.value
    if shelf == "root_cause" and name in c.jobs:
        return f"chance that something else made this needed again: {c.jobs[name].title}", percent(float(a.value))
    label, unit = LABELS.get(a.name, (words(a.name.replace(".", ": ")), ""))
    if unit == "percent":
        return label, f"{float(a.value) * 100:.3g} %"
    return label, a.value + unit
