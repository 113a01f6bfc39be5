"""Again: the document of `mendworth again` in, its answer as data and as plain text out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Annotated, Any

from pydantic import Field, TypeAdapter, ValidationError

from api.columns import bullet, table, wrap
from api.library import defaults, shelf, today
from api.wording import money, resting_on
from econ import __version__
from econ.again import Again, again
from econ.case import Frozen, Many, Money, Text
from econ.misfits import misfits
from econ.problems import BadInput, Problem, nearest, shown
from econ.question import Question
from econ.reading import read_case
from econ.rulebook import MachineClass, Shelf
from econ.words import percent

OF_A_CASE = ("currency", "as_of", "machine", "terms", "market")
SERVES_FROM = 0.02  # ages that fewer machines reach are left to the JSON
CARE = (
    "Work on engines, drives and blades can hurt: spark lead off, or battery pack out, first; the maker's manual, "
    "local codes and licensed practice come first."
)
EXAMPLE: dict[str, Any] = {  # invented; the one of docs/again.md
    "as_of": "2026-05-10",
    "machine": {"class": "mower_blade_clutch", "age_years": 9, "condition": "fair", "new_price": "690.00"},
    "component": {"title": "the lower clutch bearing", "part_price": "14.00", "hours": 1.2, "life_years": 4},
    "last_repair": {"months_ago": 30, "warranty_months": 12},
    "terms": {"hour_worth": "18.00"},
}
Years = Annotated[float, Field(ge=0.01, le=80)]


class Component(Frozen):
    """The part that fails, and the job that puts it right."""

    title: Text = "the part"
    part_price: Money
    hours: float = Field(ge=0, le=100, description="hours of the job by the book [h]")
    life_years: Years | None = None
    shape: float | None = Field(None, ge=0.5, le=10)
    failures: Many[Years] = Field((), max_length=200)
    still_running: Many[Years] = Field((), max_length=1_000)
    uncured: float | None = Field(None, ge=0, le=0.9)
    renews: bool = True
    age_years: float | None = Field(None, ge=0, le=80)
    price_more: Money = Decimal(0)


class LastRepair(Frozen):
    """The same job done before."""

    months_ago: float = Field(ge=0, le=600)
    warranty_months: float | None = Field(None, ge=0, le=600)
    root_cause: float | None = Field(None, ge=0, le=1)
    root_life_share: float | None = Field(None, ge=0.01, le=1)


class Asked(Frozen):
    """What the document holds beside the fields it shares with a case."""

    component: Component
    last_repair: LastRepair | None = None


_ASKED: TypeAdapter[Asked] = TypeAdapter(Asked)


def asked_schema() -> dict[str, Any]:
    """Return the JSON Schema of what the document holds beside the fields it shares with a case."""
    return Asked.model_json_schema()


def read_question(
    document: object, day: date | None = None, classes: Shelf | None = None
) -> tuple[Any, MachineClass, Question]:
    """Return the case, its machine class and the question of a document, what JSON gave.

    day: the day of the decision where the document names none. classes: all machine classes; those that ship where left
    out. Raises BadInput with every problem of the document.
    """
    if not isinstance(document, Mapping):
        raise BadInput([Problem("document", shown(document), "this is a JSON object", "see docs/again.md")])
    fields = (*OF_A_CASE, *Asked.model_fields)
    problems = [
        Problem(str(key), shown(document[key]), "this name is not permitted here", nearest(key, fields))
        for key in document
        if key not in fields
    ]
    case = asked = None
    try:
        asked = _ASKED.validate_python({k: v for k, v in document.items() if k in Asked.model_fields})
    except ValidationError as error:
        problems += misfits(error, Asked)
    try:
        shared = {k: document[k] for k in OF_A_CASE if k in document}
        case, c = read_case({"perspective": "owner", **shared}, shelf() if classes is None else classes, day or today())
    except BadInput as error:
        problems += error.problems
    if asked is not None and asked.component.life_years is None and not asked.component.failures:
        rule = "the life of the part is stated or fitted to its failures"
        problems.append(Problem("component.life_years", "nothing", rule, "add life_years, or failures"))
    if asked is not None and asked.component.life_years is not None and asked.component.failures:
        rule = "the life is either stated or fitted to failures"
        problems.append(Problem("component.life_years", f"{asked.component.life_years:g}", rule, "leave one out"))
    if problems or case is None or asked is None:
        raise BadInput(problems)
    told = asked.component.model_dump() | (asked.last_repair.model_dump() if asked.last_repair else {})
    return case, c, Question(**told)


def again_document(document: object, day: date | None = None, classes: Shelf | None = None) -> Again:
    """Return the answer to a document, what JSON gave; arguments as for `read_question`.

    Raises BadInput with every problem.
    """
    case, c, question = read_question(document, day, classes)
    try:
        return again(case, c, defaults(), question, __version__)
    except BadInput:
        raise
    except ValueError as error:
        rule = str(error)
        raise BadInput(
            [Problem("component.failures", f"{len(question.failures)} failures", rule, "state shape")]
        ) from None


def _when(a: Again, years: float) -> str:
    now = None if a.walk_away_age is None or a.walk_away_years is None else a.walk_away_age - a.walk_away_years
    return f"in {years:g} years" if now is None else f"age {now + years:g}"


def again_text(a: Again, c: MachineClass) -> str:
    """Return an answer as plain text for people, the answer first."""

    def say(x: Decimal | None) -> str:
        return "not even a free one" if x is None else money(x, a.currency)

    lines = [*wrap(a.headline), f"[{a.component}; {c.about.title}, {a.as_of}]", "", "This time"]
    rows = [
        ("the job costs, part, work and waiting", say(a.cost_now)),
        ("worth paying for it at most", say(max(a.limit_now, Decimal(0)))),
        ("worth paying for the part at most", say(a.highest_part_price_now)),
        ("walking away brings, less waiting for another machine", say(a.walking_away)),
    ]
    lines += table(rows, right=(1,))
    if a.then_sell:
        kept = say(max(a.limit_if_kept, Decimal(0)))
        lines += wrap(f"Mended, it sells for more than keeping it is worth: to keep it, pay at most {kept}.", "  ")
    if a.root_cause is not None:
        rows = [("chance that something else wears it out", percent(a.root_cause.chance))]
        rows += [("worth paying to find and mend that", say(a.root_cause.worth_finding))]
        rows += [("worth paying for the job with that put right", say(max(a.root_cause.limit_if_found, Decimal(0))))]
        lines += ["", "Why it failed again", *table(rows, right=(1,))]
    lines += ["", "Next time round"]
    rows = []
    if a.next_failure is not None:
        n = a.next_failure
        rows += [("chance that it fails again while the machine is kept", percent(n.chance))]
        rows += [("half of those failures come within", f"{n.years:.1f} years")]
        rows += [("worth paying for the job then", say(max(n.limit, Decimal(0))))]
        rows += [("worth paying for the part then", say(n.highest_part_price))]
    rows += [
        ("repairs still to come after this one", f"{a.repairs:.1f}"),
        ("what they cost, today's money", say(a.repairs_cost)),
    ]
    if a.renew_ahead_years is not None:
        rows += [("it is cheaper to renew it before it fails, at", f"{a.renew_ahead_years:.1f} years")]
    lines += table(rows, right=(1,))
    lines += ["", "Worth paying at a failure"]
    limits = [(_when(a, x.years), say(max(x.limit, Decimal(0))), percent(x.still_serves)) for x in a.limits]
    shown_limits = [row for row, x in zip(limits, a.limits, strict=True) if x.still_serves >= SERVES_FROM]
    lines += table(shown_limits, ("", "at most", "still serves"), right=(1, 2))
    o = a.option
    lines += ["", "What having this part costs, against the same machine without it"]
    rows = [("from here on", say(o.from_here)), ("over the life of a new machine", say(o.over_life))]
    rows += [("that is, for a year of service", say(o.per_year)), ("repairs over that life", f"{o.repairs:.1f}")]
    lines += table(rows, right=(1,))
    lines += ["", "What this rests on", *bullet(_life_words(a))]
    for x in a.assumptions:
        name, value = resting_on(x, c, a.currency)
        lines += bullet(f"{name}: {value} ({x.source})")
    lines += ["", *wrap(CARE)]
    return "\n".join(lines) + "\n"


def _life_words(a: Again) -> str:
    x = a.life
    how = "stated"
    if x.failures:
        shape = "given" if x.shape_error is None else f"give or take {x.shape_error:.1g}"
        how = f"fitted to {x.failures} failures; scale give or take {x.scale_error or 0:.1g} years, shape {shape}"
    return f"life of the part: half fail within {x.median_years:.1f} years, Weibull shape {x.shape:.2g} ({how})"
