"""The answers of the guided start: one by one, or all of an answers file, with every mistake at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import Any

from forecast.buildfile.checks import nearest
from forecast.buildfile.incoterms import incoterm
from forecast.buildfile.locate import Path, line_of, locate
from forecast.buildfile.places import load_places
from forecast.buildfile.rates import FAR_RATE
from forecast.buildfile.rulefiles import countries, country_of, regions_of, same_territory, unknown_country
from forecast.buildfile.toml import parse_toml
from forecast.errors import BuildFileError, Problem
from forecast.figures.figure import FigureBase
from forecast.figures.file_values import short
from forecast.start.questions import DONT_KNOW, Question, question, questions
from forecast.start.written_answers import BoxSize, Context, WrongAnswer, is_unknown, read_value
from forecast.tables.files import UnfitFileError, read_regular, why_not
from forecast.words.countries import names_used_in
from forecast.words.currencies import currency_many, minor_digits, reference
from forecast.words.day_words import long_day

LARGEST_FILE = 100_000
"""Bytes; an answers file beyond this is not one."""

_OFF = 3.0  # a rate that differs from the one on file by more than this factor is taken for a slip

_LEAST, _LEAST_WHOLE = 20.0, 250.0
"""Euro: of two readings of a kit's price, or of what the whole may cost, the one under it cannot be meant."""

_WEEK = 168.0  # hours in a week

AnswersSoFar = Mapping[str, Any]
"""Answers read already, by question: ``None`` where it is not known."""


@dataclass(frozen=True)
class Answers:
    """What the builder told; None where they do not know.

    Attributes
    ----------
    country, currency : str or None, str
        Where the car is registered, and the money that is counted.
    panels : tuple of str or None
    origin, sent_from : str or None
        Where the kit is made, and where it is sent from.
    kit_price, kit_currency : figure or None, str
        What it costs in which currency.
    rate : float or None
        Units of ``currency`` for one of ``kit_currency``, today.
    shipping, incoterm, boxes : str or None, str or None, tuple of BoxSize or None
    region : str or None
        Where in the country, where its rules ask for it.
    private_use : bool or None
        Whether its rule for goods for one's own use counts, where it has one.
    arches_cut, wheels_new, first_build : bool or None
    filling, paint : str or None
        self or shop.
    at_hand : tuple of str or None
    car_state : str or None
    week_hours : float or None
        Own hours in a week.
    budget : float or None
    """

    name: str
    country: str | None
    currency: str
    panels: tuple[str, ...] | None
    origin: str | None
    sent_from: str | None
    kit_price: FigureBase | None
    kit_currency: str
    rate: float | None
    shipping: str | None
    incoterm: str | None
    boxes: tuple[BoxSize, ...] | None
    region: str | None
    private_use: bool | None
    arches_cut: bool | None
    wheels_new: bool | None
    filling: str | None
    paint: str | None
    at_hand: tuple[str, ...] | None
    car_state: str | None
    first_build: bool | None
    week_hours: float | None
    budget: float | None

    @property
    def rules(self) -> str:
        """The country whose rules are taken: the builder's, or what the rule files say for one not named."""
        return self.country or unknown_country().country

    @property
    def imported(self) -> bool:
        """True where the kit crosses a customs border."""
        return crosses_border(self.country, self.comes_from)

    @property
    def comes_from(self) -> str | None:
        """Where the kit comes from: where it is sent from, else where it is made."""
        return self.sent_from or self.origin


def crosses_border(country: str | None, comes_from: str | None) -> bool:
    """Tell whether goods sent from one country pass customs on their way into another."""
    if comes_from is None:
        return True
    return not same_territory(country or unknown_country().country, comes_from)


def default_of(item: Question, so_far: AnswersSoFar) -> Any:
    """Give what is taken when a question is left open, as it would be written, after earlier answers."""
    if item.id == "currency":
        return countries()[so_far.get("country") or unknown_country().country].currency
    if item.id == "kit_currency":
        if said := _priced_in(so_far):
            return said
        place = load_places().origins.get(_comes_from(so_far) or "")
        return place.currency if place else so_far.get("currency") or default_of(question("currency"), so_far)
    if item.id == "sent_from":
        return so_far.get("origin") or item.default
    return item.default


def is_follow_up(item: Question, so_far: AnswersSoFar) -> bool:
    """Tell whether what is taken follows from an earlier answer, so that leaving it open confirms that one."""
    if item.id == "kit_currency":
        return bool(_priced_in(so_far)) or _comes_from(so_far) in load_places().origins
    return bool(item.follows) and so_far.get(item.follows) is not None


def _comes_from(so_far: AnswersSoFar) -> str | None:
    return so_far.get("sent_from") or so_far.get("origin")


def is_asked(item: Question, so_far: AnswersSoFar) -> bool:
    """Tell whether a question makes sense after earlier answers."""
    if item.id == "rate":
        return so_far.get("kit_currency") != so_far.get("currency")
    abroad = crosses_border(so_far.get("country"), _comes_from(so_far))
    if item.id == "region":
        return abroad and regions_of(so_far.get("country") or "") is not None
    if item.id == "private_use":
        return abroad and country_of(so_far.get("country") or "").own_use is not None
    if item.id in ("shipping", "incoterm", "boxes"):
        return abroad
    return True


_DECIDING = ("country", "currency", "origin", "sent_from", "kit_currency")
"""Questions on whose answers it depends which others are asked."""


def is_counted(so_far: AnswersSoFar) -> bool:
    """Tell whether it is known how many questions are asked: no answer to come adds one."""
    return all(name in so_far for name in _DECIDING)


def place_words(place: int, count: int, so_far: AnswersSoFar) -> str:
    """Write which question it is of how many: ``3 of about 20`` as long as answers may still add some.

    Parameters
    ----------
    place : int
        From 1.
    count : int
        How many are asked after the answers so far.
    so_far : mapping
    """
    return f"{place} of {count}" if is_counted(so_far) else f"{place} of about {round(count, -1)}"


def as_asked(item: Question, so_far: AnswersSoFar) -> Question:
    """Give a question as it is put after earlier answers: some ask what the rules of the builder's country ask."""
    if item.id == "rate":
        return _rate_as_asked(item, so_far)
    if (money := so_far.get(_MONEY_OF.get(item.id, ""))) is not None:
        return replace(item, text=f"{item.text.removesuffix('?')}, in {currency_many(money)}?")
    if item.id == "shipping" and not _by_road(so_far):
        return replace(item, choices={way: name for way, name in item.choices.items() if way != "road"})
    if item.id == "incoterm" and so_far.get("shipping") not in (None, "sea"):
        return replace(
            item, choices={code: item.choices[code] for code in item.choices if not incoterm(code).sea_only}
        )
    if item.anywhere and (country := so_far.get("country")):
        theirs = names_used_in(country)
        called = {
            code: (*item.called.get(code, ()), *theirs.get(code, ())) for code in {*item.called, *theirs}
        }
        return replace(item, called=called)
    own_use = country_of(so_far.get("country") or "").own_use
    if item.id == "private_use" and own_use is not None:
        return replace(item, text=own_use.question, help=own_use.why)
    asked = regions_of(so_far.get("country") or "") if item.id == "region" else None
    if asked is None:
        return item
    choices = {code: choice.name for code, choice in asked.choices.items()}
    return replace(item, text=asked.question, help=asked.why, choices=choices)


def _by_road(so_far: AnswersSoFar) -> bool:
    """Tell whether goods may come by road: of a region of the rule files all that is not in it lies over the sea."""
    known = load_places().origins
    here, there = known.get(so_far.get("country") or ""), known.get(_comes_from(so_far) or "")
    return here is None or there is None or here.region == there.region


_MONEY_OF = {"kit_price": "kit_currency", "budget": "currency"}
"""Questions for a sum, each with the one whose answer is the money that it is in."""


def _rate_as_asked(item: Question, so_far: AnswersSoFar) -> Question:
    """Ask for the rate between the very currencies, with what it was on file as the example."""
    home, foreign = so_far.get("currency") or "", so_far.get("kit_currency") or ""
    if not home or not foreign:
        return item
    text, usual = f"What does one {foreign} cost in {home} today?", reference(foreign, home)
    if usual is None:
        help = f"No rate of it is on file: look up today's. {_MOVES}"
        return replace(item, text=text, help=help, how="A number, or a range: its middle counts.")
    day = long_day(usual.as_of)
    words = f"Look up today's. Without it, the rounded rate of {day} is taken, with a wider range. {_MOVES}"
    how = f"A number, such as {usual.rate:g}, or a range: its middle counts."
    return replace(item, text=text, help=words, how=how)


_MOVES = "How far it may move until you pay is counted in any case."


def read_answer(item: Question, raw: object, so_far: AnswersSoFar) -> Any:
    """Read one answer after earlier ones.

    Parameters
    ----------
    item : Question
    raw : object
        Text or a TOML value; an empty text takes the default.
    so_far : mapping

    Returns
    -------
    object
        None where it is not known.

    Raises
    ------
    WrongAnswer
        Saying what was found and what is legal.
    """
    default = default_of(item, so_far)
    if (
        item.id != "incoterm"
    ):  # a seller may quote what does not fit the way: it is taken, and the build says so
        item = as_asked(item, so_far)
    if isinstance(raw, str) and not raw.strip():
        raw = default
    if is_unknown(raw) and item.id in ("name", "currency", "kit_currency"):
        raw = default
    value = read_value(item, raw, _context(item, so_far))
    if item.id == "rate":
        _check_rate(value, so_far)
    if item.id == "week_hours" and value is not None and not 0.5 <= value <= _WEEK:
        found = f"found {value:g} hours a week"
        raise WrongAnswer(found, "Write a number from 0.5 to 168, such as 8.")
    return value


def _context(item: Question, so_far: AnswersSoFar) -> Context:
    """Give what earlier answers tell about how to read a number."""
    home, foreign = so_far.get("currency") or "", so_far.get("kit_currency") or ""
    if item.id == "rate":
        return rate_context(foreign, home)
    if item.id == "week_hours":
        return HOURS_A_WEEK
    if item.id == "budget" and home:
        return Context(currency=home, digits=minor_digits(home), low=_least(home, _LEAST_WHOLE))
    if item.id == "kit_price" and foreign:
        return Context(currency=foreign, digits=minor_digits(foreign), low=_least(foreign))
    if item.id == "kit_price":
        place = load_places().origins.get(_comes_from(so_far) or "")
        return Context(expected=tuple(filter(None, (place.currency if place else "", home))))
    return Context()


def rate_context(foreign: str, home: str) -> Context:
    """Give how what one unit of a currency costs in another is read."""
    usual = reference(foreign, home)
    if usual is None:
        return Context(currency=home, ranged=True)
    return Context(currency=home, low=usual.rate / _OFF, high=usual.rate * _OFF, ranged=True)


HOURS_A_WEEK = Context(low=0.5, high=_WEEK, units=("hours a week", "hours", "h"), ranged=True)
"""How own hours a week are read."""


def _least(currency: str, euros: float = _LEAST) -> float | None:
    """Give the least that a sum in a currency can come to here; None where its worth is not on file."""
    worth = reference(currency, "EUR")
    return None if worth is None else euros / worth.rate


def _priced_in(so_far: AnswersSoFar) -> str:
    """Give the currency that was written beside the kit's price; empty where none was."""
    price = so_far.get("kit_price")
    return price.currency or "" if isinstance(price, FigureBase) else ""


def _check_rate(value: float | None, so_far: AnswersSoFar) -> None:
    home, foreign = so_far.get("currency"), so_far.get("kit_currency")
    if home is None or foreign is None or home == foreign:
        return
    usual = reference(foreign, home)
    meaning = f"Write what one {foreign} costs in {home}"
    if value is None and usual is None:
        found = f"no rate for {foreign} is on file"
        raise WrongAnswer(found, f"{meaning}: look up today's.")
    if value is None or usual is None:
        return
    turned = abs(1 / value / usual.rate - 1) <= FAR_RATE < abs(value / usual.rate - 1)
    if turned or not usual.rate / _OFF < value < usual.rate * _OFF:
        found = f"found {value:g} {home} for one {foreign}"
        round_about = f" Turned round it is {1 / value:.4g}." if turned else ""
        raise WrongAnswer(
            found, f"{meaning}; it was about {usual.rate:g} on {long_day(usual.as_of)}.{round_about}"
        )


def read_answers(source: str | FilePath | Mapping[str, Any]) -> Answers:
    """Read all answers.

    Parameters
    ----------
    source : path or mapping
        A TOML file of answers by question, or the same as a mapping. What is left out takes its default; only the
        country must be said, and may be "don't know".

    Returns
    -------
    Answers

    Raises
    ------
    BuildFileError
        With every mistake: where it stands, what was found, what is legal.
    """
    if isinstance(source, Mapping):
        return _all(source, "answers", {})
    path = FilePath(source)
    heading = str(path)
    try:
        raw = read_regular(path, LARGEST_FILE)
    except UnfitFileError as error:
        raise BuildFileError(heading, [Problem("file", error.strerror, "This is no answers file.")]) from None
    except OSError as error:
        mend = 'Give the path of a TOML file with one answer a line, such as country = "IE".'
        raise BuildFileError(heading, [Problem("file", why_not(error), mend)]) from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found, mend = f"byte {error.start + 1} is not UTF-8", "Save it as UTF-8 in your editor."
        raise BuildFileError(heading, [Problem("file", found, mend)]) from None
    values = parse_toml(text, heading, 'Write key = value, text in double quotes: country = "IE".')
    return _all(values, heading, locate(text))


def _all(raw: Mapping[str, Any], heading: str, lines: dict[Path, int]) -> Answers:
    problems: list[Problem] = []

    def note(key: str, found: str, mend: str) -> None:
        problems.append(Problem(key, found, mend, line_of((key,), lines) if lines else None))

    legal = [item.id for item in questions()]
    for key in raw:
        if key not in legal:
            note(str(key), f"unknown key {short(key)}", nearest(str(key), legal))
    if "country" not in raw:
        note("country", "missing", f'Add country = "IE", the two letters of yours, or "{DONT_KNOW}".')
    values: dict[str, Any] = {}
    refused: set[str] = set()
    for item in _as_told(raw):
        if item.follows in refused and item.id not in raw:
            continue  # its default is not known either
        try:
            values[item.id] = read_answer(item, raw.get(item.id, ""), values)
        except WrongAnswer as error:
            refused.add(item.id)
            note(item.id, error.found, error.mend)
    if problems:
        problems.sort(key=lambda problem: problem.line or 0)
        raise BuildFileError(heading, problems)
    return answers_of(values)


def _as_told(raw: Mapping[str, Any]) -> list[Question]:
    """Give the questions in their order; the kit's currency after its price where only that tells it, as ``65 THB``."""
    told = [item for item in questions() if item.id != "kit_currency"]
    before = "kit_price" if "kit_currency" in raw else "rate"
    place = next(number for number, item in enumerate(told) if item.id == before)
    return [*told[:place], question("kit_currency"), *told[place:]]


def answers_of(values: AnswersSoFar) -> Answers:
    """Give the answers from values read one by one; questions that were not asked count as not known."""
    complete: dict[str, Any] = dict(values)
    for item in questions():
        if item.id not in complete:
            complete[item.id] = read_answer(item, "", complete)
    if _priced_in(
        complete
    ):  # what was written beside the price is the answer to the next question, and stands there
        complete["kit_price"] = complete["kit_price"].model_copy(update={"currency": None})
    return Answers(**complete)


__all__ = [
    "Answers", "AnswersSoFar", "answers_of", "as_asked", "crosses_border", "default_of", "is_asked", "is_follow_up",
    "read_answer",
    "read_answers",
]  # fmt: skip
