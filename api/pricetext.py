"""Price text: the answers of `mendworth prices` as plain text for people, the answer first."""

from __future__ import annotations

from api.book import Revision
from api.columns import bullet, table, wrap
from api.listings import Imported, ListImported, Listing, OfferLine, Revisions, Withdrawn, count
from api.refusal import plain
from api.wording import exact, words
from econ.words import listed

MOST_NAMES = 6


def imported_text(answer: Imported) -> str:
    """Return what an import did."""
    rows = count(sum(x.rows for x in answer.lists), "row")
    new = [x for x in answer.lists if not x.unchanged]
    from_files = f"{len(new)} price lists" if len(new) != 1 else new[0].source
    left = sum(x.left_out for x in answer.lists)
    numbers = [str(x.revision) for x in new if x.revision is not None]
    if answer.dry_run:
        head = f"{rows} of {from_files} are good; nothing was written"
    elif not new:
        head = "Nothing is new; nothing was added"
        if any(x.stale for x in answer.lists):
            head = "Not read now, so that nothing was added"
    else:
        head = f"Added {rows} of {from_files} to the book as revision{'s' * (len(new) != 1)} {listed(numbers)}"
    lines = wrap(plain(head) + (f"; {count(left, 'row')} left out, told below." if left else "."))
    for x in answer.lists:
        if x.unchanged:
            lines += bullet(f"{plain(x.source)}: the same as revision {x.revision}")
    for x in answer.lists:
        lines += _list_lines(x)
    if not answer.dry_run:
        lines += wrap(f"Book: {plain(answer.book)}")
    return "\n".join(lines) + "\n"


def _list_lines(x: ListImported) -> list[str]:
    names = [plain(s) for s in x.sellers[:MOST_NAMES]] + [f"{len(x.sellers) - MOST_NAMES} more"] * (
        len(x.sellers) > MOST_NAMES
    )
    lines = bullet(f"{plain(x.source)}: {x.parts:,} parts; sellers: {listed(names)}") if names else []
    if x.dropped:
        lines += bullet(f"{x.dropped:,} rows that repeat another word for word are dropped")
    if x.ignored_headers:
        lines += bullet(f"headers left out: {plain(', '.join(x.ignored_headers))}")
    for note in x.notes:
        lines += bullet(note)
    return lines


def _price(x: OfferLine) -> str:
    if x.superseded_by or x.price is None:
        return "-"
    return f"{exact(x.price)} {x.currency}" + (f" for {x.pack}" if x.pack > 1 else "")


def _remarks(x: OfferLine) -> str:
    said = [words(x.status)] * (x.status != "new")
    said += [f"now {plain(x.superseded_by)}"] * bool(x.superseded_by)
    said += [f"core {exact(x.core_charge)}"] * bool(x.core_charge)
    said += ["stale"] * x.stale
    said += [f"for {words(x.machine_class)}"] * bool(x.machine_class)
    return ", ".join(said)


def listing_text(found: Listing) -> str:
    """Return offers as a table under what they come to."""
    lines = wrap(plain(found.headline))
    rows = [
        (
            plain(x.part),
            plain(f"{x.title} {x.designation}".strip()),
            plain(x.seller),
            _price(x),
            f"{x.seen_on}",
            _remarks(x),
        )
        for x in found.offers
    ]
    if rows:
        heads = ("part", "what it is", "seller", "price", "seen", "")
        lines += ["", *table(rows, heads, right=(3,), wide=1, whole=(0, 3))]
    if len(rows) < found.total:
        lines += wrap(f"{found.total - len(rows):,} more: --limit {found.total}, or --json.", "  ")
    return "\n".join(lines) + "\n"


def withdrawn_text(answer: Withdrawn) -> str:
    """Return what a withdrawal did."""
    it, source = answer.withdrawn, plain(answer.withdrawn.source)
    text = (
        f"Revision {it.number} of {it.moment[:10]}, {count(it.rows, 'row')} of {source}, no longer counts from "
        f"revision {answer.revision.number} on. Answers that name an earlier revision stay as they were. The list "
        "can be added again."
    )
    return "\n".join(wrap(text)) + "\n"


def revisions_text(found: Revisions) -> str:
    """Return the imports of a book as a table."""
    added = [r for r in found.revisions if r.withdraws is None]
    gone = [r for r in added if r.withdrawn_by is not None]
    rows = sum(r.rows for r in added if r.withdrawn_by is None)
    head = f"{count(len(added), 'import')}, " + (f"{len(gone):,} withdrawn, " if gone else "")
    lines = wrap(f"{head}{count(rows, 'row')} in all.")
    told = [(f"{r.number}", r.moment, plain(r.source), f"{r.rows:,}", r.sha256[:12], _what(r)) for r in found.revisions]
    heads = ("", "when", "file", "rows", "sha256", "")
    lines += ["", *table(told, heads, right=(0, 3), wide=2)] if told else []
    return "\n".join(lines) + "\n"


def _what(r: Revision) -> str:
    if r.withdraws is not None:
        return f"withdraws {r.withdraws}"
    return "" if r.withdrawn_by is None else f"withdrawn by {r.withdrawn_by}"
