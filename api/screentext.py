"""Screen text: the answer of `mendworth screen` as plain text for people, the answer first."""

from __future__ import annotations

from decimal import Decimal

from api.columns import wrap
from api.findtable import ScreenedFind
from api.listings import count
from api.ranked import Ranked
from api.refusal import plain, printable
from api.wording import money
from econ.words import percent

NAMED = 200  # finds to buy that are named at most
CARE = (
    "Before a find is run or taken apart: spark lead off or battery pack out, fuel away from flames, and the maker's "
    "manual beside it. A find under a hold is not run and not sold as working until that is cleared."
)


def screen_text(ranked: Ranked, top: int) -> str:
    """Return the answer, with the first finds one by one. top: how many."""
    s, finds = ranked.shortlist, ranked.order.size
    lines = wrap(printable(ranked.headline))
    if s.buy and s.by_rate.profit < s.best.profit:
        rate = f"Taking the best per {s.rate} first would leave {money(s.by_rate.profit, ranked.currency)}."
        lines += wrap(rate)
    first = ranked.first(max(top, min(s.buy, NAMED)))
    # Those without a price stand behind all that are worth theirs; the best are told even where those are many.
    after = max(len(first), s.pays)
    unpriced = ranked.first(min(top, max(s.pays + s.unpriced - after, 0)), after)
    last = ""
    for n, x in (*enumerate(first, 1), *enumerate(unpriced, after + 1)):
        part = "Buy" if x.buy else _part(x)
        if part != last:
            lines += ["", part]
            last = part
        lines += _find(n, x, ranked.currency) if n <= top or n > after else _named(n, x, ranked.currency)
    left = finds - len(first) - len(unpriced)
    if left:
        lines += ["", *wrap(f"{left:,} more: --top {finds}, or --csv FILE.")]
    lines += ["", *wrap(_counted(ranked))]
    for note in ranked.notes:
        lines += wrap(printable(note))
    lines += ["", *wrap(CARE)]
    return "\n".join(lines) + "\n"


def _named(n: int, x: ScreenedFind, currency: str) -> list[str]:
    """Return a find to buy in a line."""
    f, held = x.screened, "; under a hold" if x.screened.holds else ""
    offer, left = (money(x, currency) for x in (f.highest_offer, f.profit or Decimal(0)))
    said = f"{_asks(f.asking_price or Decimal(0), currency)}, offer up to {offer}, leaves {left}{held}"
    return wrap(plain(f"{n:>3}. {x.id}  {x.name or f.machine_class.replace('_', ' ')}: {said}"), "", "     ")


def _part(x: ScreenedFind) -> str:
    found = x.screened
    if found.profit is None:
        return "No price is named" if found.highest_offer > 0 else "Leave"
    return "Worth it, but not among the best within the limits" if found.profit > 0 else "Leave"


def _find(n: int, x: ScreenedFind, currency: str) -> list[str]:
    """Return a find in a few lines: the money, the reason, what to ask and to look at."""
    found = x.screened
    lines = wrap(plain(f"{n:>3}. {x.id}  {x.name or found.machine_class.replace('_', ' ')}"), "", "     ")
    offer = money(max(found.highest_offer, found.highest_offer * 0), currency)
    if found.profit is None or found.asking_price is None:
        said = f"offer up to {offer}" if found.highest_offer > 0 else "not worth fetching as a gift"
    elif found.profit > 0:
        said = f"{_asks(found.asking_price, currency)}, offer up to {offer}, "
        said += f"leaves {money(found.profit, currency)}"
    else:
        most = f"worth {offer} at most" if found.highest_offer > 0 else "not worth fetching as a gift"
        said = f"{_asks(found.asking_price, currency)}, {most}"
    if found.bench_hours and (found.profit is None or found.profit > 0):
        said += f"; {found.bench_hours:.1f} bench hours"
        said += "" if found.profit_per_hour is None else f", {money(found.profit_per_hour, currency)} an hour"
    if found.profit is not None and found.profit > 0:
        said += "" if found.cash is None else f"; cash {money(found.cash, currency)}"
        said += "" if found.chance_of_loss is None else f"; chance of a loss {percent(found.chance_of_loss)}"
    lines += wrap(f"{said}.", "     ")
    why = found.reason or "nothing is said to be wrong"
    lines += wrap(f"{found.title[:1].upper()}{found.title[1:]}; {why}.", "     ")
    if found.holds:
        lines += wrap(f"Hold: {', '.join(h.replace('_', ' ') for h in found.holds)}.", "     ")
    first = []
    if found.question is not None:
        first.append(f"Ask: {found.question.title} (worth {money(found.question.worth, currency)})")
    if found.spot_check is not None:
        look = found.spot_check
        what = f"{look.title[:1].lower()}{look.title[1:]}"
        first.append(f"There: {what} ({look.minutes:.0f} min, worth {money(look.worth, currency)})")
    return lines + [line for text in first for line in wrap(text, "     ", "       ")]


def _asks(price: Decimal, currency: str) -> str:
    return f"asks {money(price, currency)}" if price else "is free"


def _counted(answer: Ranked) -> str:
    s = answer.shortlist
    said = f"{count(answer.read, 'row')} read: {s.pays:,} worth what is asked, {s.unpriced:,} without a price, "
    said += f"{s.leave:,} to leave"
    return said + (f", {answer.left_out:,} at fault and left out." if answer.left_out else ".")
