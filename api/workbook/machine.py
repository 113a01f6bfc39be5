"""Machine: what the machine is called, and by what it is told from others, as every sheet that is signed says it."""

from __future__ import annotations

from econ.workings import Workings


def name_of(x: Workings) -> str:
    """Return what people call the machine, else what kind it is."""
    return x.case.machine.name or x.machine_class.about.title


def marks_of(x: Workings) -> str:
    """Return its serial number and its hours."""
    m = x.case.machine
    serial = f"serial number {m.serial_number}" if m.serial_number else "serial number not recorded"
    return f"{serial}, " + (f"{m.hours:g} hours on it" if m.hours is not None else "hours not recorded")
