"""An answer about a bearing, or its problems, for tests that take any input."""

from __future__ import annotations

from econ.bearings import find_bearing
from econ.problems import BadInput


def answer(**asked):
    """Return an answer and no problems, or no answer and its problems."""
    try:
        return find_bearing(**asked), ()
    except BadInput as error:
        return None, error.problems
