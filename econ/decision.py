"""Decision: the whole answer to one case, as values that any door can show."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from econ.books import BookYear
from econ.breakeven import BreakEven
from econ.estimate import Estimate
from econ.looking import OpenCheck
from econ.nexttime import NextTime
from econ.purchase import PriceUsed, Purchase
from econ.release import ReleaseTest
from econ.risk import Risk
from econ.staging import Staged
from econ.terms import Assumption
from econ.thumb import RuleOfThumb


@dataclass(frozen=True)
class Verdict:
    """The answer.

    advantage: better off than by `over`: the repair that would put it right, or where the answer is to repair the
    best course without.
    """

    course: str
    headline: str
    advantage: Decimal | None
    over: str | None
    confidence: float
    confidence_word: str


@dataclass(frozen=True)
class CourseLine:
    """One course for people and programs; money in the case's currency, cash_now paid (-) or received (+)."""

    course: str
    kind: str
    title: str
    jobs: tuple[str, ...]
    net_worth: Decimal
    cash_now: Decimal
    present_cost: Decimal
    cost_per_year: Decimal | None
    hours: float
    weeks_without: float
    passes_at_once: float | None
    jobs_added_later: Decimal | None
    repair_limit: Decimal | None
    gross_profit: Decimal | None
    gross_profit_per_hour: Decimal | None
    disposal: str | None
    barred: str | None


@dataclass(frozen=True)
class FaultLine:
    """A fault: its prior (history known, nothing heard), what is believed now, and whether only opening shows it."""

    id: str
    title: str
    prior: float
    probability: float
    hidden: bool


@dataclass(frozen=True)
class HoldLine:
    """An open hold: why, what clears it, and by which rule."""

    id: str
    title: str
    why: str
    cleared_by: tuple[str, ...]
    source: str


@dataclass(frozen=True)
class CautionLine:
    """A caution and its source."""

    id: str
    text: str
    source: str


@dataclass(frozen=True)
class HighestOffer:
    """What a reseller may pay: the highest offer, and what is left at the asked price.

    chance_of_loss: at that price, of coming out below what is laid out and the hours [1].
    """

    highest: Decimal
    asking_price: Decimal | None
    left_at_asking: Decimal | None
    chance_of_loss: float | None


@dataclass(frozen=True)
class Decision:
    """The whole answer to one case.

    warranty_first: what to ask for before anything is paid, empty where there is nothing. next_time: the parts that the
    repair of the estimate renews and that fail again. price_revision: of the price book, None
    without one. prices: of its parts that the price book says; purchase: what to
    order where for it, None where the book offers nothing.
    """

    version: str
    as_of: str
    perspective: str
    currency: str
    machine_class: str
    verdict: Verdict
    warranty_first: str
    courses: tuple[CourseLine, ...]
    faults: tuple[FaultLine, ...]
    faults_left_out: tuple[str, ...]
    hidden_damage: float
    open_checks: tuple[OpenCheck, ...]
    plan: Staged
    break_even: BreakEven
    repair_limit: Decimal | None
    estimate: Estimate | None
    risk: Risk
    next_time: tuple[NextTime, ...]
    offer: HighestOffer | None
    holds: tuple[HoldLine, ...]
    cautions: tuple[CautionLine, ...]
    release_checks: tuple[ReleaseTest, ...]
    rule_of_thumb: tuple[RuleOfThumb, ...]
    book_depreciation: tuple[BookYear, ...]
    assumptions: tuple[Assumption, ...]
    spent_so_far: Decimal
    dropped_mass: float
    price_revision: int | None = None
    prices: tuple[PriceUsed, ...] = ()
    purchase: Purchase | None = None
