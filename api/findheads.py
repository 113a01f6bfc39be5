"""Find heads: the columns of a list of finds, and the words lists use for them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from api.headers import Head, Heads, plain, read_map
from econ.rulebook import Shelf

OF_MONEY = ("asking_price", "new_price", "running", "as_is", "travel_cost")  # by rank, where one tells the currency
KM = {"": 1.0, "km": 1.0, "mi": 1.609344, "mile": 1.609344, "miles": 1.609344}  # international mile
MINUTES = {"": 1.0, "min": 1.0, "mins": 1.0, "minute": 1.0, "minutes": 1.0, "h": 60.0, "hr": 60.0, "hrs": 60.0,
           "hour": 60.0, "hours": 60.0}  # fmt: skip
YEARS = {"": 1.0, "y": 1.0, "yr": 1.0, "yrs": 1.0, "year": 1.0, "years": 1.0, "month": 1 / 12, "months": 1 / 12}
HOURS = {"": 1.0, "h": 1.0, "hr": 1.0, "hrs": 1.0, "hour": 1.0, "hours": 1.0}
UNITS: Mapping[str, Mapping[str, float]] = {
    "travel_km": KM, "travel_minutes": MINUTES, "age_years": YEARS, "hours": HOURS
}  # fmt: skip
OF_FACT = "history."  # how the column of one fact begins

# The words of the trade are common practice. One that stands at two columns is asked about, not guessed.
COLUMNS: Mapping[str, Head] = {
    "id": Head(
        "what the find is told by; the number of its row where empty",
        ("find", "find id", "find no", "listing id", "listing no", "ad id", "ad no", "lot", "lot no", "number", "no",
         "nr", "reference"),
    ),
    "machine_class": Head(
        "id or title of the machine class",
        ("class", "machine", "machine type", "type", "type of machine", "kind", "kind of machine", "equipment",
         "category"),
    ),
    "title": Head("what the seller calls it", ("description", "name", "machine name", "listing title", "headline")),
    "asking_price": Head("what is asked; 0 is free", ("asking", "asked", "ask", "price", "price asked", "list price")),
    "currency": Head("three letters of ISO 4217", ("ccy", "cur", "curr", "currency code")),
    "travel_km": Head(
        "kilometres there and back",
        ("distance", "kilometres", "kilometers", "km", "travel distance", "driving distance", "trip distance", "travel",
         "trip"),
    ),
    "travel_minutes": Head(
        "minutes there and back",
        ("minutes", "travel time", "drive time", "driving time", "trip time", "travel", "trip"),
    ),
    "travel_cost": Head(
        "what fetching it costs, in place of km or beside them: tolls, hire of a trailer, delivery",
        ("travel costs", "trip cost", "cost of travel", "fetching", "cost of fetching", "delivery", "delivery cost",
         "transport", "transport cost", "travel", "trip"),
    ),
    "age_years": Head("age in years", ("age", "years old", "machine age")),
    "hours": Head(
        "hours on the machine",
        ("engine hours", "hour meter", "hours run", "run hours", "running hours", "operating hours", "machine hours",
         "meter"),
    ),
    "condition": Head("restored, good, fair or poor; fair where empty", ("grade", "state of repair")),
    "use": Head("residential or commercial; residential where empty", ("usage", "kind of use")),
    "rusty": Head("whether fasteners are rusty, yes or no; no where empty", ("rust", "rusted", "rusty fasteners")),
    "complaints": Head(
        "ids or titles of the class's complaints, with a semicolon or comma between them",
        ("complaint", "symptom", "symptoms", "problem", "problems", "issue", "issues", "what is wrong"),
    ),
    "history": Head("fact=level, with a semicolon between them", ("facts", "history facts", "known history")),
    "findings": Head(
        "check=outcome or check=reading, with a semicolon between them",
        ("finding", "checks", "checked", "inspection"),
    ),
    "new_price": Head(
        "price of such a machine new, without tax",
        ("price new", "price of a new one", "retail price", "list price", "replacement price"),
    ),
    "running": Head(
        "what it sells for in working order",
        ("running price", "price running", "working price", "price in working order", "resale price", "resale",
         "sells for"),
    ),
    "as_is": Head("what it sells for as it stands, told so", ("as is price", "price as is", "price as it stands")),
    "seen_on": Head(
        "day the decision is made for, YYYY-MM-DD; today where empty",
        ("date", "date seen", "seen", "day", "as of", "listed on", "date listed"),
    ),
    "note": Head("what else the seller says; kept, not used", ("notes", "remark", "remarks", "comment", "comments")),
}  # fmt: skip


def find_heads(facts: Iterable[str] = ()) -> Heads:
    """Return the columns of a list of finds. facts: history facts, each of which may have a column of its own."""
    own = {f"{OF_FACT}{fact}": Head(f"level of the history fact {fact}") for fact in sorted(set(facts))}
    return Heads(
        "list of finds",
        {**COLUMNS, **own},
        UNITS,
        frozenset({*OF_MONEY, "currency"}),
        required=(("machine_class",),),
    )


FINDS = find_heads()


def heads_for(texts: Iterable[str], classes: Shelf) -> Heads:
    """Return the columns of a list of finds, those of facts with them where one of the texts may name one.

    texts: headers, or columns that headers are mapped to. Every class is composed only where that is needed.
    """
    if any(plain(t).startswith("history ") for t in texts):
        return find_heads(fact for name in classes for fact in classes[name].facts)
    return FINDS


def read_find_map(said: Iterable[str], classes: Shelf) -> Mapping[str, str]:
    """Return `--map` options of a list of finds as plain header -> column. Raises BadInput, as `read_map` does."""
    options = tuple(said)
    return read_map(options, heads_for((text.rpartition("=")[2] for text in options), classes))
