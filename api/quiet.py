"""Quiet: standard output kept for what the program says."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress


@contextmanager
def quiet() -> Iterator[None]:
    """Drop what libraries write to standard output by themselves: HiGHS writes there even when told not to.

    Python's own output is not to be used meanwhile. For a program with one thread, as the output is the process's.
    """
    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # there is no standard output
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    try:
        yield
    finally:
        with suppress(OSError, AttributeError, TypeError):  # what C holds back would come out later
            ctypes.CDLL(None).fflush(None)
        os.dup2(kept, 1)
        os.close(kept)
