"""Screening: the rows of a list of finds to a ranked answer, on one processor or several."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from api.common import with_common
from api.findlist import FindList, case_document
from api.library import defaults, open_shelf
from api.supply import supply_of
from econ.problems import BadInput, Problem
from econ.reading import read_case
from econ.rulebook import Shelf
from econ.screening import Screened, Screening
from econ.shortlist import Limits, Shortlist, shortlist

AT_ONCE = 32  # finds given to a worker together
ENOUGH = 100  # finds from which starting workers pays; judgement
Result = Screened | tuple[Problem, ...]


@dataclass(frozen=True)
class ScreenedFind:
    """A find of the list: its row and what the list calls it, km to fetch it, and what it is worth.

    buy: it is one of those to buy.
    """

    row: int
    id: str
    name: str
    km: float
    buy: bool
    screened: Screened


@dataclass(frozen=True)
class Answer:
    """The answer to a list: which finds to buy, all of them in order, and what could not be screened.

    read: rows that are not blank; left_out: rows at fault; late: of these the ones that were found so only when they
    were screened, by row.
    """

    headline: str
    currency: str
    limits: Limits
    shortlist: Shortlist
    finds: tuple[ScreenedFind, ...]
    read: int
    left_out: int
    late: Mapping[int, tuple[Problem, ...]]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Desk:
    """What finds are screened with. overlays: paths of those that `classes` holds, for the workers."""

    classes: Shelf
    overlays: tuple[str, ...] = ()
    book: Path | None = None
    workers: int = 1


class _Worker:
    """Screens documents one after the other."""

    def __init__(self, classes: Shelf, book: Path | None) -> None:
        self._classes, self._book = classes, book
        self._screening = Screening(defaults())

    def screen(self, document: Mapping[str, Any]) -> Result:
        """Return what a find is worth, or what is wrong with it."""
        try:
            case, c = read_case(document, self._classes)
            return self._screening.screen(case, c, supply_of(case, c, self._book))
        except BadInput as error:
            return tuple(error.problems)


_worker: list[_Worker] = []  # of a process of its own


def _begin(overlays: tuple[str, ...], book: Path | None) -> None:
    _worker[:] = [_Worker(open_shelf(overlays), book)]


def _some(documents: Sequence[Mapping[str, Any]]) -> list[Result]:
    return [_worker[0].screen(x) for x in documents]


def screen_documents(
    documents: Sequence[Mapping[str, Any]], desk: Desk, advance: Callable[[int], None] = lambda _: None
) -> list[Result]:
    """Return what each find is worth, or what is wrong with it, in their order; how many work changes nothing of it.

    advance: is told of so many more that are done.
    """
    order = sorted(range(len(documents)), key=lambda i: _kind(documents[i]))
    found: dict[int, Result] = {}
    if desk.workers <= 1 or len(documents) < ENOUGH:
        worker = _Worker(desk.classes, desk.book)
        for i in order:
            found[i] = worker.screen(documents[i])
            advance(1)
    else:
        for chunk, results in _spread([order[k : k + AT_ONCE] for k in range(0, len(order), AT_ONCE)], documents, desk):
            found |= zip(chunk, results, strict=True)
            advance(len(chunk))
    return [found[i] for i in range(len(documents))]


def _kind(document: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what finds have in common that are quicker screened one after the other."""
    told = (document["complaints"], sorted(document["history"].items()), document["findings"])
    return str(document["machine"]["class"]), str(document["as_of"])[:7], *map(repr, told)


def _spread(
    chunks: Sequence[list[int]],
    documents: Sequence[Mapping[str, Any]],
    desk: Desk,
) -> Iterator[tuple[list[int], list[Result]]]:
    """Yield chunks with their results as they come."""
    with ProcessPoolExecutor(desk.workers, get_context("spawn"), _begin, (desk.overlays, desk.book)) as pool:
        waiting: dict[Future[list[Result]], list[int]] = {}
        left = iter(chunks)
        try:
            while True:
                for chunk in left:
                    waiting[pool.submit(_some, [documents[i] for i in chunk])] = chunk
                    if len(waiting) >= 2 * desk.workers:
                        break
                if not waiting:
                    return
                done, _ = wait(waiting, return_when=FIRST_COMPLETED)
                for future in done:
                    yield waiting.pop(future), future.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def one_currency(found: FindList) -> str:
    """Return the currency of a list. Raises BadInput where it has several, which can't be weighed together."""
    codes = sorted({str(x) for x in found.rows["currency"].unique()})
    if len(codes) > 1:
        rule = "finds that are weighed together are in one currency"
        raise BadInput([Problem(f"{found.name}: currency", ", ".join(codes), rule, "make a list of each")])
    return codes[0] if codes else "USD"


def screen_list(
    found: FindList,
    common: Mapping[str, Any],
    limits: Limits,
    gap: float,
    desk: Desk,
    advance: Callable[[int], None] = lambda _: None,
) -> Answer:
    """Return the answer to a list of finds. common: as `read_common` has it. Raises BadInput for the list as a whole.

    gap: as for `shortlist`.
    """
    currency = one_currency(found)
    rows = found.rows
    documents = [case_document(found, i) for i in range(len(rows))]
    documents = [with_common(d, common, desk.classes[d["machine"]["class"]]) for d in documents]
    results = screen_documents(documents, desk, advance)
    good = [i for i, x in enumerate(results) if isinstance(x, Screened)]
    late = {int(rows["row"].iloc[i]): x for i, x in enumerate(results) if not isinstance(x, Screened)}
    screened = [x for x in results if isinstance(x, Screened)]
    km = rows["travel_km"].fillna(0.0).to_numpy()[good].tolist()
    short = shortlist(screened, km, currency, limits, gap)
    names = [str(d["machine"].get("name", "")) for d in documents]
    finds = tuple(
        ScreenedFind(int(rows["row"].iloc[good[i]]), str(rows["id"].iloc[good[i]]), names[good[i]], km[i],
                     place < short.buy, screened[i])
        for place, i in enumerate(short.order)
    )  # fmt: skip
    return Answer(short.headline, currency, limits, short, finds, found.read, found.bad + len(late), late, found.notes)
