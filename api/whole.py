"""Whole: files that are put in place whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO


def put(path: Path, write: Callable[[BinaryIO], None], own: bool = False) -> None:
    """Write a file beside its place and move it there when it is whole. own: for this user alone. Raises OSError."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with open(handle, "wb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())  # else a power cut may leave an empty file under the name
        if not own:
            os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
