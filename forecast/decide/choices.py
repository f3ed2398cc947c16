"""Choices between options, such as quotes: which are settled, what each option costs, and which to take."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from forecast.buildfile.checks import nearest
from forecast.buildfile.choosing import (
    offered,
    options_by_choice,
    overridden,
    scenario_name,
    scenario_title,
    with_option,
)
from forecast.buildfile.consignment import Consignment
from forecast.buildfile.schema import Build, Event, Line, Option, Scenario
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast
from forecast.engine.known import KnownFacts
from forecast.engine.plan import SHOP, compile_plan
from forecast.engine.statistics import Estimate
from forecast.errors import LedgerError, SimulationError
from forecast.watching.known_facts import Knowledge, forecast_given
from forecast.words.minor_units import to_float

if TYPE_CHECKING:
    from forecast.decide.scenarios import Comparison, Summary

Item = Line | Event | Consignment


@dataclass(frozen=True)
class Elsewhere:
    """A choice whose options change nothing in a way of doing the build.

    Attributes
    ----------
    choice : str
    titles : tuple of str
        Of what the options are about.
    way : str or None
        Title of the way; None in a build without ways.
    found_in : tuple of str
        Ids of the ways in which they count.
    found_in_titles : tuple of str
    """

    choice: str
    titles: tuple[str, ...]
    way: str | None
    found_in: tuple[str, ...]
    found_in_titles: tuple[str, ...]
    why: ClassVar[str] = "not in this way"


@dataclass(frozen=True)
class SettledLine:
    """What was paid and is agreed for one line of a choice that is settled, in the build's main unit."""

    title: str
    paid: float
    agreed: float


@dataclass(frozen=True)
class Settled:
    """A choice that was made: the lines it is about are bought, agreed or closed."""

    choice: str
    lines: tuple[SettledLine, ...]
    why: ClassVar[str] = "settled"
    found_in: ClassVar[tuple[str, ...]] = ()


def not_compared(
    build: Build, choice: str, scenario: str | None = None, known: Knowledge = None
) -> Settled | Elsewhere | None:
    """Say why the options of a choice are not held against each other; None where they are.

    Parameters
    ----------
    build : Build
    choice : str
    scenario : str, optional
        The first of the file when left out.
    known : KnownFacts or Standing, optional
    """
    done = settled(build, choice, known)
    if done is not None:
        return done
    name = scenario_name(build, scenario)
    if name is None:
        return None if _counts_in(build, choice, Scenario()) else _elsewhere(build, choice, None)
    return None if _counts_in(build, choice, build.scenario[name]) else _elsewhere(build, choice, name)


def _elsewhere(build: Build, choice: str, name: str | None) -> Elsewhere:
    found = tuple(id for id, way in build.scenario.items() if _counts_in(build, choice, way))
    return Elsewhere(
        choice,
        tuple(item.title for item in about(build, options_by_choice(build)[choice])),
        None if name is None else scenario_title(build, name),
        found,
        tuple(scenario_title(build, id) for id in found),
    )


def _counts_in(build: Build, choice: str, way: Scenario) -> bool:
    return taken_with(conditions(build, choice, way), way)


def taken_with(found: Sequence[tuple[str, str] | None], way: Scenario) -> bool:
    """Tell whether one of the `conditions` holds in a way of doing the build."""
    return any(one is None or way.route(one[0]) == one[1] for one in found)


def conditions(build: Build, choice: str, way: Scenario) -> tuple[tuple[str, str] | None, ...]:
    """Give with which route of which package the options of a choice count; None among them: with any.

    Parameters
    ----------
    build : Build
    choice : str
    way : Scenario
        Whose overrides hold; its routes do not matter.
    """
    found: list[tuple[str, str] | None] = []
    options = options_by_choice(build)[choice]
    for option in options:
        here = overridden(with_option(build, option), way)
        items = {item.id: item for item in _items(here)}
        judged = [items[item.id] for item in about(build, options) if item.id in items]
        found += [_condition(item) for item in judged]
        # An event that hands work over to a shop brings in the price that the shop quoted.
        handed = {item.package for item in judged if isinstance(item, Line) and item.route == SHOP}
        found += [_condition(event) for event in here.event if handed & set(event.hands_over)]
    return tuple(dict.fromkeys(found)) or (None,)


def _condition(item: Item) -> tuple[str, str] | None:
    if isinstance(item, Consignment) or item.package is None or item.route is None:
        return None
    return item.package, item.route


def _items(build: Build) -> Iterator[Item]:
    yield from build.line
    yield from build.event
    yield from build.consignment


def about(build: Build, options: Sequence[Option]) -> tuple[Item, ...]:
    """Give what a choice is about: the lines and goods that its options change, else the events, else what they add.

    A kit's quotes may change the chance of poor fit besides: it is the kit that is bought.
    """
    names = {name for option in options for name in option.override}
    changed = [item for item in _items(build) if item.id in names]
    bought = [item for item in changed if not isinstance(item, Event)]
    added: dict[str, Item] = {}
    for option in options:
        added |= {line.id: line for line in option.line} | {event.id: event for event in option.event}
    return tuple(bought or changed or added.values())


def settled(build: Build, choice: str, known: Knowledge) -> Settled | None:
    """Give what a choice came to where all that it is about is bought, agreed or closed; None where it is open.

    What is bought in several goes is settled by a price agreed, or by its end: of it one may buy elsewhere yet.
    """
    items = about(build, options_by_choice(build)[choice])
    if known is None or not items:
        return None
    found = []
    for item in items:
        line = _settled_line(build, item, known)
        if line is None:
            return None
        found.append(line)
    return Settled(choice, tuple(found))


def settled_item(build: Build, name: str, known: Knowledge) -> Settled | None:
    """Give what one line, event or consignment came to where it is settled, as `settled` does for a choice."""
    item = next((item for item in _items(build) if item.id == name), None)
    line = None if item is None else _settled_line(build, item, known)
    return None if line is None else Settled(name, (line,))


def _settled_line(build: Build, item: Item, known: Knowledge) -> SettledLine | None:
    once = not isinstance(item, Line) or item.bought_as == "once"
    if isinstance(known, KnownFacts):
        for name, amount in known.amounts.items():
            if _is_of(name, item):
                return SettledLine(item.title, amount, 0.0)
        for name, agreed in known.agreed.items():
            if _is_of(name, item):
                return SettledLine(item.title, 0.0, agreed.price)
        return None
    if known is None:
        return None
    paid = sum(minor for name, minor in known.paid.items() if _is_of(name, item))
    agreed_minor = sum(minor for name, minor in known.committed.items() if _is_of(name, item))
    closed = any(_is_of(name, item) for name in known.closed)
    if not (closed or agreed_minor or (paid > 0 and once)):
        return None
    code = build.build.currency
    return SettledLine(item.title, to_float(paid, code), to_float(agreed_minor, code))


def _is_of(name: str, item: Item) -> bool:
    """Tell whether a row is a line's own, or that of a consignment's goods: its charges say nothing of a seller."""
    if isinstance(item, Consignment):
        return name in {f"{item.id}.{goods.id}" for goods in item.items}
    return name == item.id


@dataclass(frozen=True)
class Risk:
    """One event under an option.

    Attributes
    ----------
    id, title : str
    chance : float
        Share of trials in which it happens.
    mean : float
        What it adds to the total on average.
    """

    id: str
    title: str
    chance: float
    mean: float


@dataclass(frozen=True)
class Quote:
    """One option beside the others.

    Attributes
    ----------
    id, title : str
    plain : float
        The base estimate with it: what the quote looks like before anything goes wrong.
    summary : Summary
        What the whole build costs with it.
    risks : tuple of Risk
        Events whose chance or cost differs between the options, largest mean first.
    asked : float or None
        What it asks for the lines that the choice is about; None where it changes no price.
    taken : Estimate or None
        P80 once it is taken, as a price agreed: that also says whether other guesses run low, and brings in nothing
        else of the option.
    brings_more : bool
        Whether it changes more than prices: what it adds counts once that stands in the build file.
    """

    id: str
    title: str
    plain: float
    summary: Summary
    risks: tuple[Risk, ...]
    asked: float | None = None
    taken: Estimate | None = None
    brings_more: bool = False


@dataclass(frozen=True)
class ComparedQuotes:
    """The options of one choice, compared.

    Attributes
    ----------
    choice : str
    quotes : tuple of Quote
        In the order of the file; those that somebody offers.
    comparison : Comparison
        Pair by pair, as for scenarios.
    estimate : Quote or None
        The builder's own estimate beside them, where the file has it among the options: to look at, not to take.
    own : float or None
        What the file says, at its middle figures, for the lines whose prices are asked; None where it has none of them.
    """

    choice: str
    quotes: tuple[Quote, ...]
    comparison: Comparison
    estimate: Quote | None = None
    own: float | None = None

    @property
    def best(self) -> Quote:
        """The option with the lowest P80 of the whole build."""
        return min(self.quotes, key=lambda quote: self.held(quote).value)

    @property
    def prices_alone(self) -> bool:
        """Whether the quotes differ in their prices alone, so that P80 once one is taken tells all of it."""
        return all(quote.taken is not None and not quote.brings_more for quote in self.quotes)

    def held(self, quote: Quote) -> Estimate:
        """Give P80 by which quotes are ranked: once it is taken; of quotes that bring more, of the build with it."""
        return quote.taken if self.prices_alone and quote.taken is not None else quote.summary.p80


def quotes(
    build: Build,
    choice: str,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
) -> ComparedQuotes:
    """Compare the options of one choice.

    Parameters
    ----------
    build : Build
    choice : str
        Such as ``kit``.
    scenario : str, optional
    trials, seed : int
    known : KnownFacts or Standing, optional

    Returns
    -------
    ComparedQuotes

    Raises
    ------
    SimulationError
        When the choice has fewer than two options.
    """
    choices = options_by_choice(build)
    options = choices.get(choice, ())
    if len(options) < 2:
        found = f"{len(options)} option{'' if len(options) == 1 else 's'}"
        hint = "" if options else f" {nearest(choice, choices)}"
        message = (
            f"choice {choice!r}: {found} in the build; comparing needs two or more [[option]] tables with "
            f'choice = "{choice}".{hint}'
        )
        raise SimulationError(message)
    forecasts = {
        option.id: forecast_given(with_option(build, option), scenario, trials, seed, known)
        for option in options
    }
    from forecast.decide.scenarios import compare_forecasts  # loaded late: `check` asks only what is settled

    titles = {option.id: option.title for option in options}
    real = offered(options)
    comparison = compare_forecasts({option.id: forecasts[option.id] for option in real}, titles)
    risks = _told_apart(forecasts)
    once = {option.id: _once_taken(build, option, scenario, trials, seed, known) for option in real}
    listed = tuple(
        Quote(
            option.id, option.title, forecasts[option.id].base_estimate, summary, risks[option.id],
            *once[option.id], bool(option.line or option.event or _changes_more(build, option)),
        )
        for option, summary in zip(real, comparison.scenarios, strict=True)
    )  # fmt: skip
    reference = None
    for option in options:
        if option not in real:
            one = {option.id: forecasts[option.id]}
            summary = compare_forecasts(one, titles).scenarios[0]
            reference = Quote(
                option.id, option.title, forecasts[option.id].base_estimate, summary, risks[option.id]
            )
    return ComparedQuotes(choice, listed, comparison, reference, _own(build, options, scenario))


def quotes_or_why(
    build: Build,
    choice: str,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
) -> ComparedQuotes | Settled | Elsewhere:
    """Compare the options of a choice; where it is settled, or counts in another way only, say that instead.

    Takes and raises what `quotes` does.
    """
    why = None
    if len(options_by_choice(build).get(choice, ())) > 1:
        why = not_compared(build, choice, scenario, known)
    return quotes(build, choice, scenario, trials, seed, known) if why is None else why


def _own(build: Build, options: Sequence[Option], scenario: str | None) -> float | None:
    """Give what the file says for what a choice is about, at its middle figures."""
    ids = {item.id for item in about(build, options)}
    ids |= {f"{one.id}.{goods.id}" for one in build.consignment if one.id in ids for goods in one.items}
    plan = compile_plan(build, scenario)
    middles = plan.at_middle(gated="by chance")
    found = [middles[row.id] for row in plan.rows if row.id in ids and row.is_money]
    return sum(found) if found else None


def _changes_more(build: Build, option: Option) -> bool:
    """Tell whether an option overrides anything but what is asked for what the choice is about."""
    items = {item.id for item in about(build, options_by_choice(build)[option.choice])}
    prices = {"amount", "price", "goods"}
    return any(item not in items or not set(keys) <= prices for item, keys in option.override.items())


def _once_taken(
    build: Build, option: Option, scenario: str | None, trials: int, seed: int, known: Knowledge
) -> tuple[float | None, Estimate | None]:
    """Give what an option asks, and P80 of the build once that is a price agreed, on the same draws."""
    from forecast.decide.taking import (
        asked_at_home,
        asked_by_option,
        with_agreed,
    )  # which asks what it is about

    try:
        asked = asked_by_option(build, option, scenario)
        at_home = asked_at_home(build, asked)
    except LedgerError:
        return None, None
    total = sum(to_float(minor, build.build.currency) for minor in at_home)
    if isinstance(known, KnownFacts):
        return total, None
    taken = forecast_given(build, scenario, trials, seed, with_agreed(known, asked, at_home), "totals")
    return total, taken.percentile(0.8)


def _told_apart(forecasts: Mapping[str, Forecast]) -> dict[str, tuple[Risk, ...]]:
    """Give of each option the events that differ between them, largest mean first."""
    risks = {id: _risks(forecast) for id, forecast in forecasts.items()}
    told_apart = {
        risk.id
        for found in risks.values()
        for risk in found.values()
        if any(other.get(risk.id) != risk for other in risks.values())
    }
    return {
        id: tuple(
            sorted((risk for risk in found.values() if risk.id in told_apart), key=lambda risk: -risk.mean)
        )
        for id, found in risks.items()
    }


def _risks(forecast: Forecast) -> dict[str, Risk]:
    trials = forecast.trials
    gates = {gate.id: place for place, gate in enumerate(trials.plan.gates)}
    found = {}
    for row in trials.plan.rows:
        if row.kind == "event" and row.gate is not None:
            chance = float(np.average(trials.gates[gates[row.gate]], weights=trials.weights))
            mean = float(np.average(trials.row(row.id), weights=trials.weights))
            found[row.id] = Risk(row.id, row.title, chance, mean)
    return found
