"""Reads one answer of the guided start, from text or from a TOML value."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NoReturn

from pydantic import TypeAdapter, ValidationError

from forecast.buildfile.checks import nearest
from forecast.buildfile.limits import LONGEST_SIDE
from forecast.errors import NumberError
from forecast.figures.figure import FigureBase
from forecast.figures.file_values import LARGEST, short
from forecast.figures.kinds import Known, Percentiles, Quotes, Span, UncertainFigure
from forecast.start.questions import DONT_KNOW, Question
from forecast.start.questions import question as asked
from forecast.words.chances import listed
from forecast.words.countries import countries_called, country_name, country_names, names_near
from forecast.words.currencies import currencies_called, currency_name, currency_of, reference_rates
from forecast.words.numbers import MARKS, look_at, plainly, read_number, read_numbers

OR_UNKNOWN = f" Or write {DONT_KNOW!r}."
"""Ends what is said of an answer that cannot be used; who asks for what has to be known leaves it away."""

_UNKNOWN = frozenset(
    {DONT_KNOW, "i don't know", "dont know", "i dont know", "unknown", "not known", "dk", "no idea", "idk"}
)
_MYSELF = frozenset({"me", "myself", "i", "i do", "i do it", "own", "diy"})
"""What is written for doing the work oneself, in small letters."""
_BOX = re.compile(
    r"^(?:(?P<count>\d{1,4})\s*(?:x|×|\*)\s+)?(?P<length>_)\s*[x×*]\s*(?P<width>_)\s*[x×*]\s*"
    r"(?P<height>_)\s*(?:cm)?\s*,?\s*(?P<weight>_)\s*kg$".replace("_", r"\d+(?:[.,]\d+)?")
)
_FIGURE: TypeAdapter[FigureBase] = TypeAdapter(UncertainFigure)


class WrongAnswer(ValueError):
    """An answer that cannot be used: what was found, and how to mend it.

    Attributes
    ----------
    either : tuple of str
        Where the answer can mean two things: how to write each of them, so that a screen can ask which is meant.
    """

    def __init__(self, found: str, mend: str, either: tuple[str, ...] = ()) -> None:
        super().__init__(f"{found}. {mend}")
        self.found = found
        self.mend = mend
        self.either = either


@dataclass(frozen=True)
class Context:
    """What is known before a number is read: it may decide between two readings.

    Attributes
    ----------
    currency : str
        In which money is counted; empty where the answer is none, or says itself.
    expected : tuple of str
        Currencies that a sign such as $ may mean here, the likeliest first.
    digits : int or None
        How many decimals there can be.
    low, high : float or None
        Limits of what the answer can be.
    units : tuple of str
        What may stand behind the number.
    ranged : bool
        Whether a range may be written, of which the middle counts.
    """

    currency: str = ""
    expected: tuple[str, ...] = ()
    digits: int | None = None
    low: float | None = None
    high: float | None = None
    units: tuple[str, ...] = ()
    ranged: bool = False


_NO_CONTEXT = Context()


@dataclass(frozen=True)
class BoxSize:
    """Boxes of one outside size, cm, and the weight of one, kg."""

    count: int
    length: float
    width: float
    height: float
    weight: float


_SO_MANY_BOXES = re.compile(r"^(\d{1,4})\s*(?:[x×*]\s*)?box(?:es)?\b(?:\s+of\b)?\s*")
"""How many boxes, as in ``2 boxes 150x50x40 12 kg``."""


def is_unknown(raw: object) -> bool:
    """Tell whether an answer says that it is not known."""
    return isinstance(raw, str) and " ".join(raw.replace("\u2019", "'").lower().split()) in _UNKNOWN


def read_value(question: Question, raw: object, context: Context = _NO_CONTEXT) -> Any:
    """Read one answer.

    Parameters
    ----------
    question : Question
    raw : object
        Text, or a value of an answers file.
    context : Context, optional

    Returns
    -------
    object
        None where it is not known.

    Raises
    ------
    WrongAnswer
        Saying what was found and what is legal.
    """
    if is_unknown(raw):
        return None
    raw = raw.strip() if isinstance(raw, str) else raw
    if question.kind == "number":
        return _number(raw, context)
    if question.kind == "range":
        return _range(raw, context)
    return _READERS[question.kind](question, raw)


def _text(question: Question, raw: object) -> str:
    if not isinstance(raw, str) or not raw or len(raw) > 200 or not raw.isprintable():
        _refuse(raw, "Write up to 200 characters on one line.")
    return str(raw)


def _refuse(raw: object, mend: str) -> NoReturn:
    """Refuse an answer as it stands."""
    found = f"found {short(raw)}"
    raise WrongAnswer(found, mend)


def _choice(question: Question, raw: object) -> str:
    legal = question.choices
    if isinstance(raw, str):
        for id, name in legal.items():
            if raw.lower() in (id.lower(), name.lower()) and raw:
                return id
        if question.anywhere or question.id == "country":
            return _country(question, raw)
        if question.id in ("currency", "kit_currency"):
            return _currency(question, raw)
        bare = raw.strip().casefold().removeprefix("a ").removesuffix(" does it").removesuffix(" does")
        for id, name in legal.items():
            if bare and bare in (id.casefold(), name.casefold().removeprefix("a ").removesuffix(" does it")):
                return id
        parts = {id: _ALTERNATIVES.split(name.casefold()) for id, name in legal.items()}
        named = [id for id, alike in parts.items() if bare in alike] if bare else []
        if len(named) == 1:
            return named[0]
        if "self" in legal and " ".join(raw.casefold().split()) in _MYSELF:
            return "self"
    mend = nearest(str(raw), legal) if len(legal) > 12 else f"Legal: {', '.join(legal)}."
    _refuse(raw, f"{mend}{OR_UNKNOWN}")


_ALTERNATIVES = re.compile(r",\s*(?:or\s+)?|\s+or\s+")
"""What parts the name of a choice into what it may be, as in ``some rust, or 10 to 20 years``."""


def _currency(question: Question, written: str) -> str:
    """Read a currency by its code, its sign or its name; a kit may be priced in any."""
    countries = asked("country")
    found = currencies_called(written)
    if question.id == "currency":
        found = tuple(code for code in found if code in question.choices)
    if len(found) == 1:
        return found[0]
    mend = f"Write three letters, such as USD.{OR_UNKNOWN}"
    if found:
        named = [f"{currency_name(code)} ({code})" for code in found[:_SHOWN]]
        others = f" and {len(found) - _SHOWN} others" if len(found) > _SHOWN else ""
        can_mean = f"{short(written)} can mean {', '.join(named)}{others}"
        raise WrongAnswer(can_mean, mend, found if len(found) == 2 else ())
    of = countries_called(written, country_names(), countries.called)
    if len(of) == 1 and (used := currency_of(of[0])):
        _refuse(written, f"Did you mean {used!r}, {currency_name(used)}? {mend}")
    code = written.strip().upper()
    swapped = [one for one in reference_rates() if one in question.choices and sorted(one) == sorted(code)]
    near = nearest(code, swapped or question.choices) if len(code) == _CODE else ""
    _refuse(written, f"{near} {mend}".strip())


_CODE = 3
"""Letters of a currency's code: a longer word is no slip for one."""
_SHOWN = 6
"""So many currencies that one word can mean are named."""


def _country(question: Question, written: str) -> str:
    """Read a country by its code, a name of it or a part of one; a kit may come from anywhere."""
    legal, anywhere = question.choices, question.anywhere
    found = countries_called(written, legal, question.called)
    if len(found) == 1 and (anywhere or found[0] in legal):
        return found[0]
    named = [f"{legal.get(code) or country_name(code)} ({code})" for code in found]
    if len(found) > 1:
        either = tuple(legal.get(code) or country_name(code) for code in found) if len(found) == 2 else ()
        can_mean = f"{short(written)} can mean {', '.join(named[:-1])} or {named[-1]}"
        raise WrongAnswer(can_mean, "Write the one that is meant.", either)
    if found:
        none = f"no customs rules of {named[0]} are on file"
        raise WrongAnswer(
            none,
            f"On file: {', '.join(legal.values())}. Take the nearest, or a rule file of your own (README)."
            f"{OR_UNKNOWN}",
        )
    near = names_near(written, legal, question.called) if not anywhere else ()
    near = near or names_near(written, country_names(), question.called)
    mend = f"Nearest by name: {listed(near)}. " if near else ""
    mend += "Any country of the world may be named." if anywhere else f"{len(legal)} countries are on file."
    none = f"there is no country called {short(written)}"
    raise WrongAnswer(none, f"{mend} Write a name, a part of one, or its two letters.{OR_UNKNOWN}")


def _choices(question: Question, raw: object) -> tuple[str, ...]:
    if isinstance(raw, str):
        none = raw.lower() in ("none", "nothing", "")
        listed: list[object] = (
            [] if none else [part.strip() for part in re.split("[,;]", raw) if part.strip()]
        )
    elif isinstance(raw, list | tuple):
        listed = list(raw)
    else:
        _refuse(raw, f"Write some of {', '.join(question.choices)}.")
    if not listed and question.id == "panels":
        _refuse(raw, f"A kit has a part: some of {', '.join(question.choices)}.{OR_UNKNOWN}")
    found = [_choice(question, _COUNT.sub("", item) if isinstance(item, str) else item) for item in listed]
    return tuple(id for id in question.choices if id in found)


_COUNT = re.compile(r"^\d{1,2}\s*[x×]?\s+(?=\D)")
"""How many of a part there are, as in ``4 arches``: the question is only whether there are any."""


def _yes_no(question: Question, raw: object) -> bool:
    word = str(raw).lower() if isinstance(raw, bool | str) else ""
    word = re.split(r"[\s,;.!]", word.strip(), maxsplit=1)[0]  # yes, they are cut
    if word in ("yes", "y", "true"):
        return True
    if word not in ("no", "n", "false"):
        _refuse(raw, f"Write yes, no or {DONT_KNOW!r}.")
    return False


def _number(raw: object, context: Context) -> float:
    small = context.high is not None and context.high < 1
    such = "8, or 6-10" if context.units else "0.0057" if small else "1250"
    mend = f"Write a number above zero, such as {such}, without a sign. Or {DONT_KNOW!r}."
    try:
        ends = number_ends(raw, context) if context.ranged and isinstance(raw, str) else ()
        value = float(f"{sum(ends) / 2:.12g}") if ends else _plain(raw, context)
    except NumberError as error:
        raise _wrong(raw, error, mend) from None
    if value is None or not 0 < value <= LARGEST:
        _refuse(raw, mend)
    return value


def number_ends(text: str, context: Context = _NO_CONTEXT) -> tuple[float, ...]:
    """Give both ends of a range that was written for a number, such as ``8-12 h``; nothing where it is none.

    Raises
    ------
    NumberError
        If one end is no number.
    """
    parts = _BETWEEN.split(text.strip())
    if len(parts) != 2 or not all(parts):
        return ()
    first, second = map(float, read_numbers(
        parts, currency=context.currency, units=context.units, low=context.low, high=context.high
    ))  # fmt: skip
    return (first, second) if first < second else ()


def _wrong(raw: object, error: NumberError, mend: str) -> WrongAnswer:
    """Give the refusal of an answer that is no number, or can mean two: then with both ways to write it."""
    if not error.readings:
        return WrongAnswer(f"found {short(raw)}", f"It {error.found}. {mend}" if error.text else mend)
    either = tuple(plainly(value) for value in error.readings)
    return WrongAnswer(f"{error.text!r} {error.found}", error.mend, either)


def _plain(raw: object, context: Context = _NO_CONTEXT) -> float | None:
    if isinstance(raw, str):
        value = read_number(
            raw, currency=context.currency, digits=context.digits, low=context.low, high=context.high,
            units=context.units,
        )  # fmt: skip
        return float(value)
    if not isinstance(raw, int | float) or isinstance(raw, bool):
        return None
    try:
        return float(raw)
    except OverflowError:  # a whole number of more digits than a float can hold
        return math.inf if raw > 0 else -math.inf


_HOW_TO_PRICE = (
    "Write one price (2450), a range (1800-3200), low, middle and high (1800/2400/3200) or several quotes "
    f"(2100; 2450; 3300). Or {DONT_KNOW!r}."
)


def _range(raw: object, context: Context) -> FigureBase:
    currency, said = "", raw
    if isinstance(raw, list | tuple):
        raw = {"quotes": list(raw)}
    elif isinstance(raw, str):
        raw, currency = _spoken_range(_ABOUT.sub("", raw), context)
    try:
        figure = _FIGURE.validate_python(raw)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        told = first.get("ctx", {})
        if first["type"] == "builder":
            raise WrongAnswer(told["found"], told["mend"]) from None
        found = f"found {short(said)}"
        above = "A price quoted is above zero. " if first["type"] == "greater_than" else ""
        raise WrongAnswer(found, above + _HOW_TO_PRICE) from None
    if not isinstance(figure, Known | Percentiles | Span | Quotes):
        _refuse(said, _HOW_TO_PRICE)
    if figure.currency is not None:
        found = f"currency is {figure.currency!r}"
        raise WrongAnswer(found, f'Write kit_currency = "{figure.currency}" instead.')
    if figure.causes or figure.unit or figure.starter or not figure.estimated:
        found = "has keys beside the prices"
        raise WrongAnswer(found, "Add causes and units to the build file afterwards.")
    if isinstance(figure, Known) and not figure.value > 0:
        _refuse(figure.value, "A price is above zero. " + _HOW_TO_PRICE)
    return figure.model_copy(update={"currency": currency}) if currency else figure


_ABOUT = re.compile(
    r"^\s*(?:about|around|roughly|some|circa|ca\.?|approx(?:\.|imately)?|~)\s+", re.IGNORECASE
)
"""What says that a price is not meant to the cent; a range says it better, and is asked for."""

_BETWEEN = re.compile(
    r"\s*/\s*|\s+to\s+|\s+[-\u2013\u2014]\s+|(?<=[^\s.,(+-])\s*[-\u2013\u2014]\s*(?=[^\s-])"
)
"""What stands between the ends of a range; a dash behind a mark, as in ``1.250,-``, belongs to the sum."""


def _spoken_range(text: str, context: Context) -> tuple[object, str]:
    """Read a price as it is said: 2450, 1800-3200, 1800/2400/3200, or 2100; 2450; 3300; and its currency."""
    quoted = [part.strip() for part in re.split(r";|,\s+", text) if part.strip()]
    if len(quoted) < 2 and (listed := _unspaced_quotes(text)):
        quoted = listed
    many = len(quoted) > 1
    parts = quoted if many else _BETWEEN.split(text)
    between = "; " if many else "-" if len(parts) == 2 else "/"
    currency = _one_currency(text, parts, context)
    try:
        read = read_numbers(parts, currency=currency, digits=context.digits, low=context.low)
        numbers = [float(number) for number in read]
    except NumberError as error:
        raise _wrong_range(text, parts, currency, error, between) from None
    _ask_for_thousands(text, parts, numbers, currency, between)
    if len(numbers) > 3 and not many:
        _refuse(text, _HOW_TO_PRICE)
    if many:
        return {"quotes": numbers}, currency
    if len(numbers) == 1:
        return numbers[0], currency
    return dict(
        zip(("low", "high") if len(numbers) == 2 else ("low", "middle", "high"), numbers, strict=True)
    ), currency


def _unspaced_quotes(text: str) -> list[str]:
    """Give quotes with bare commas between them, where a comma cannot be a mark of one number.

    ``3,6`` is one number, and so is ``2450,50``. ``2100,2450,3300`` are three; ``200,150`` could be either.
    """
    parts = text.split(",")
    if len(parts) < 2 or not all(part.isascii() and part.isdigit() for part in parts):
        return []
    one = look_at(text)
    if not one.readings:
        return parts
    if len(one.values) == 1 and (len(parts) > 2 or len(parts[1]) > 2):  # no price has three decimals
        raise _either(text, plainly(one.values[0]), "; ".join(parts))
    return []


def _one_currency(text: str, parts: Sequence[str], context: Context) -> str:
    """Give the currency that stands beside prices; empty where none does."""
    named = [(item.beside, item.currency) for part in parts if (item := look_at(part)).currency]
    if not named:
        return context.currency
    if context.currency:
        for beside, codes in named:
            if context.currency not in codes:
                found = f"{short(text)} is in {beside}, but the kit is priced in {context.currency}"
                raise WrongAnswer(
                    found, f"Write the price in {context.currency}, or change the currency of the kit."
                )
        return context.currency
    both = frozenset.intersection(*(codes for _, codes in named))
    if len(both) == 1:
        return next(iter(both))
    expected = next((code for code in context.expected if code in both), "")
    if not expected:
        found = f"found {short(text)}"
        mend = f"Write its currency with three letters, such as USD, in place of {named[0][0]}."
        raise WrongAnswer(found, mend)
    return expected


def _wrong_range(
    text: str, parts: Sequence[str], currency: str, error: NumberError, between: str
) -> WrongAnswer:
    """Give the refusal of prices of which one is no number, or can mean two: then with both ways to write all."""
    if not error.readings:
        return WrongAnswer(f"found {short(text)}", _HOW_TO_PRICE)
    found: list[list[Decimal]] = []
    for mark in MARKS:
        values = [item.readings[mark] for part in parts if mark in (item := look_at(part)).readings]
        if len(values) == len(parts):
            found.append(values)
    if len(found) < 2:
        return WrongAnswer(f"{error.text!r} {error.found}", error.mend)
    found.sort(reverse=True)
    return _either(text, *(f"{between.join(map(plainly, values))} {currency}".strip() for values in found))


def _either(text: str, first: str, second: str) -> WrongAnswer:
    return WrongAnswer(
        f"{text!r} can mean {first} or {second}", f"Write {first}, or {second}.", (first, second)
    )


def _ask_for_thousands(
    text: str, parts: Sequence[str], numbers: Sequence[float], currency: str, between: str
) -> None:
    """Ask whether 60-65k begins at 60 or at 60k."""
    short = [
        not look_at(part).thousand and number < 1000 for part, number in zip(parts, numbers, strict=True)
    ]
    if any(short) and not all(short) and any(look_at(part).thousand for part in parts):
        whole = [number * 1000 if small else number for number, small in zip(numbers, short, strict=True)]
        ways = (between.join(f"{number:.12g}" for number in listed) for listed in (whole, numbers))
        raise _either(text, *(f"{way} {currency}".strip() for way in ways))


_HOW_TO_BOX = f"Write 1 x 200x120x60 45 kg; 2 x 150x50x40 12 kg (cm and kg of one box). Or {DONT_KNOW!r}."


def _boxes(question: Question, raw: object) -> tuple[BoxSize, ...]:
    if isinstance(raw, str):
        parts: list[object] = [part.strip() for part in raw.split(";") if part.strip()]
    elif isinstance(raw, list | tuple):
        parts = list(raw)
    else:
        parts = [raw]
    if not parts or len(parts) > 50:
        _refuse(raw, _HOW_TO_BOX)
    return tuple(_box(part) for part in parts)


def _box(raw: object) -> BoxSize:
    fields: Mapping[str, object]
    if isinstance(raw, str):
        counted = _SO_MANY_BOXES.sub(r"\1 x ", raw.strip().lower())
        match = _BOX.match(re.sub(r"\bbox(es)?\b", "", counted).strip())
        if match is None:
            found = f"found {short(raw)}"
            raise WrongAnswer(found, _HOW_TO_BOX)
        fields = {key: value for key, value in match.groupdict().items() if value is not None}
    elif isinstance(raw, Mapping):
        fields = raw
    else:
        found = f"found {short(raw)}"
        raise WrongAnswer(found, _HOW_TO_BOX)
    legal = ("count", "length", "width", "height", "weight")
    if strange := [key for key in fields if key not in legal]:
        found = f"unknown key {strange[0]!r}"
        raise WrongAnswer(found, nearest(str(strange[0]), legal))
    try:
        numbers = {key: _plain(fields.get(key, 1 if key == "count" else None)) for key in legal}
    except NumberError as error:
        found = f"a box: {error.text!r} {error.found}"
        raise WrongAnswer(found, error.mend) from None
    for key, number in numbers.items():
        most = 1000 if key == "count" else 10_000 if key == "weight" else int(LONGEST_SIDE)
        if number is None or not 0 < number <= most or (key == "count" and number != int(number)):
            found = short(fields[key]) if key in fields else "nothing"
            found = f"{key} of a box: found {found}"
            raise WrongAnswer(found, f"It is from 1 to {most:,}. {_HOW_TO_BOX}")
    values = {key: number for key, number in numbers.items() if number is not None}
    return BoxSize(int(values.pop("count")), **values)


_READERS: Mapping[str, Callable[[Question, object], Any]] = {
    "text": _text, "choice": _choice, "choices": _choices, "boxes": _boxes, "yes-no": _yes_no,
}  # fmt: skip
