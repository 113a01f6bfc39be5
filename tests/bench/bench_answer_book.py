"""What the workbook of an answer takes. Run by hand: ``python -m tests.bench.bench_answer_book``.

Of the three invented cases: the decision, the workings, and the workbook; beside it what openpyxl takes just to write
the same values and formulas into as many cells of as many sheets, without styles, names, rules or charts.
"""

from __future__ import annotations

import io
import statistics
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from api.demo import demos
from api.library import decide_apart, decide_document

TIMES = 5


def taken(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return the processor time that some work takes [s], and what it gives."""
    start = time.process_time()
    found = work()
    return time.process_time() - start, found


def bare(sheets: list[list[tuple[int, int, Any]]]) -> bytes:
    """Write values and formulas into cells, and nothing else."""
    from openpyxl import Workbook

    book, out = Workbook(), io.BytesIO()
    for cells in sheets:
        sheet = book.create_sheet()
        for row, column, value in cells:
            sheet.cell(row, column).value = value
    book.save(out)
    return out.getvalue()


def ours(decision: Any, workings: Any) -> bytes:
    """Write the workbook."""
    from api.workbook import write_workbook

    out = io.BytesIO()
    write_workbook(decision, workings, out)
    return out.getvalue()


def main() -> None:
    """Print seconds, bytes and ratios, medians of some rounds."""
    from openpyxl import load_workbook

    for d in demos():
        decision, workings = decide_apart(d.case)
        deciding = statistics.median(taken(partial(decide_document, d.case))[0] for _ in range(TIMES))
        book = load_workbook(io.BytesIO(ours(decision, workings)))
        sheets = [
            [(c.row, c.column, c.value) for row in s.iter_rows() for c in row if c.value is not None]
            for s in book.worksheets
        ]
        rounds = []
        for _ in range(TIMES):
            mine, body = taken(partial(ours, decision, workings))
            other, plain = taken(partial(bare, sheets))
            rounds.append((mine, other, len(body), len(plain)))
        mine, other, size, plain_size = (statistics.median(x) for x in zip(*rounds, strict=True))
        ratio = statistics.median(a / b for a, b, _, _ in rounds)
        cells = sum(map(len, sheets))
        print(f"{d.name}: decision {deciding:.2f} s; {cells:,} cells, workbook {mine:.2f} s, {size / 1e3:.0f} kB")
        times = f"{ratio:.2f} times the time, {size / plain_size:.2f} the size"
        print(f"  bare {other:.2f} s, {plain_size / 1e3:.0f} kB: {times}")


if __name__ == "__main__":
    main()
