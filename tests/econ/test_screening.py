"""Screening against the decision on the same find, and what must hold of what it says."""

from __future__ import annotations

import random
from decimal import Decimal
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest

import econ
from econ import weighing
from econ.buying import Asking
from econ.money import to_decimal
from econ.problems import BadInput
from econ.screening import Appraisal, Screened, Screening, one_of
from econ.screening import screened as screened_at
from econ.weighing import believe

from ..strategies import CLASS_IDS, EACH_CLASS, defaults, machine_class, read

MOWER = {"class": "mower_walk_behind", "age_years": 6, "new_price": "349.00"}
OFFERED = {"asking_price": "20.00", "travel_cost": "4.00", "travel_hours": 0.5}


def find(class_id: str, rng: random.Random) -> dict[str, Any]:
    """Return a find of a class as a case: drawn complaints, history, age, prices and way to it."""
    c = machine_class(class_id)
    told = rng.sample(sorted(c.facts), k=rng.randint(0, 3))
    complaints = rng.sample(sorted(c.complaints), k=rng.choice((0, 1, 1, 1, 2)))
    machine: dict[str, Any] = {"class": class_id, "condition": rng.choice(("good", "fair", "poor"))}
    if rng.random() < 0.9:
        machine["age_years"] = rng.randint(0, 25)
    if rng.random() < 0.8:
        machine["new_price"] = f"{rng.randint(80, 2500)}.00"
    machine["use"] = rng.choice(("residential", "residential", "commercial"))
    machine["rusty"] = rng.random() < 0.2
    if rng.random() < 0.3:
        machine["hours"] = float(rng.randint(5, 900))
    market = {"running": f"{rng.randint(60, 80)}.00", "as_is": f"{rng.randint(5, 50)}.00"}
    ordinary = sorted(i for i, x in c.checks.items() if x.outcomes and not x.complaint and not x.reveals)
    offered = {"travel_cost": f"{rng.randint(0, 30)}.50", "travel_hours": rng.randint(0, 8) / 4}
    if rng.random() < 0.9:
        offered["asking_price"] = f"{rng.randint(0, 300)}.00"
    told_all: dict[str, Any] = {
        "perspective": "reseller",
        "machine": machine,
        "as_of": f"2026-{rng.randint(1, 12):02d}-15",
        "history": {f: rng.choice(c.facts[f].levels) for f in told},
        "complaints": complaints,
        "find": offered,
    }
    if rng.random() < 0.2:
        told_all["market"] = market if rng.random() < 0.5 else {"running": market["running"]}  # as it stands it is less
    if rng.random() < 0.4:
        check = rng.choice(ordinary)
        findings = [{"check": check, "outcome": rng.choice(c.checks[check].outcomes)}]
        try:  # what can't be together is no find
            believe(*read({**told_all, "findings": findings}), {})
            told_all["findings"] = findings
        except BadInput:
            pass
    return told_all


def same_as_decided(document: dict[str, Any], screened: Screened) -> None:
    case, c = read(document)
    d = econ.decide(case, c, defaults())
    assert d.offer is not None
    assert screened.course == d.verdict.course
    assert max(screened.highest_offer, Decimal(0)) == d.offer.highest
    assert screened.profit == d.offer.left_at_asking
    assert screened.chance_of_loss == d.offer.chance_of_loss
    assert set(screened.holds) == {h.id for h in d.holds}
    (line,) = [x for x in d.courses if x.course == screened.course]
    trip = Decimal(str(defaults()["hour_worth"].value)) * Decimal(str(case.find.travel_hours))
    assert abs(line.net_worth - trip - case.find.travel_cost - screened.highest_offer) <= Decimal("0.01")


def screened_as_decided(class_id: str, finds: int, seed: int) -> None:
    rng = random.Random(f"{class_id} {seed}")  # noqa: S311 - invented finds
    documents = [find(class_id, rng) for _ in range(finds)]
    screening = Screening(defaults())
    for document in documents:  # one after the other with the same helper: what they have in common is kept
        same_as_decided(document, screening.screen(*read(document)))


@pytest.mark.parametrize("class_id", ["mower_walk_behind", "tiller_rear_tine", "chain_saw"])
def test_it_is_the_decision_on_the_same_find(class_id: str) -> None:
    screened_as_decided(class_id, 3, 0)


@pytest.mark.slow
@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_it_is_the_decision_of_every_class(class_id: str) -> None:
    screened_as_decided(class_id, 12, 1)


def block(class_id: str, finds: int) -> list[dict[str, Any]]:
    rng = random.Random(class_id)  # noqa: S311 - invented finds
    return [find(class_id, rng) for _ in range(finds)]


@pytest.mark.parametrize("class_id", EACH_CLASS)
def test_a_find_by_itself_is_screened_as_among_others(class_id: str) -> None:
    """To the last digit, whatever came before it."""
    documents = block(class_id, 6)
    screening = Screening(defaults())
    together = [screening.screen(*read(x)) for x in documents]
    assert [Screening(defaults()).screen(*read(x)) for x in documents] == together
    backwards = Screening(defaults())
    assert [backwards.screen(*read(x)) for x in reversed(documents)] == together[::-1]


def of(perspective: str, document: dict[str, Any]) -> dict[str, Any]:
    """Return a find as the machine of an owner or a shop's customer: no price, no way to it."""
    if perspective == "reseller":
        return document
    return {**{k: v for k, v in document.items() if k != "find"}, "perspective": perspective}


def same(one: Appraisal, other: Appraisal) -> bool:
    """Return whether two appraisals are the same to the last digit, draws and looks and all."""

    def plain(x: Any) -> Any:
        if isinstance(x, np.ndarray):
            return x.tolist()
        return [plain(y) for y in x] if isinstance(x, tuple) else vars(x) if hasattr(x, "__dict__") else x

    def deep(x: Any) -> Any:
        found = plain(x)
        if isinstance(found, dict):
            return {k: deep(v) for k, v in found.items()}
        return [deep(v) for v in found] if isinstance(found, list) else found

    return bool(deep(one) == deep(other))


PERSPECTIVES = ("owner", "shop", "reseller")


def appraised_as_decided(class_id: str, perspective: str, kinds: int) -> None:
    """Among others, by itself, in another order; and course and worth are the decision's."""
    documents = [of(perspective, x) for x in block(class_id, kinds)]
    among = Screening(defaults())
    together = [among.appraise(*read(x)) for x in documents]
    backwards = Screening(defaults())
    for document, appraisal in reversed(list(zip(documents, together, strict=True))):
        assert same(backwards.appraise(*read(document)), appraisal)
        assert same(Screening(defaults()).appraise(*read(document)), appraisal)
        d = econ.decide(*read(document), defaults())
        assert appraisal.course == d.verdict.course
        (line,) = [x for x in d.courses if x.course == appraisal.course]
        assert to_decimal(appraisal.worth, d.currency) == line.net_worth
        assert appraisal.holds == tuple(h.id for h in d.holds)


@pytest.mark.parametrize("perspective", PERSPECTIVES)
def test_whoever_asks_it_is_the_decision(perspective: str) -> None:
    appraised_as_decided("mower_walk_behind", perspective, 2)


@pytest.mark.slow
@pytest.mark.parametrize("perspective", PERSPECTIVES)
@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_whoever_asks_it_is_the_decision_of_every_class(class_id: str, perspective: str) -> None:
    appraised_as_decided(class_id, perspective, 4)


def believed_alike(class_id: str, perspective: str, kinds: int, rng: random.Random) -> list[dict[str, Any]]:
    """Return cases that tell the same of the machine's state, and differ in whatever bears on its price."""
    first = find(class_id, rng)
    told = []
    for _ in range(kinds):
        other = find(class_id, rng)
        machine = {**other["machine"], "use": first["machine"]["use"]}
        machine["rusty"] = rng.random() < 0.1  # some are not worked on alike
        said = {**first, "machine": machine, "as_of": other["as_of"]}
        market = {"running": f"{rng.randint(60, 79)}.00", "as_is": f"{rng.randint(5, 50)}.00"}
        stated = [*market, "part_out"][: rng.choice((0, 0, 1, 2))]
        told.append(of(perspective, {**said, "market": {x: market[x] for x in stated}}))
    return told


def alone_as_among_others(class_id: str, perspective: str, kinds: int, seed: int) -> None:
    rng = random.Random(f"{class_id} {seed}")  # noqa: S311 - invented finds
    cases = [read(x) for x in believed_alike(class_id, perspective, kinds, rng)]
    c = cases[0][1]
    with patch.object(weighing, "AT_ONCE", 2 + seed % 2 * 30):  # in blocks, and in blocks of blocks
        together = Screening(defaults()).appraise_alike([case for case, _ in cases], c, [None] * kinds)
    by_itself = Screening(defaults())
    for i, (case, _) in enumerate(cases):
        found = together[i]
        assert isinstance(found, Appraisal)
        assert same(found, by_itself.appraise(case, c)), i
        if i % 8 == 0:
            assert same(found, Screening(defaults()).appraise(case, c)), i


@pytest.mark.parametrize("class_id", EACH_CLASS)
def test_kinds_at_once_as_one_by_one(class_id: str) -> None:
    """To the last digit: kinds believed alike are worked out together, to what each would be by itself."""
    alone_as_among_others(class_id, "reseller", 6, 0)


@pytest.mark.parametrize("perspective", ["owner", "shop"])
def test_kinds_at_once_as_one_by_one_whoever_asks(perspective: str) -> None:
    alone_as_among_others("tiller_front_tine", perspective, 4, 0)


@pytest.mark.slow
@pytest.mark.parametrize("perspective", PERSPECTIVES)
@pytest.mark.parametrize("class_id", CLASS_IDS)
def test_kinds_at_once_as_one_by_one_in_every_class(class_id: str, perspective: str) -> None:
    kinds = 80 if perspective == "reseller" else 24
    for seed in (1, 2):
        alone_as_among_others(class_id, perspective, kinds, seed)


def test_a_kind_that_contradicts_itself_leaves_the_others_alone() -> None:
    """A machine in hand that is to sell for more than a new one is refused, and those beside it are as without it."""
    good, odd = mower(), mower(market={"running": "999.00"})
    older = mower(machine={**MOWER, "age_years": 9})
    cases = [read(x) for x in (good, odd, older)]
    first, wrong, last = Screening(defaults()).appraise_alike([x for x, _ in cases], cases[0][1], [None] * 3)
    assert isinstance(wrong, BadInput)
    assert [p.path for p in wrong.problems] == ["market.running"]
    for found, document in ((first, good), (last, older)):
        assert isinstance(found, Appraisal)
        assert same(found, Screening(defaults()).appraise(*read(document)))


def test_only_what_tells_the_same_is_appraised_together() -> None:
    cases = [read(x) for x in (mower(), mower(complaints=["low_power"]))]
    with pytest.raises(ValueError, match="tell the same"):
        Screening(defaults()).appraise_alike([x for x, _ in cases], cases[0][1], [None] * 2)


def test_what_was_weighed_before_the_next_block_is_done_with() -> None:
    """Places move where the sets of faults met so far are gathered for the next block; using old ones is an error."""
    case, c = read(mower())
    believed, common = believe(case, c, {}), weighing.Common()
    (old,) = weighing.weigh_alike([case], c, defaults(), believed, [None], common)
    assert isinstance(old, weighing.Weighed)
    states = old.setting.posterior.states
    here = old.after(("traced",), states, 0.0, 0)
    assert here.shape == (1, 1, states.size)
    weighing.weigh_alike([case], c, defaults(), believed, [None], common)
    with pytest.raises(ValueError, match="gathered"):
        old.after(("traced",), states, 0.0, 0)


@pytest.mark.parametrize("class_id", EACH_CLASS)
def test_thousands_of_prices_at_once_as_one_by_one(class_id: str) -> None:
    """To the last digit: a thousand prices and trips for each of three kinds, and cut anywhere."""
    rng = np.random.default_rng(7)
    n = 1000
    asking = Asking(
        rng.integers(0, 60_000, n), rng.random(n) < 0.9, rng.integers(0, 9_000, n), rng.integers(0, 40, n) / 8
    )
    screening = Screening(defaults())
    for document in block(class_id, 3):
        appraisal = screening.appraise(*read(document))
        at_once = screened_at(appraisal, asking)
        for i in range(0, n, 1 if class_id == CLASS_IDS[0] else 7):
            assert one_of(screened_at(appraisal, asking.some(slice(i, i + 1))), 0) == one_of(at_once, i)
        cut = screened_at(appraisal, asking.some(slice(311, None)))
        assert [one_of(cut, i) for i in range(n - 311)] == [one_of(at_once, i) for i in range(311, n)]


def mower(**fields: Any) -> dict[str, Any]:
    told: dict[str, Any] = {
        "perspective": "reseller",
        "machine": MOWER,
        "as_of": "2026-04-18",
        "complaints": ["will_not_start"],
    }
    told["market"] = {"running": "260.00"}
    return {**told, "find": OFFERED, **fields}


def screened(**fields: Any) -> Screened:
    return Screening(defaults()).screen(*read(mower(**fields)))


def test_what_a_find_takes_by_hand() -> None:
    """Bench hours at the own pace, cleaning counted; cash is price, trip, the ticket and parts that may follow."""
    found = screened()
    case, c = read(mower())
    d = econ.decide(case, c, defaults())
    (line,) = [x for x in d.courses if x.course == found.course]
    assert line.kind == "repair"
    assert found.cash is not None
    assert line.jobs_added_later is not None
    assert Decimal(0) <= found.cash - (Decimal("24.00") - line.cash_now) <= line.jobs_added_later, (
        "and parts that may follow"
    )
    pace, cleaning = defaults()["slowness"].value, defaults()["cleaning_hours"].value
    assert found.bench_hours >= line.hours * pace + cleaning - 1e-3
    assert found.profit is not None
    assert found.profit_per_hour is not None
    assert abs(found.profit_per_hour * Decimal(str(found.bench_hours)) - found.profit) <= Decimal("0.02")


@pytest.mark.parametrize("class_id", EACH_CLASS)
def test_a_scarce_bench_hour_counts_by_the_hours_of_a_find(class_id: str) -> None:
    """At 2.00 more for a bench hour a find leaves 2.00 less for each of its bench hours, or goes another way.

    Not more than that, as the way it went before is still there, and not less than for the bench hours of the way it
    then goes: what may follow, and taking to parts what is given up half-way, counted by their chances. Where it
    goes another way half a dollar is let pass: jobs that change no more are left out.
    """
    screening = Screening(defaults())
    hour = Decimal(str(defaults()["hour_worth"].value))
    for document in block(class_id, 4):
        here = screening.screen(*read(document))
        scarce = screening.screen(*read({**document, "terms": {"bench_hour_worth": str(hour + 2)}}))
        same_hour = screening.screen(*read({**document, "terms": {"bench_hour_worth": str(hour)}}))
        assert same_hour == here
        fall = here.highest_offer - scarce.highest_offer
        least, most = (2 * Decimal(str(x.bench_hours)) for x in (scarce, here))
        rounding = Decimal("0.02") if here.course == scarce.course else Decimal("0.52")
        assert least - rounding <= fall <= most + rounding


def test_the_price_and_the_trip_come_before_anything() -> None:
    """A dollar more asked is a dollar less left; an hour more on the way costs an hour."""
    here, dearer = screened(), screened(find={"asking_price": "21.00", "travel_cost": "4.00", "travel_hours": 0.5})
    further = screened(find={"asking_price": "20.00", "travel_cost": "4.00", "travel_hours": 1.5})
    assert (here.course, here.highest_offer) == (dearer.course, dearer.highest_offer)
    assert here.profit is not None
    assert dearer.profit == here.profit - 1
    worth = Decimal(str(defaults()["hour_worth"].value))
    assert here.highest_offer - further.highest_offer == worth
    assert (dearer.chance_of_loss or 0) >= (here.chance_of_loss or 0)
    free = screened(find={})
    assert (free.profit, free.cash, free.chance_of_loss, free.profit_per_hour) == (None, None, None, None)


def test_knowing_is_worth_most_where_the_answer_hangs_on_it() -> None:
    """Far below or above what it is worth nothing changes the answer; near it a question or a look may."""

    def worth(asked: str) -> Decimal:
        found = screened(find={"asking_price": asked, "travel_cost": "0.00", "travel_hours": 0.0})
        return found.spot_check.worth if found.spot_check else Decimal(0)

    near = screened(find={}).highest_offer
    assert near > 0
    assert worth(f"{near:.2f}") > worth("0.00")
    assert worth(f"{near:.2f}") > worth(f"{near + 2000:.2f}") == 0


def test_what_was_looked_at_is_not_asked_for_again() -> None:
    first = screened().spot_check
    assert first is not None
    normal = machine_class("mower_walk_behind").checks[first.id].outcomes[0]
    again = screened(findings=[{"check": first.id, "outcome": normal}]).spot_check
    assert again is None or again.id != first.id


@pytest.mark.parametrize("class_id", EACH_CLASS)
def test_checks_on_the_spot_need_no_more_than_a_few_minutes_and_what_is_at_hand(class_id: str) -> None:
    c = machine_class(class_id)
    for document in block(class_id, 3):
        x = Screening(defaults()).screen(*read(document))
        if x.spot_check is not None:
            check = c.checks[x.spot_check.id]
            assert check.minutes <= 10
            assert not check.operations
            assert not check.reveals
            assert set(check.tools) <= set(read(document)[0].tools.owned)
        if x.question is not None:
            assert x.question.id in c.facts
            assert x.question.id not in document["history"]
