"""Bearings: the answer of `mendworth bearing` as plain text for people, the answer first."""

from __future__ import annotations

from api.columns import table, wrap
from api.refusal import plain, printable
from api.wording import exact, words
from econ.bearing_words import Candidate, title
from econ.bearings import Bearing
from econ.calliper import mm

FITS = {
    "as_measured": "as measured",
    "if_rounded": "if rounded",
    "if_worn": "if worn",
    "nearest": "does not fit",
}
NO_BOOK = "Prices: add price lists with mendworth prices import FILE, or name a price book with --book FILE."


def _sizes(b: Bearing) -> list[str]:
    """Return the table of candidates, without the columns that say nothing here."""
    rows = [("", "", "bore", "outside", "width mm", "inches", "fits")]
    for i, c in enumerate(b.candidates):
        bore = f"{c.bore_inches} in" if c.bore_inches else mm(c.bore)
        mark = "=>" if i == 0 and b.clear else ""
        rows.append((mark, title(c), bore, mm(c.outside), mm(c.width), c.inches, FITS[c.fit] if c.fit else ""))
    said = [i for i in range(7) if i < 5 or any(row[i] for row in rows[1:])]
    heads, *cells = [[row[i] for i in said] for row in rows]
    lines = table(cells, heads, right=(2, 3, 4), wide=1)
    return [*lines, f"  and {b.left_out} more that fit"] if b.left_out else lines


def _offers(c: Candidate, day: str) -> list[str]:
    """Return the table of what a candidate costs; its seller gives way where it is too wide, its part id does not."""
    if not c.offers:
        return []
    rows = [
        (
            "-" if o.price_each is None else exact(o.price_each),
            plain(o.part),
            plain(o.designation),
            plain(o.seller),
            words(o.status) + (f", pack of {o.pack}" if o.pack > 1 else ""),
            o.seen_on,
            f"{o.age_days}, stale" if o.stale else str(o.age_days),
        )
        for o in c.offers
    ]
    heads = ("price", "part", "designation", "seller", "status", "seen", "days old")
    title_line = f"Prices of {title(c)}, for one piece, in {c.offers[0].currency} on {day}"
    return ["", title_line, *table(rows, heads, right=(0,), wide=3, whole=(1, 6))]


def bearing_text(b: Bearing) -> str:
    """Return an answer as plain text, the answer first."""
    allowed = "" if b.tolerance is None else f", each give or take {mm(b.tolerance)} mm"
    lines = [*wrap(printable(b.headline)), *wrap(f"[{b.asked}, read as {b.read_as}{allowed}]")]
    if b.measure_again:
        lines += wrap(b.measure_again)
    for note in b.notes:
        lines += wrap(note)
    lines += ["", "Sizes", *_sizes(b)]
    for c in b.candidates:
        off = [f"{d.measure} {d.says}" for d in c.deviations if d.off is not None and d.says != "as measured"]
        if off:
            lines += wrap(f"{title(c)}: {'; '.join(off)}.", "  ", "    ")
    for c in b.candidates:
        lines += _offers(c, b.as_of or "")
    if b.as_of is None:
        lines += ["", *wrap(NO_BOOK)]
    elif b.price_revision:
        asked = f"--as-of {b.as_of} --revision {b.price_revision}"
        lines += ["", *wrap(f"Prices: revision {b.price_revision} of the price book; had again with {asked}.")]
    if b.suffixes:
        lines += ["", "What is written behind the size"]
        lines += table([(s.code or "none", s.meaning, s.source) for s in b.suffixes], wide=1)
    lines += ["", "Which suffix", *table([(u.where, u.suffix) for u in b.uses])]
    sources = dict.fromkeys(part for c in b.candidates for part in c.source.split("; "))
    lines += ["", *wrap(b.care), *wrap(f"Sizes: {', '.join(sources)}. Suffixes for uses: {b.uses[0].source}.")]
    return "\n".join(lines) + "\n"
