"""Screen options: what stands beside the finds in a request, those of `mendworth screen` by the same names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BeforeValidator, Field, ValidationError, WithJsonSchema

from api.findlist import MOST_PER_KM
from api.findrows import PER_KM
from econ.case import Day, Frozen, Many, Money
from econ.misfits import Misfit, misfits
from econ.money import DIGITS
from econ.problems import Problem, nearest

MOST_FINDS = 500  # judgement: about a minute of one processor, which a server may spend on a request
MOST = 1e9  # of a limit, as on the command line


def _code(value: object) -> object:
    if not isinstance(value, str) or value not in DIGITS:
        raise Misfit("a known ISO 4217 code", nearest(str(value).upper(), DIGITS))
    return value


Code = Annotated[str, BeforeValidator(_code), WithJsonSchema({"type": "string", "enum": sorted(DIGITS)})]


class ScreeningLimits(Frozen):
    """What there is of bench hours, cash, places and kilometres; enough where left out."""

    hours: float | None = Field(None, ge=0, le=MOST, description="bench hours [h]")
    cash: Money | None = Field(None, description="cash, for prices, trips and parts")
    places: int | None = Field(None, ge=0, le=int(MOST), description="places for machines in the yard")
    km: float | None = Field(None, ge=0, le=MOST, description="kilometres that may be driven in all [km]")


class Options(Frozen):
    """What holds for all finds, sent either way."""

    exact: bool = Field(
        False, description="search until the choice among more than 500 is proven best; else to within 0.1 %"
    )
    common: Any = Field(None, description="of a case, what holds for all finds: its terms, tools and prices")
    currency: Code | None = Field(None, description="of rows that name none")
    as_of: Day | None = Field(None, description="the day of the decision where a row names none; else today")
    dates: Literal["day", "month"] | None = Field(None, description="what comes first in 3/4/2026")
    per_km: Money = Field(PER_KM, le=MOST_PER_KM, description="what a kilometre costs")


class FindsSent(Options):
    """Finds as JSON: a row is an object, its keys the columns of a list of finds."""

    finds: Any
    limits: ScreeningLimits = ScreeningLimits()


class FileSent(ScreeningLimits, Options):
    """Finds as a file in a form, whose other fields are text."""

    finds: Any
    decimal: Literal["comma", "point"] | None = Field(None, description="decimal sign, where no cell tells")
    encoding: str = Field("", description="of a CSV file, such as iso-8859-15")
    sheet: str = Field("", description="of an XLSX file; its first where left out")
    map: Many[str] = Field((), description="header=column: what a header means; header= that it means nothing here")


FINDS_EXAMPLE: dict[str, Any] = {  # invented
    "finds": [
        {
            "id": "a",
            "machine_class": "mower_walk_behind",
            "title": "push mower, will not start",
            "asking_price": 5,
            "travel_km": 10,
            "age_years": 4,
            "complaints": "will_not_start",
        },
        {"id": "b", "machine_class": "leaf_blower", "asking_price": "500.00", "travel_km": 2.5},
    ],
    "limits": {"hours": 10, "cash": "200.00"},
    "currency": "USD",
    "as_of": "2026-04-01",
}
Asked = TypeVar("Asked", bound=Options)
# What stands for an option at fault while the rest is looked at, so that it raises no question of its own.
NEUTRAL: Mapping[str, Any] = {"finds": None, "currency": "USD", "decimal": "point", "dates": "day"}


def read_options(kind: type[Asked], given: Mapping[str, Any], problems: list[Problem]) -> Asked:
    """Return what is asked for. What is at fault joins the problems and is left out."""
    try:
        return kind.model_validate(given)
    except ValidationError as caught:
        error = caught
    problems += misfits(error, kind)
    wrong = {str(e["loc"][0]) for e in error.errors(include_url=False)}
    neutral = {name: NEUTRAL[name] for name in wrong & NEUTRAL.keys() & kind.model_fields.keys()}
    return kind.model_validate({k: v for k, v in given.items() if k not in wrong} | neutral)
