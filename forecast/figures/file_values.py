"""What the fields of a build file hold: numbers, names, days and codes, and how a wrong one is refused."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from datetime import date, datetime
from functools import cache
from typing import Annotated, Any, NoReturn, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
)
from pydantic_core import PydanticCustomError
from typing_extensions import TypeAliasType

from forecast.words.countries import COUNTRIES, nearest_country
from forecast.words.currencies import is_currency, reference_rates
from forecast.words.text import plain

STRENGTHS: Mapping[str, float] = {"slight": 0.3, "moderate": 0.5, "strong": 0.7}
"""Loading on a shared cause that each word stands for (our choice: two strong figures correlate at 0.49)."""

LARGEST = 1e12
"""A figure beyond this is taken for a slip of the keyboard."""
SMALLEST = 1e-9
"""A figure nearer to zero, and not zero, is one too: it is lost in sums, and its square may leave the range of floating
point. The smallest money of any currency is a millionth of another's."""


def short(value: Any) -> str:
    """Write a value as it stands in a build file, cut to a length that fits a message."""
    text = _as_written(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _as_written(value: Any) -> str:
    match value:
        case bool():
            return str(value).lower()
        case int() if abs(value) >= 10**60:
            return "a number of more than 60 digits"
        case float():
            return f"{value:.12g}"
        case date():
            return value.isoformat()
        case Mapping():
            return "{ " + ", ".join(f"{key} = {_as_written(item)}" for key, item in value.items()) + " }"
        case list() | tuple():
            return "[" + ", ".join(map(_as_written, value)) + "]"
        case _:
            return repr(value)


def wrong(found: str, mend: str) -> NoReturn:
    """Refuse a value, saying what was found and how to mend it."""
    kind = "builder"
    raise PydanticCustomError(kind, "{found}\x1f{mend}", {"found": found, "mend": mend})


def _strength(value: Any) -> Any:
    if isinstance(value, str):
        if value not in STRENGTHS:
            wrong(f"found {short(value)}", "Write slight, moderate or strong, or a number between -1 and 1.")
        return STRENGTHS[value]
    return value


def _not_tiny(value: float) -> float:
    if 0 < abs(value) < SMALLEST:
        wrong(
            f"found {value:g}",
            f"Nothing that is counted or paid is under {SMALLEST:g}: write 0, or what is meant.",
        )
    return value


Number = Annotated[
    float, Field(strict=True, allow_inf_nan=False, ge=-LARGEST, le=LARGEST), AfterValidator(_not_tiny)
]
Positive = Annotated[
    float, Field(strict=True, allow_inf_nan=False, gt=0, le=LARGEST), AfterValidator(_not_tiny)
]
Chance = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=1), AfterValidator(_not_tiny)]
Loading = Annotated[float, BeforeValidator(_strength), Field(strict=True, gt=-1, lt=1)]
Identifier = Annotated[str, Field(strict=True, pattern=r"^[A-Za-z][A-Za-z0-9_-]*$", max_length=64)]
Text = Annotated[
    str, Field(strict=True, max_length=2000), AfterValidator(lambda text: plain(text, lines=False))
]
"""What is said beside things: on one line wherever it is shown, however many it has in the file."""
Flag = Annotated[bool, Field(strict=True)]


def _a_currency(code: str) -> str:
    if code not in reference_rates() and not is_currency(code):
        near = difflib.get_close_matches(code, sorted(reference_rates()), n=3, cutoff=0.6)
        asked = f" Near it: {', '.join(near)}." if near else ""
        wrong(
            f"there is no currency {code}",
            f'Write its three capital letters of ISO 4217, such as "EUR".{asked}',
        )
    return code


def _a_country(code: str) -> str:
    if code not in COUNTRIES:
        wrong(f"there is no country {code}", nearest_country(code))
    return code


def _a_name(text: str) -> str:
    text = plain(text, lines=False).strip()
    if not text:
        wrong("an empty name", "Write a name in the quotes, or leave the key out.")
    return text


CurrencyCode = Annotated[str, Field(strict=True, pattern=r"^[A-Z]{3}$"), AfterValidator(_a_currency)]
"""Of a currency that there is."""
CountryCode = Annotated[str, Field(strict=True, pattern=r"^[A-Z]{2}$"), AfterValidator(_a_country)]
"""Of a country that there is."""
Name = Annotated[str, Field(strict=True, max_length=2000), AfterValidator(_a_name)]
"""What something is called: on one line, not empty, and nothing that a terminal or page would act on."""


def _a_day(value: Any) -> Any:
    if not isinstance(value, date) or isinstance(value, datetime) or not 2000 <= value.year <= 2100:
        wrong(
            f"found {short(value)}",
            "Write a day of the years 2000 to 2100 without quotes, such as 2027-01-14.",
        )
    return value


Day = Annotated[date, BeforeValidator(_a_day)]
"""A day as TOML writes it."""


class Part(BaseModel):
    """Common ground of all models: frozen, and unknown keys are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid")


@cache
def keys_of(kind: type[BaseModel], held: type[BaseModel]) -> tuple[str, ...]:
    """Name the keys of a model that can hold something of a class, however deep in tuples and mappings.

    Of the many keys of a line nine can hold a figure, and figures are gone through all the time.
    """
    return tuple(key for key, field in kind.model_fields.items() if _can_hold(field.annotation, held))


def _can_hold(form: object, held: type[BaseModel]) -> bool:
    if isinstance(form, type) and not get_args(form):
        return issubclass(form, held)
    return any(_can_hold(part, held) for part in parts_of(form))


def parts_of(form: object) -> tuple[Any, ...]:
    """Give what a form of value is made of, behind its name where it has one."""
    return (form.__value__,) if isinstance(form, TypeAliasType) else get_args(form)
