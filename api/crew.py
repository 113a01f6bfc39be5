"""Crew: tasks worked on by several processes of this machine, or by the workers of a Dask cluster.

A worker that dies half-way loses nothing: what it had in hand is given to another.
"""

from __future__ import annotations

import logging
import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any, TypeVar

from econ.problems import BadInput, Problem

LOCAL = "local"  # a cluster of this machine alone
AHEAD = 2  # tasks in hand for each worker
TRIES = 3  # times that all workers may die without anything done in between
# Of the workers of LOCAL. By itself Dask has them give memory back at once, which makes arrays half as slow again.
ONE_THREAD = {"OMP_NUM_THREADS": 1, "MKL_NUM_THREADS": 1, "OPENBLAS_NUM_THREADS": 1}
Task = TypeVar("Task")
Done = TypeVar("Done")


@dataclass(frozen=True)
class Crew:
    """Who works: so many processes, or a Dask cluster by the address of its scheduler, LOCAL for one of its own."""

    workers: int = 1
    scheduler: str = ""


class AllDiedError(RuntimeError):
    """The workers died again and again without anything done in between."""

    def __init__(self) -> None:
        super().__init__(f"all workers died, {TRIES} times in a row; there may be too little memory for so many")


def _begin(begin: Callable[[], None] | None) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever started this one is told, and stops it
    with suppress(OSError):  # standard output is for what that one says
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    if begin is not None:
        begin()


@contextmanager
def _processes(workers: int, begin: Callable[[], None] | None) -> Iterator[tuple[Executor, int]]:
    pool = ProcessPoolExecutor(workers, get_context("spawn"), _begin, (begin,))
    try:
        yield pool, workers
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in list((getattr(pool, "_processes", None) or {}).values()):
            process.terminate()  # nobody waits for what is in hand
        raise
    pool.shutdown()


@contextmanager
def _cluster(crew: Crew) -> Iterator[tuple[Executor, int]]:
    """Give a Dask cluster as an executor, and how many work there. Raises BadInput where it can't be had."""
    try:
        import distributed  # type: ignore[import-untyped, import-not-found, unused-ignore]
    except ImportError:
        rule, remedy = "a cluster is worked with by dask", 'pip install "mendworth[cluster]"'
        raise BadInput([Problem("--scheduler", "no dask", rule, remedy)]) from None
    from dask import config  # type: ignore[attr-defined, unused-ignore]

    dask: Any = distributed
    with ExitStack() as held:
        address = crew.scheduler
        if address == LOCAL:
            held.enter_context(config.set({"distributed.nanny.pre-spawn-environ": ONE_THREAD}))
            one = dask.LocalCluster(
                n_workers=crew.workers, threads_per_worker=1, dashboard_address=None, silence_logs=logging.ERROR
            )
            address = held.enter_context(one)
        try:
            client = held.enter_context(dask.Client(address, timeout=10))
        except (OSError, ValueError) as error:
            rule = f"no scheduler answers there: {error}"
            remedy = f"give its address, such as tcp://10.0.0.5:8786, or {LOCAL}"
            raise BadInput([Problem("--scheduler", crew.scheduler, rule, remedy)]) from None
        yield client.get_executor(pure=False), max(sum(client.nthreads().values()), 1)


def work_on(
    tasks: Iterable[Task], do: Callable[[Task], Done], crew: Crew, begin: Callable[[], None] | None = None
) -> Iterator[tuple[int, Done]]:
    """Yield the number of each task, from 0, with what comes of it, as they are done.

    do: a function that others can import, or a partial of one; begin: likewise, called first by each process, but not
    on a cluster. Raises BadInput where a cluster can't be had, whatever `do` does, and AllDiedError.
    """
    waiting = enumerate(tasks)
    if crew.workers <= 1 and not crew.scheduler:
        for number, task in waiting:
            yield number, do(task)
        return
    left: dict[int, Task] = {}
    died = 0
    while True:
        try:
            with _cluster(crew) if crew.scheduler else _processes(crew.workers, begin) as (executor, workers):
                for done in _work(left, waiting, do, executor, AHEAD * workers):
                    died = 0
                    yield done
            return
        except BrokenProcessPool:
            died += 1
            if died == TRIES:
                raise AllDiedError from None


def _work(
    left: dict[int, Task],
    more: Iterator[tuple[int, Task]],
    do: Callable[[Task], Done],
    executor: Executor,
    most: int,
) -> Iterator[tuple[int, Done]]:
    """Yield what is done. left: tasks in hand, kept up to date, so that another may go on with them."""
    running: dict[Future[Done], int] = {executor.submit(do, task): number for number, task in left.items()}
    while True:
        while len(running) < most:
            following = next(more, None)
            if following is None:
                break
            number, task = following
            left[number] = task
            running[executor.submit(do, task)] = number
        if not running:
            return
        done, _ = wait(running, return_when=FIRST_COMPLETED)
        for future in done:
            number = running.pop(future)
            result = future.result()
            del left[number]
            yield number, result
