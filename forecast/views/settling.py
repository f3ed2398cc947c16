"""What is settled, in words: the state of a line, what a receipt did to its lines, and what is asked about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from forecast.build.schema import Build
from forecast.spending.estimates import unusual
from forecast.spending.ledger import Commitment, Ledger, NewReceipt
from forecast.spending.ledger.entries import pair
from forecast.spending.money import format_plain
from forecast.spending.reforecast import LOOKS_SETTLED, LineWatch, Reforecast
from forecast.spending.settling import MORE_TO_COME, Agreement, Entered, Odd, oddities
from forecast.views.money import exact
from forecast.views.sentences import unusual_words

AGREEMENTS = {"fixed": "Fixed price", "estimate": "Estimate, may still grow"}
"""The kinds of agreement, in words."""


def of_100(chance: float) -> str:
    """Write how likely it is that what is paid is all: never as certain, for nobody said so."""
    return f"{min(99, max(1, round(100 * chance)))} of 100"


def state_words(line: LineWatch) -> str:
    """Say how a line or event stands: ``closed``, ``likely all paid (93 of 100)``; nothing where nothing happened."""
    if line.state == "closed":
        return "closed"
    if line.more:
        return "more to come"
    if line.state == "committed":
        return "price agreed"
    if line.state == "untouched":
        return ""
    if line.settled is None:
        return "part paid"
    if line.settled >= LOOKS_SETTLED:
        return f"likely all paid ({of_100(line.settled)})"
    return "part paid" if line.settled <= MORE_TO_COME else f"part paid, or all ({of_100(line.settled)})"


def listed(names: Sequence[str], most: int = 6) -> str:
    """Write names one after the other: ``A, B and C``; of many the first."""
    if len(names) > most:
        return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} others"
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else ""


def looking_settled_sentence(watch: Reforecast) -> str:
    """Say which lines look settled; nothing where none does."""
    found = watch.looking_settled
    if not found:
        return ""
    titles = {line.id: line.title for line in watch.lines}
    noun = "line" if len(found) == 1 else "lines"
    return f"Looks settled: {len(found)} {noun}, {listed([titles[name] for name in found])}."


def closed_words(
    closed: Sequence[str], settled: Sequence[Commitment], titles: Mapping[str, str], currency: str
) -> str:
    """Say which lines are closed now, and which agreed prices ended with them."""
    told = []
    if closed:
        one = len(closed) == 1
        names = listed([titles.get(name, name) for name in closed])
        told.append(
            f"{names} {'is' if one else 'are'} closed: nothing more will be paid for {'it' if one else 'them'}."
        )
    told += [
        f"With that ends the price agreed with {item.supplier} for {titles.get(item.line_id, item.line_id)}; "
        f"{exact(item.outstanding_minor, currency)} of it was not paid."
        for item in settled
    ]
    return " ".join(told)


def entered_words(entered: Entered, titles: Mapping[str, str], currency: str) -> str:
    """Say what a receipt did to its lines and to an agreed price; nothing where it did nothing."""
    told = []
    agreement, ended = entered.agreement, {item.id for item in entered.settled}
    if agreement is not None and agreement.id not in ended:
        price = f"the price agreed with {agreement.supplier} for {titles.get(agreement.line_id, agreement.line_id)}"
        if entered.receipt.paid_minor < 0:
            told.append(f"It is taken off what was paid towards {price}.")
        elif agreement.outstanding_minor:
            rest = exact(agreement.outstanding_minor, currency)
            told.append(f"It counts against {price}: {rest} is still to pay.")
        else:
            told.append(f"It pays {price} in full.")
    told.append(closed_words(entered.closed, entered.settled, titles, currency))
    agreed = agreement.line_id if agreement is not None and agreement.outstanding_minor else None
    more = [titles.get(name, name) for name in entered.more if name != agreed]
    told.append(f"More is to come for {listed(more)}." if more else "")
    told += [f"\u201c{titles.get(name, name)}\u201d happened after all." for name in entered.happened]
    return " ".join(filter(None, told))


def taken_back_words(lines: Sequence[str], titles: Mapping[str, str]) -> str:
    """Say of which lines no longer holds what was said with a receipt that is taken back; nothing where of none."""
    if not lines:
        return ""
    return f"What was said with it of {listed([titles.get(name, name) for name in lines])} is taken back too."


def agreed_words(agreement: Agreement, titles: Mapping[str, str], currency: str) -> str:
    """Say what was just agreed, and what follows from it."""
    item = agreement.commitment
    title = titles.get(item.line_id, item.line_id)
    told = (
        f"Agreed with {item.supplier} for {title}: {exact(item.amount_minor, item.currency)}, "
        f"{'a fixed price' if item.kind == 'fixed' else 'an estimate that may still grow'}."
    )
    told += f" {title} was closed and is open again." if agreement.opened else ""
    if agreement.paid_before:
        paid = exact(agreement.paid_before, currency)
        told += (
            f" {paid} was paid to {item.supplier} for {title} before and comes on top of this price. If the price has "
            "it in it, undo this and agree what was left to pay."
        )
    return told


def question(build: Build, ledger: Ledger | None, receipt: NewReceipt, titles: Mapping[str, str]) -> str:
    """Ask about what is odd in a receipt before it is entered; nothing where all is usual."""
    currency = build.build.currency
    told = unusual_words(unusual(build, map(pair, receipt.splits)), currency)
    told += [_odd_words(one, titles, currency) for one in oddities(ledger, receipt)]
    if not told:
        return ""
    asked = "; ".join(told)
    return f"{asked[0].upper()}{asked[1:]}. Is that meant?"


def _odd_words(odd: Odd, titles: Mapping[str, str], currency: str) -> str:
    title = titles.get(odd.line_id, odd.line_id)
    if odd.kind == "cannot-happen":
        return f"on {odd.date} you said that \u201c{title}\u201d cannot happen, and with this receipt it happened"
    if odd.receipt is not None:
        same = odd.receipt
        lines = listed([titles.get(split.line_id, split.line_id) for split in same.splits])
        money = f"{format_plain(same.amount_minor, same.currency)} {same.currency}"
        return f"receipt {same.id} is the same: {same.supplier}, {same.date}, {money} for {lines}"
    if not odd.minor:
        return f"nothing was paid for {title} so far, so nothing can come back"
    return f"more comes back for {title} than the {exact(odd.minor, currency)} that was paid"
