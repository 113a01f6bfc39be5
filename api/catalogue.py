"""Catalogue: the machine classes as plain text, the ids first, for whoever writes a case."""

from __future__ import annotations

from api.classes import CheckLine, ClassLine, ClassList
from api.columns import table, wrap


def list_text(every: ClassList) -> str:
    """Return all machine classes, a line each."""
    lines = table([(c.id, c.title) for c in every.machine_classes], ("id", "what it is"), wide=1)
    lines += ["", "mendworth classes ID shows what a case of one class may name."]
    return "\n".join(lines) + "\n"


def class_text(c: ClassLine) -> str:
    """Return what a case of a class may name."""
    lines = wrap(f"{c.id}: {c.title}; use: {', '.join(c.uses)}.")
    named = table([(x.id, x.title) for x in c.complaints], wide=1)
    facts = table([(x.id, ", ".join(x.levels), x.question) for x in c.history], wide=2)
    checks = table([_check(x) for x in c.checks if not x.complaint], right=(1,), wide=2)
    asked = table([(x.id, ", ".join(x.outcomes), x.title) for x in c.checks if x.complaint], wide=2)
    extras = table([(x.id, x.title) for x in c.wanted], wide=1)
    jobs = table([(x.id, x.title) for x in c.jobs], wide=1)
    tools = table([(x.id, x.title) for x in c.tools], wide=1)
    parts = table([(x.id, f"{x.typical}", f"{x.low} to {x.high}", x.title) for x in c.parts], right=(1, 2), wide=3)
    sections = (
        ("complaints", named),
        ("history: levels, the best first", facts),
        ("findings, whatever the complaint: outcomes from normal to worst", asked),
        ("findings by checks: minutes, outcomes from normal to worst", checks),
        ("wanted: extras beside the repair", extras),
        ("prior_jobs, recalled_jobs: jobs", jobs),
        ("tools", tools),
        (f"prices, unobtainable: parts with their typical price and its range in {c.currency}", parts),
    )
    for title, found in sections:
        if found:
            lines += ["", title, *found]
    return "\n".join(lines) + "\n"


def _check(x: CheckLine) -> tuple[str, str, str]:
    if x.reveals:
        what = f"found: any of {', '.join(x.reveals)}"
    else:
        what = f"{', '.join(x.outcomes)}{f'; or a reading in {x.reading_unit}' if x.reading_unit else ''}"
    return x.id, f"{x.minutes:g}", f"{what} - {x.title}"
