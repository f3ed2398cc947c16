"""What is said of quotes that stand for one figure: which are to be taken, how, and what became of the others."""

from __future__ import annotations

from collections.abc import Collection
from functools import partial
from typing import Any

from forecast.buildfile.places_of_figures import Place
from forecast.buildfile.schema import Build
from forecast.buildfile.sheet import open_quotes
from forecast.decide.choices import settled_item
from forecast.decide.taking import whole_sum
from forecast.watching.standing import Standing
from forecast.words.currencies import is_currency
from forecast.words.money import entered


def price_words(place: Place, price: float) -> str:
    """Write one of the quotes for a figure: as money, or in what else the figure is counted in."""
    return entered(price, place.unit) if is_currency(place.unit) else f"{price:.12g} {place.unit}".rstrip()


def which_quote(place: Place) -> str:
    """Ask which of the quotes for a figure is taken."""
    return f"{_quoted(place)} Which one do you take?"


def quotes_to_decide(build: Build, begun: Collection[str], file: str) -> list[dict[str, Any]]:
    """Ask which quote is taken, of each figure with several whose line is not begun, for programs and for people.

    Parameters
    ----------
    build : Build
    begun : collection of str
        See `open_quotes`.
    file : str
        As it is typed in a command.
    """
    found = []
    for place in open_quotes(build, begun):
        quotes = place.figure.model_dump()["quotes"]
        listed = ", ".join(f"{price:.12g}" for price in quotes)
        if whole_sum(build, place, 1.0) is not None:
            how = f"Say so: forecast quotes {file} {place.item} --take {quotes[0]:.12g} --supplier NAME"
        else:
            how = f"Write value = and its sum in the place of quotes = [{listed}]; until then the price stays open."
        said = {"item": place.item, "key": place.key, "quotes": list(quotes)}
        found.append(said | {"text": f"{which_quote(place)} {how}"})
    return found


def quotes_decided(build: Build, known: Standing | None) -> list[dict[str, Any]]:
    """Say what became of the quotes for each figure whose line is begun, for programs and for people."""
    if known is None:
        return []
    still = {place.path for place in open_quotes(build, known.begun)}
    money = partial(entered, currency=build.build.currency)
    found = []
    for place in open_quotes(build):
        if place.path in still:
            continue
        done = settled_item(build, place.item, known)
        told = (
            done.sentence(money)
            if done is not None
            else "It is begun: what is paid counts, and what is open yet."
        )
        said = {"item": place.item, "key": place.key, "quotes": list(place.figure.model_dump()["quotes"])}
        found.append(said | {"text": f"{_quoted(place)} {told}"})
    return found


def _quoted(place: Place) -> str:
    *most, last = (price_words(place, price) for price in place.figure.model_dump()["quotes"])
    return f"{place.title}, {place.word}: quoted {', '.join(most)} and {last}."


__all__ = ["price_words", "quotes_decided", "quotes_to_decide", "which_quote"]
