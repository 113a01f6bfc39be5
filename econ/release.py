"""Release: the tests that must pass before a machine goes back, with limits worked out for this machine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from econ.case import Case
from econ.rulebook import MachineClass

# Highest blade-tip speed [m/s]: 19,000 ft/min. Source: ANSI/OPEI B71.1 (consumer mowers), the figure as quoted by
# secondary sources; the standard's text was not seen.
TIP_SPEED_LIMIT = 96.52
TIP_SPEED = "blade_tip_speed"


@dataclass(frozen=True)
class ReleaseTest:
    """A test before release. limit is at most or at least, in the unit. reading: worked out here, else to be taken.

    passes: for a reading worked out here; otherwise for whoever signs.
    """

    id: str
    title: str
    how: str
    limit: float | None
    unit: str
    at_most: bool
    reading: float | None
    passes: bool | None
    source: str


def tip_speed(blade_length_m: float, revolutions_per_minute: float) -> float:
    """Return blade-tip speed pi D N [m/s]; D tip to tip [m], N [1/min].

    References: ANSI/OPEI B71.1 limits it (TIP_SPEED_LIMIT); the formula is geometry.
    """
    return math.pi * blade_length_m * revolutions_per_minute / 60.0


def highest_speed(blade_length_m: float) -> float:
    """Return the highest blade speed within the limit [1/min]."""
    return TIP_SPEED_LIMIT * 60.0 / (math.pi * blade_length_m)


def release_tests(case: Case, c: MachineClass, jobs: Sequence[str]) -> tuple[ReleaseTest, ...]:
    """Return the release checks of the class and of the jobs done, each once."""
    names = [*c.about.release_checks, *(x for j in jobs for x in c.jobs[j].release_checks)]
    length, speed = case.machine.blade_length_mm, case.machine.engine_rpm
    found = []
    for name in dict.fromkeys(names):
        check = c.release_checks[name]
        how, reading, passes = check.how, None, None
        if name == TIP_SPEED and length is not None:
            most = highest_speed(length / 1000)
            how = f"{how} With this blade the shaft must not turn above {math.floor(most)} 1/min.".strip()
            if speed is not None:
                reading = round(tip_speed(length / 1000, speed), 2)
                passes = reading <= (check.limit or TIP_SPEED_LIMIT)
        found.append(
            ReleaseTest(name, check.title, how, check.limit, check.unit, check.at_most, reading, passes, check.source)
        )
    return tuple(found)
