"""What is said of quotes: which stand open, how they compare, what is taken, and what became of the others."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import partial
from typing import TYPE_CHECKING

from forecast.buildfile.places_of_figures import Place
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import open_quotes
from forecast.decide.choices import (
    ComparedQuotes,
    Elsewhere,
    Quote,
    Settled,
    SettledLine,
    settled_item,
)
from forecast.decide.taking import whole_sum
from forecast.watching.standing import Standing
from forecast.words.chances import builds, listed
from forecast.words.currencies import is_currency
from forecast.words.money import Money, about, entered, entered_in, rounded

if TYPE_CHECKING:
    from forecast.views.answers.of_check import QuotesOfOneFigure


def price_words(place: Place, price: float) -> str:
    """Write one of the quotes for a figure: as money, or in what else the figure is counted in."""
    return entered_in(price, place.unit)


def which_quote(place: Place) -> str:
    """Ask which of the quotes for a figure is taken."""
    return f"{_prices(place)} Which one do you take?"


def quotes_until_taken(place: Place) -> str:
    """Say how quotes count as long as none is taken, and why so wide: a builder thinks of the prices alone."""
    shape, unit = place.figure.shape(), place.unit
    low, high = (
        about(value, unit) if is_currency(unit) else price_words(place, float(f"{value:.3g}"))
        for value in (shape.percentile(0.1), shape.percentile(0.9))
    )
    count = len(place.figure.model_dump()["quotes"])
    return (
        f"Until you say, it counts from {low} to {high}, as the next quote would: {count} say little of that."
    )


def quotes_to_decide(build: Build, begun: Collection[str], file: str) -> list[QuotesOfOneFigure]:
    """Ask which quote is taken, of each figure with several whose line is not begun, for programs and for people.

    Parameters
    ----------
    build : Build
    begun : collection of str
        See `open_quotes`.
    file : str
        As it is typed in a command.
    """
    found: list[QuotesOfOneFigure] = []
    for place in open_quotes(build, begun):
        quotes = place.figure.model_dump()["quotes"]
        written = ", ".join(f"{price:.12g}" for price in quotes)
        if whole_sum(build, place, 1.0) is not None:
            how = f"Say so: forecast quotes {file} {place.item} --take {quotes[0]:.12g} --supplier NAME"
        else:
            how = f"Write value = and its sum in the place of quotes = [{written}]."
        found.append(_told(place, f"{which_quote(place)} {quotes_until_taken(place)} {how}"))
    return found


def quotes_decided(build: Build, known: Standing | None) -> list[QuotesOfOneFigure]:
    """Say what became of the quotes for each figure whose line is begun, for programs and for people."""
    if known is None:
        return []
    still = {place.path for place in open_quotes(build, known.begun)}
    money = partial(entered, currency=build.build.currency)
    found: list[QuotesOfOneFigure] = []
    for place in open_quotes(build):
        if place.path in still:
            continue
        done = settled_item(build, place.item, known)
        told = (
            settled_sentence(done, money)
            if done is not None
            else "It is begun: what is paid counts, and what is open yet."
        )
        found.append(_told(place, f"{_prices(place)} {told}"))
    return found


def _told(place: Place, text: str) -> QuotesOfOneFigure:
    quotes = list(place.figure.model_dump()["quotes"])
    return {"item": place.item, "key": place.key, "quotes": quotes, "text": text}


def _prices(place: Place) -> str:
    prices = [price_words(place, price) for price in place.figure.model_dump()["quotes"]]
    return f"{place.title}, {place.word}: quoted {listed(prices)}."


def _paid_words(line: SettledLine, money: Money) -> str:
    told = [f"{money(line.paid)} paid"] if line.paid else []
    if line.agreed:
        told.append(f"{money(line.agreed)} {'more ' if line.paid else ''}agreed")
    title = f"\u201c{line.title}\u201d"
    return f"{' and '.join(told)} for {title}" if told else f"{title} is closed, with nothing paid for it"


def _quoted(titles: Sequence[str]) -> str:
    return listed([f"\u201c{title}\u201d" for title in titles])


def elsewhere_sentence(found: Elsewhere) -> str:
    """Say that the options do not count, and which ways they count in."""
    are = "is" if len(found.titles) == 1 else "are"
    way = "this build" if found.way is None else f"\u201c{found.way}\u201d"
    told = f"These quotes do not count in this way: {_quoted(found.titles)} {are} not in {way}."
    if found.found_in:
        have = "has" if len(found.found_in) == 1 else "have"
        told += f" {_quoted(found.found_in_titles)} {have} {'it' if are == 'is' else 'them'}."
    return told


def settled_sentence(found: Settled, money: Money) -> str:
    """Say what was paid and agreed."""
    return f"That is settled: {'; '.join(_paid_words(line, money) for line in found.lines)}."


def quote_sentence(quote: Quote, money: Money) -> str:
    """Say what the build costs with it, and what its main risk adds."""
    text = f"{quote.title}: middle figures {money(quote.plain)}, {rounded(money, quote.summary.p80)} at P80"
    if quote.summary.chance_cheapest.value < 1:
        text += f"; cheapest in {builds(quote.summary.chance_cheapest.value)}"
    if quote.risks and quote.risks[0].mean > 0:
        first = quote.risks[0]
        often = f"in {builds(first.chance)}, {money(first.mean)} on average over all"
        text += f". Its largest risk: {first.title} ({often})"
    return f"{text}."


def quotes_sentence(found: ComparedQuotes, money: Money) -> str:
    """Say which one to take, and whether the lowest quote is also the cheapest build."""
    best = found.best
    once = " once you take it" if found.prices_alone else ""
    if len(found.quotes) == 1:
        return f"One quote is in, {best.title}: hold {rounded(money, found.held(best))} at P80{once}."
    lowest = min(found.quotes, key=lambda quote: quote.plain)
    text = f"{best.title} needs least money held: {rounded(money, found.held(best))} at P80{once}"
    if lowest.id == best.id:
        return f"{text}; it is also the lowest quote."
    dearer = found.held(lowest).value - found.held(best).value
    return (
        f"{text}. {lowest.title} looks cheaper by {money(best.plain - lowest.plain)}, but with its risks "
        f"{money(dearer)} more must be held."
    )


_COUNTED = {1: "The quote is", 2: "Both quotes are", 3: "All three quotes are"}
_TIMES = {2: "about twice", 3: "about three times"}
_NEAR = 0.1  # of the estimate: within it a quote is about what was thought


def _asked(found: ComparedQuotes) -> list[float]:
    """Give what the quotes ask in shares of the builder's own estimate; nothing where either is missing."""
    if not found.own or found.own <= 0 or any(quote.asked is None for quote in found.quotes):
        return []
    return [quote.asked / found.own for quote in found.quotes if quote.asked is not None]


def estimate_sentence(found: ComparedQuotes, money: Money) -> str:
    """Hold the quotes against the builder's own estimate, which none can take; nothing where it is not beside them."""
    if found.estimate is None or found.own is None:
        return ""
    now, shares = found.estimate.summary.p80, _asked(found)
    own = f"your estimate of {money(found.own)}"
    then = [found.held(quote).value - now.value for quote in found.quotes]
    over, under = bool(shares) and min(shares) > 1 + _NEAR, bool(shares) and max(shares) < 1 - _NEAR
    if not over and not under:
        return f"By {own} P80 would be {rounded(money, now)}; that is no quote, so nobody sells at it."
    are = _COUNTED.get(len(found.quotes), f"All {len(found.quotes)} quotes are")
    times = _TIMES.get(round(min(shares)))
    close = times is not None and all(abs(share - round(min(shares))) <= 0.25 for share in shares)
    how = f"{times} {own}" if close else f"{'over' if over else 'under'} {own}"
    take = "if you take it, hold" if len(found.quotes) == 1 else "whichever you take, hold at least"
    about_ = "about " if len(found.quotes) == 1 else ""
    if over and min(then) > 0:
        return f"{are} {how}: {take} {about_}{money(min(then))} more."
    if under and max(then) < 0:
        return f"{are} {how}: {take} {about_}{money(-max(then))} less."
    return f"{are} {how}."


def once_taken_sentence(found: ComparedQuotes, money: Money) -> str:
    """Say why P80 once a quote is taken is another than the whole build costs with it; nothing where it is not."""
    differing = [
        quote
        for quote in found.quotes
        if quote.taken is not None
        and abs(quote.taken.value - quote.summary.p80.value)
        > 2 * (quote.taken.error + quote.summary.p80.error)
    ]
    if not differing:
        return ""
    shares = [quote.asked / found.own for quote in differing if found.own and quote.asked is not None]
    over, under = any(share > 1 + _NEAR for share in shares), any(share < 1 - _NEAR for share in shares)
    base = "your estimate" if found.estimate is not None else "what the file says"
    reasons = ["A price agreed may still grow by extras."]
    if over and under:
        reasons = [
            f"A price over {base} tells that your other guesses may run low, one under it that they run high."
        ]
    elif over or under:
        how, run = ("over", "low") if over else ("under", "high")
        reasons = [f"A price {how} {base} tells that your other guesses may run {run}."]
    if any(quote.brings_more for quote in differing):
        reasons.append("What else a quote brings counts once it stands in the build file.")
    told = listed([f"{rounded(money, quote.taken)} with {quote.title}" for quote in differing if quote.taken])
    return f"Once you take it, P80 will be {told}. {' '.join(reasons)}"


def not_compared_sentence(found: Settled | Elsewhere, money: Money) -> str:
    """Say why the options of a choice are not held against each other."""
    return settled_sentence(found, money) if isinstance(found, Settled) else elsewhere_sentence(found)
