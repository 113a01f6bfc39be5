"""Workbook: a decision as a workbook whose figures are live formulas: change a price, and the answer follows."""

from __future__ import annotations

from typing import BinaryIO

from econ.decision import Decision
from econ.workings import Workings


def write_workbook(d: Decision, x: Workings, file: BinaryIO) -> None:
    """Write a decision as XLSX. x: its workings."""
    from api.workbook.answer import write_answer
    from api.workbook.breakeven import write_break_even
    from api.workbook.bridge import write_bridge
    from api.workbook.checks import write_checks
    from api.workbook.courses import courses_at, write_courses
    from api.workbook.estimate import write_estimate
    from api.workbook.faults import faults_table, write_faults
    from api.workbook.figures import months_table, write_figures, write_months
    from api.workbook.inputs import inputs_of, write_inputs
    from api.workbook.left import left_tables, write_left, write_states
    from api.workbook.life import write_life
    from api.workbook.outcome import write_outcome
    from api.workbook.page import Book
    from api.workbook.saving import save
    from api.workbook.signed import write_buyer, write_care, write_release
    from api.workbook.sources import write_sources
    from api.workbook.tickets import tickets_table, write_tickets
    from api.workbook.words import write_words

    book = Book(d.currency, _largest(d))
    left, tickets, courses, faults = left_tables(x), tickets_table(x), courses_at(d, x), faults_table(d)
    months = months_table(x, list(left.renewals))
    write_answer(book, d, x, courses)
    write_inputs(book, x, inputs_of(x, book.scale))
    estimated = write_estimate(book, d, x, tickets)
    write_courses(book, courses, left, tickets, months)
    write_bridge(book, courses, left, tickets, months)
    write_faults(book, d, x, faults, left)
    write_life(book, d, x, months)
    write_break_even(book, d, x, courses)
    write_checks(book, d, x)
    write_care(book, d, x)
    write_release(book, d, x)
    write_buyer(book, d, x)
    write_outcome(book, d, x, courses, estimated)
    write_sources(book, d, x)
    write_words(book, d, x, courses, tickets, faults)
    write_figures(book, x, months, left.states)
    write_months(book, x, months, list(left.renewals), left.states)
    write_tickets(book, x, tickets)
    write_states(book, x, left)
    write_left(book, x, left, tickets, months)
    save(book.book, file, list(book.alt_texts.values()), book.firsts)


def _largest(d: Decision) -> float:
    """Return the largest amount that is to be expected on a sheet: of the answer, once and a half."""
    amounts = [x for c in d.courses for x in (c.net_worth, c.cash_now, c.present_cost)]
    amounts += [x for o in d.risk.outturns for x in (o.p10, o.p90)]
    return 1.5 * max((abs(float(x)) for x in amounts), default=0.0)
