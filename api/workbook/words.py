"""Words: the answer in plain words, put together by formulas, so that it follows what is changed."""

from __future__ import annotations

from api.workbook.courses import Courses
from api.workbook.faults import pointed
from api.workbook.formula import even, percent, said, text
from api.workbook.inputs import YES_NO
from api.workbook.page import Book, Page, Table
from api.workbook.tickets import Tickets
from econ.decision import CourseLine, Decision
from econ.life import CONDITION_KAPPA
from econ.repairs import LEADS_FROM
from econ.words import KNOWN_FROM, RIVALS, SURE_OF_CAUSE, TITLES, listed
from econ.workings import Workings

TITLE = "Words"


class _Words:
    """Lines of the sheet; each is a named cell."""

    def __init__(self, book: Book, page: Page) -> None:
        self._book, self._page = book, page

    def add(self, name: str, formula: str, shape: str = "general") -> str:
        page, row = self._page, self._page.next
        page.put(row, 1, name.replace("_", " "))
        page.live(row, 2, formula, shape, "wrap")
        self._book.define(name, page.place(row, 2))
        page.next += 1
        return name

    def said(self, name: str, amount: str) -> str:
        """Write an amount, then it in words; return the name of the words."""
        self.add(f"{name}_amount", amount, "money")
        return self.add(f"{name}_words", said(f"{name}_amount", self._book.currency, self._book.digits))


def write_words(book: Book, d: Decision, x: Workings, at: Courses, tickets: Tickets, faults: Table) -> None:
    """Write the sheet of words; its last line, named headline, is the answer."""
    page = book.page(TITLE, (26, 120))
    page.line("Workings: the answer in words", role="title")
    page.block(
        "Each line is put together from figures of other sheets; the last is the first line of the answer.", "note"
    )
    w, marked = _Words(book, page), pointed(d, x)
    _cause(w, len(marked), faults)
    table = at.table
    w.add("rival_kind", f"IF(rival_course=0,1,INDEX({table.column('kind')},rival_course))", "count")
    kinds = list(dict.fromkeys(c.kind for c in d.courses))
    w.said("ahead", "IF(rival_course=0,0,best_worth-rival_worth)")
    rivals = ",".join(text(RIVALS[k]) for k in kinds)
    who = "The customer is" if d.perspective == "shop" else "You are"
    said = f'{text(who + " better off by ")}&ahead_words&{text(" than with ")}&CHOOSE(rival_kind,{rivals})&"."'
    gain = f'IF(rival_course=0,"",{said})'
    if not marked and "keep_using" in kinds:
        gain = f'IF(best_kind={kinds.index("keep_using") + 1},"",{gain})'
    w.add("gain", gain)
    _pays(w, d, x, at, tickets)
    firsts = [w.add(f"first_{i + 1}", _first(w, d, x, at, c, i, tickets)) for i, c in enumerate(d.courses)]
    whole = f"CHOOSE(best_course,{','.join(firsts)})"
    if d.perspective == "reseller":
        whole = _offer(w, book.scale, at)
    if not marked:
        why = (
            "What was complained of was found to be normal"
            if x.case.complaints
            else "Nothing is said or seen to be wrong"
        )
        w.add("first_plain", whole)
        whole = f"{text(why + '; going by what is usual: ')}&LOWER(LEFT(first_plain,1))&MID(first_plain,2,2000)"
    w.add("first_sentence", whole)
    w.add("reason", _reason(d, x, at, marked))
    w.add("shop_earns", _shop(w, at) if d.perspective == "shop" else '""')
    w.add("answer_now", 'TRIM(first_sentence&" "&gain&" "&reason&" "&shop_earns)')
    w.add("contradiction", _contradiction())
    w.add("headline", f'IF(contradiction="",{_stepped(d, at)},contradiction)')


def _contradiction() -> str:
    """Return what can't be as the figures stand, which a case is refused for; empty where there is nothing."""
    cells = "changed_figures"
    words = "+".join(f'COUNTIF({cells},"{word}")' for word in (*YES_NO, *CONDITION_KAPPA))
    wrong = [
        (f"COUNTA({cells})>COUNT({cells})+{words}", "a text stands where a figure belongs"),
        ("IF(ISNUMBER(as_is),as_is>=running,FALSE)", "as it stands it can't bring as much as running"),
    ]
    dearer = (("running", "running"), ("part_out", "in parts"), ("scrap", "as scrap"))
    wrong += [(f"{name}>new_total", f"{how} it can't bring more than a new one costs") for name, how in dearer]
    told = "&".join(f'IF({test},"; {said}","")' for test, said in wrong)
    whole = f'"The figures contradict each other"&{told}&". Correct them on sheet Inputs."'
    return f'IF(OR(COUNTA({cells})=0,({told})=""),"",{whole})'  # those of the answer were looked at


def _cause(w: _Words, marked: int, faults: Table) -> None:
    """Write what it most likely is: the first fault that what was heard points to, or the first two."""
    if not marked:
        w.add("cause", '""')
        w.add("lead_chance", "0", "share")
        w.add("lead_title", '""')
        return
    for rank, name in enumerate(("lead", "next")[:marked], 1):
        place = f"MATCH({rank},{faults.column('rank')},0)"
        w.add(f"{name}_title", f"INDEX({faults.column('title')},{place})")
        w.add(f"{name}_chance", f"INDEX({faults.column('pointed')},{place})", "share")
        w.add(f"{name}_percent", percent(f"{name}_chance"))
    clear = 'IF(lead_chance>0,"It is most likely "&lead_title&" ("&lead_percent&")","The cause is open")'
    if marked == 1:
        w.add("cause", clear)
        return
    both = '"The cause is open, "&lead_title&" and "&next_title&" lead ("&lead_percent&" and "&next_percent&")"'
    w.add("cause", f"IF(lead_chance>={LEADS_FROM!r},{clear},{both})")


def _pays(w: _Words, d: Decision, x: Workings, at: Courses, tickets: Tickets) -> None:
    """Write what the repair that would put it right comes to, and up to what it pays: of the answer if that is one."""
    mends = [i for i, c in enumerate(d.courses) if at.repair(c) is not None]
    if not mends or x.curing is None:
        for name in ("comes_to", "pays_to"):
            w.said(name, "0")
        return
    table, curing = at.table, at.number(x.curing)
    w.add("put_right", f"IF(ISNUMBER(INDEX({table.column('limit')},best_course)),best_course,{curing + 1})", "count")
    costs = ",".join(
        tickets.cell("cost", found[1].ticket) if (found := at.repair(c)) is not None else "0" for c in d.courses
    )
    w.said("comes_to", f"CHOOSE(put_right,{costs})+INDEX({table.column('follow_up')},put_right)")
    w.said("pays_to", f"INDEX({table.column('worth')},put_right)+comes_to_amount-idle_worth")


def _own(x: Workings) -> str:
    return "" if x.terms.by_shop else ", own time counted,"


def _first(w: _Words, d: Decision, x: Workings, at: Courses, c: CourseLine, i: int, tickets: Tickets) -> str:
    """Return the first sentence of the answer if a course is best."""
    table, found = at.table, at.repair(c)
    if d.perspective == "reseller":
        return text(c.title)
    if found is None:
        if c.kind == "keep_using":
            return text(TITLES[c.kind].capitalize() + ".")
        cash = w.said(f"cash_{i + 1}", f"ABS({table.cell('cash', i)})")
        title = table.cell("title", i)
        paid = f'IF({table.cell("cash", i)}<0," to pay"," comes in")'
        return f'UPPER(LEFT({title},1))&MID({title},2,500)&": about "&{cash}&{paid}&"."'
    paid = w.said(f"paid_{i + 1}", tickets.cell("total", found[1].ticket))
    whole = text(_own(x) + " with what may follow; it pays up to ")
    expect = f'{text(" Expect about ")}&comes_to_words&{whole}&pays_to_words&"."'
    jobs = listed([x.machine_class.jobs[j].title for j in c.jobs])
    if found[1].open_ended:
        start = f"{jobs}; " if c.jobs else ""
        known = '"put right the "&lead_title&", then what the test run still shows."'
        how = f'IF(lead_chance>={SURE_OF_CAUSE!r},{known},"find the cause first, then do what it needs.")'
        return f"{text('Worth repairing: ' + start)}&{how}&{expect}"
    if d.perspective == "shop":
        plain = f"{text('Quote ')}&{paid}&{text(': ' + jobs + '.')}"
    elif x.terms.by_shop:
        plain = f"{text('Repair it: ' + jobs + ', about ')}&{paid}&{text(' at the shop.')}"
    else:
        own = f"FIXED({table.cell('hours', i)}*slowness,1)"
        plain = (
            f"{text('Repair it: ' + jobs + ', about ')}&{paid}&{text(' to pay and ')}&{own}&{text(' h of your own.')}"
        )
    seldom = f"{text('Worth repairing, beginning with: ' + jobs + ' (')}&{paid}&{text(').')}&{expect}"
    return f"IF({table.cell('cured', i)}<{KNOWN_FROM!r},{seldom},{plain})"


def _offer(w: _Words, scale: int, at: Courses) -> str:
    """Return the first sentence for a reseller: buy it or leave it, the highest offer, and what to do with it."""
    way = f"INDEX({at.table.column('title')},best_course)"
    worth = f"best_worth*{scale}-ROUND(hour_worth*{scale},0)*travel_hours"
    w.add("highest_offer", f"{even(f'({worth})')}/{scale}-travel_cost", "money")
    w.said("offer", "MAX(highest_offer,0)")
    w.said("left", "IF(ISNUMBER(asking_price),highest_offer-asking_price,0)")
    w.said("asked", "IF(ISNUMBER(asking_price),asking_price,0)")
    gift = f'{text("Leave it, even as a gift: no way of going on pays for the hours. The least bad is to ")}&{way}&"."'
    plain = f'"Offer at most "&offer_words&": "&{way}&"."'
    leave = f'"Leave it at "&asked_words&": it is worth at most "&offer_words&" to you, if you "&{way}&"."'
    start = f'"Buy it at "&asked_words&", offer at most "&offer_words&": "&{way}'
    buy = start + '&". It leaves "&left_words&" with every hour paid."'
    return f"IF(offer_amount<=0,{gift},IF(NOT(ISNUMBER(asking_price)),{plain},IF(left_amount<0,{leave},{buy})))"


def _reason(d: Decision, x: Workings, at: Courses, marked: list[str]) -> str:
    """Return the main reason: the likeliest fault, and what the repair costs against what it is worth."""
    if not marked:
        return '""'
    table = at.table
    opened = [i + 1 for i, c in enumerate(d.courses) if (r := at.repair(c)) is not None and r[1].open_ended]
    mends = any(at.repair(c) for c in d.courses)
    parts = 'cause&"."'
    no_repair = next((c.barred for c in d.courses if c.kind == "repair" and c.barred), "")
    if x.curing is None:
        because = (no_repair or "").partition(": nothing that can be done here clears this")[2]
        return f"cause&{text('; no repair can be done here' + because + '.')}"
    whole = f"comes_to_words&{text(_own(x))}"
    free = f'cause&"; putting it right comes to about "&{whole}&" and would not pay even if it were free."'
    only = f'cause&"; putting it right comes to about "&{whole}&" and pays only up to "&pays_to_words&"."'
    other = f"IF(pays_to_amount<=0,{free},{only})"
    if not mends:
        return other
    cured = f"INDEX({table.column('cured')},best_course)"
    first_go = f'cause&"; this puts it right at the first go with a chance of "&{percent(cured)}&"."'
    kinds = list(dict.fromkeys(c.kind for c in d.courses))
    is_repair = f"best_kind={kinds.index('repair') + 1}"
    some = f"IF({'+'.join(f'(best_course={n})' for n in opened) or '0'}>0,{parts},{first_go})"
    return f"IF({is_repair},{some},{other})"


def _shop(w: _Words, at: Courses) -> str:
    table = at.table
    profit, hourly = (f"INDEX({table.column(n)},best_course)" for n in ("profit", "hourly"))
    w.said("earned", f"IF(ISNUMBER({profit}),{profit},0)")
    w.said("earned_hour", f"IF(ISNUMBER({hourly}),{hourly},0)")
    told = '"Your gross profit is "&earned_words&", "&earned_hour_words&" per bench hour."'
    return f'IF(ISNUMBER({profit}),{told},"")'


def _stepped(d: Decision, at: Courses) -> str:
    """Return the answer with what comes first, as long as the answer is the one that this was worked out for."""
    step = first_step_of(d)
    if not step:
        return "answer_now"
    same = f"AND(best_course={at.number(d.verdict.course) + 1},COUNTA(changed_figures)=0)"  # a plan does not follow
    return f"IF({same},{text(step)}&LOWER(LEFT(answer_now,1))&MID(answer_now,2,4000),answer_now)"


def first_step_of(d: Decision) -> str:
    """Return what the headline says comes first: all that stands before the sentence that follows."""
    for mark in ("As things stand: ", "Without that order: "):
        before, found, _ = d.verdict.headline.partition(mark)
        if found and (before.startswith(("First: ", "Order "))):
            return before + found
    return ""
