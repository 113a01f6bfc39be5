"""Outputs: files that a command is to write, looked at before anything is worked out."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from econ.problems import BadInput, Problem


def check_outputs(paths: Mapping[str, str | None], read: Sequence[str | None], as_json: bool = False) -> None:
    """Raise BadInput where something can't be written, or would be over what is read: not only once all is done.

    paths: by option, - for standard output. read: files that are read. as_json: whether that prints an answer too.
    """
    problems = []
    taken = {Path(x).resolve(): "what is read here is not written over" for x in read if x not in (None, "-")}
    for option, path in paths.items():
        where = None if path in (None, "-") else Path(path).resolve()
        if where in taken:
            problems.append(Problem(option, str(path), taken[where], "name another file"))
        elif where is not None:
            taken[where] = "two answers can't go to one file"
        if path == "-" and as_json:
            rule, remedy = "standard output is for one of --csv - and --json", "name a file"
            problems.append(Problem(option, "-", rule, remedy))
        elif path not in (None, "-") and not os.access(Path(path).absolute().parent, os.W_OK | os.X_OK):
            rule, remedy = "there is no such folder, or nothing can be written there", "make it, or name another"
            problems.append(Problem(option, str(Path(path).parent), rule, remedy))
    if problems:
        raise BadInput(problems)
