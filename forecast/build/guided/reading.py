"""Reads one answer of the guided start, from text or from a TOML value."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from pydantic import TypeAdapter, ValidationError

from forecast.build.checks import nearest
from forecast.build.figures import (
    LARGEST,
    FigureBase,
    Known,
    Percentiles,
    Quotes,
    Span,
    UncertainFigure,
    short,
)
from forecast.build.guided.questions import DONT_KNOW, Question

_UNKNOWN = frozenset({DONT_KNOW, "i don't know", "dont know", "i dont know", "unknown", "not known", "dk"})
_THOUSANDS = re.compile(r"^[1-9]\d{0,2}(,\d{3})+(\.\d+)?$")
_BOX = re.compile(
    r"^(?:(?P<count>\d{1,4})\s*(?:x|×|\*)\s+)?(?P<length>[\d.]+)\s*[x×*]\s*(?P<width>[\d.]+)\s*[x×*]\s*"
    r"(?P<height>[\d.]+)\s*(?:cm)?\s*,?\s*(?P<weight>[\d.]+)\s*kg$"
)
_FIGURE: TypeAdapter[FigureBase] = TypeAdapter(UncertainFigure)


class WrongAnswer(ValueError):
    """An answer that cannot be used: what was found, and how to mend it."""

    def __init__(self, found: str, mend: str) -> None:
        super().__init__(f"{found}. {mend}")
        self.found = found
        self.mend = mend


@dataclass(frozen=True)
class BoxSize:
    """Boxes of one outside size, cm, and the weight of one, kg."""

    count: int
    length: float
    width: float
    height: float
    weight: float


def is_unknown(raw: object) -> bool:
    """Tell whether an answer says that it is not known."""
    return isinstance(raw, str) and " ".join(raw.replace("\u2019", "'").lower().split()) in _UNKNOWN


def read_value(question: Question, raw: object) -> Any:
    """Read one answer.

    Parameters
    ----------
    question : Question
    raw : object
        Text, or a value of an answers file.

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
    return _READERS[question.kind](question, raw.strip() if isinstance(raw, str) else raw)


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
        code = {"UK": "GB"}.get(raw.upper(), raw.upper())
        if question.id == "country" and code in legal:
            return code
        if question.id == "origin" and re.fullmatch("[A-Z]{2}", code):
            return code
        if question.id == "kit_currency" and re.fullmatch("[A-Z]{3}", code):
            return code
    mend = nearest(str(raw), legal) if len(legal) > 12 else f"Legal: {', '.join(legal)}."
    _refuse(raw, f"{mend} Or write {DONT_KNOW!r}.")


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
        _refuse(raw, f"A kit has a part: some of {', '.join(question.choices)}. Or write {DONT_KNOW!r}.")
    found = [_choice(question, item) for item in listed]
    return tuple(id for id in question.choices if id in found)


def _yes_no(question: Question, raw: object) -> bool:
    word = str(raw).lower() if isinstance(raw, bool | str) else ""
    if word in ("yes", "y", "true"):
        return True
    if word not in ("no", "n", "false"):
        _refuse(raw, f"Write yes, no or {DONT_KNOW!r}.")
    return False


def _number(question: Question, raw: object) -> float:
    value = _plain(raw)
    if value is None or not 0 < value <= LARGEST:
        _refuse(raw, f"Write a number above zero, such as 1250 or 0.0057, without a sign. Or {DONT_KNOW!r}.")
    return value


def _plain(raw: object) -> float | None:
    if isinstance(raw, str):
        text = raw.replace(",", "") if _THOUSANDS.match(raw) else raw
        return float(text) if re.fullmatch(r"\d+(\.\d+)?|\.\d+", text) and len(text) < 20 else None
    return float(raw) if isinstance(raw, int | float) and not isinstance(raw, bool) else None


_HOW_TO_PRICE = (
    "Write one price (2450), a range (1800-3200), low, middle and high (1800/2400/3200) or several quotes "
    f"(2100; 2450; 3300). Or {DONT_KNOW!r}."
)


def _range(question: Question, raw: object) -> FigureBase:
    if isinstance(raw, list | tuple):
        raw = {"quotes": list(raw)}
    elif isinstance(raw, str):
        raw = _spoken_range(raw)
    try:
        figure = _FIGURE.validate_python(raw)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        context = first.get("ctx", {})
        if first["type"] == "builder":
            raise WrongAnswer(context["found"], context["mend"]) from None
        found = f"found {short(raw)}"
        raise WrongAnswer(found, _HOW_TO_PRICE) from None
    if not isinstance(figure, Known | Percentiles | Span | Quotes):
        _refuse(raw, _HOW_TO_PRICE)
    if figure.currency is not None:
        found = f"currency is {figure.currency!r}"
        raise WrongAnswer(found, f'Write kit_currency = "{figure.currency}" instead.')
    if figure.causes or figure.unit or not figure.estimated:
        found = "has keys beside the prices"
        raise WrongAnswer(found, "Add causes and units to the build file afterwards.")
    if isinstance(figure, Known) and not figure.value > 0:
        _refuse(figure.value, "A price is above zero. " + _HOW_TO_PRICE)
    return figure


def _spoken_range(text: str) -> object:
    """Read a price as it is said: 2450, 1800-3200, 1800/2400/3200, or 2100; 2450; 3300."""
    if _THOUSANDS.match(text):
        found = f"found {text!r}"
        raise WrongAnswer(
            found,
            "A comma may part thousands or quotes: write 2450 for one price, and 2100; 2450 for two quotes.",
        )
    quoted = [part.strip() for part in re.split(r"[;,]", text) if part.strip()]
    numbers = [
        _plain(part) for part in (quoted if len(quoted) > 1 else re.split(r"\s*[-\u2013/]\s*|\s+to\s+", text))
    ]
    known = [number for number in numbers if number is not None]
    if len(known) != len(numbers) or not known or (len(quoted) < 2 and len(known) > 3):
        found = f"found {short(text)}"
        raise WrongAnswer(found, _HOW_TO_PRICE)
    if len(quoted) > 1:
        return {"quotes": known}
    if len(known) == 1:
        return known[0]
    return dict(zip(("low", "high") if len(known) == 2 else ("low", "middle", "high"), known, strict=True))


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
        match = _BOX.match(raw.lower().replace("box", "").replace("boxes", ""))
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
    numbers = {key: _plain(fields.get(key, 1 if key == "count" else None)) for key in legal}
    for key, number in numbers.items():
        most = 1000 if key == "count" else 10_000
        if number is None or not 0 < number <= most or (key == "count" and number != int(number)):
            found = short(fields[key]) if key in fields else "nothing"
            found = f"{key} of a box: found {found}"
            raise WrongAnswer(found, f"It is from 1 to {most:,}. {_HOW_TO_BOX}")
    values = {key: number for key, number in numbers.items() if number is not None}
    return BoxSize(int(values.pop("count")), **values)


_READERS: Mapping[str, Callable[[Question, object], Any]] = {
    "text": _text, "choice": _choice, "choices": _choices, "range": _range, "number": _number, "boxes": _boxes,
    "yes-no": _yes_no,
}  # fmt: skip
