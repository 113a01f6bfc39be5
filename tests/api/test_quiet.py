"""What libraries write to standard output by themselves stays out of what the program says."""

from __future__ import annotations

import subprocess
import sys

from .test_docs import ROOT

PROGRAM = """
import ctypes, sys
from api.quiet import quiet
c = ctypes.CDLL(None)
print("before")
with quiet():
    c.puts(b"noise")
    c.write(1, b"more\\n", 5)
print("after", file=sys.stdout)
c.puts(b"of its own")
"""


def run(program: str) -> subprocess.CompletedProcess[str]:
    call = [sys.executable, "-c", program]
    return subprocess.run(call, cwd=ROOT, capture_output=True, text=True, check=True)  # noqa: S603 - our own program


def test_only_what_python_says_is_heard() -> None:
    done = run(PROGRAM)
    assert sorted(done.stdout.splitlines()) == ["after", "before", "of its own"]
    assert done.stderr == ""


def test_without_standard_output_too() -> None:
    program = "import os; os.close(1)\nfrom api.quiet import quiet\nwith quiet():\n    pass\nos.write(2, b'done')"
    assert run(program).stderr == "done"
