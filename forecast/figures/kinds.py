"""Uncertain figures as the builder writes them: a number, a range, or a named shape.

Every figure is a frozen model with a ``kind``, so that two different shapes with the same numbers never look
the same. There is no arithmetic here: the engine turns a figure into a probability distribution.
"""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from functools import cache
from typing import Annotated, Any, Literal, NoReturn, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    model_validator,
)
from pydantic_core import PydanticCustomError

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


class FigureBase(Part):
    """What any uncertain figure may say beside its numbers.

    Attributes
    ----------
    causes : dict
        Loadings on shared causes by id, each between -1 and 1.
    currency : str or None
        ISO 4217 code when the figure is not in the build's own currency.
    unit : str or None
        What is counted, for display.
    estimated : bool
        False for what is not the builder's own estimate (a legal rate): own estimating does not move it.
    starter : bool
        True for a usual range that the builder has not made their own: nobody's guess, so it says less of the others.
    """

    causes: dict[Identifier, Loading] = {}
    currency: CurrencyCode | None = None
    unit: Text | None = None
    estimated: Flag = True
    starter: Flag = False


class Known(FigureBase):
    """A figure that is known."""

    kind: Literal["known"] = "known"
    value: Number


class Percentiles(FigureBase):
    """Low, middle and high: P10, P50 and P90.

    In 10 of 100 builds the figure is lower than low, in 50 of 100 lower than middle, in 90 of 100 lower than high.
    """

    kind: Literal["percentiles"] = "percentiles"
    low: Number
    middle: Number
    high: Number

    @model_validator(mode="after")
    def _ordered(self) -> Percentiles:
        if self.low <= 0:
            wrong(
                f"low is {self.low:g}",
                "Low, middle and high must be above zero. If it may not be needed at all, "
                "give the line a chance, such as chance = 0.6, and a low for when it is needed.",
            )
        if self.low == self.middle == self.high:
            return self
        if not self.low < self.middle < self.high:
            wrong(
                f"low {self.low:g}, middle {self.middle:g}, high {self.high:g}",
                "No shape has these percentiles: low must be under middle and middle under high. "
                "Sort the three, or write one number if it is known.",
            )
        return self


class Span(FigureBase):
    """Low and high only: a lognormal through P10 and P90."""

    kind: Literal["span"] = "span"
    low: Number
    high: Number

    @model_validator(mode="after")
    def _ordered(self) -> Span:
        _check_span("low", self.low, "high", self.high)
        return self


class Triangular(FigureBase):
    """A triangle from min over mode to max."""

    kind: Literal["triangular"] = "triangular"
    min: Number
    mode: Number
    max: Number

    @model_validator(mode="after")
    def _ordered(self) -> Triangular:
        _check_limits(self.min, self.mode, self.max)
        return self


class BetaPert(FigureBase):
    """A beta-PERT from min over mode to max, with the usual weight of four on the mode."""

    kind: Literal["beta-pert"] = "beta-pert"
    min: Number
    mode: Number
    max: Number

    @model_validator(mode="after")
    def _ordered(self) -> BetaPert:
        _check_limits(self.min, self.mode, self.max)
        return self


class Uniform(FigureBase):
    """Anything from min to max alike."""

    kind: Literal["uniform"] = "uniform"
    min: Number
    max: Number

    @model_validator(mode="after")
    def _ordered(self) -> Uniform:
        if not self.min < self.max:
            wrong(
                f"min {self.min:g}, max {self.max:g}",
                "min must be under max. Swap them, or write one number.",
            )
        return self


class Normal(FigureBase):
    """A normal distribution, which may go below zero."""

    kind: Literal["normal"] = "normal"
    mean: Number
    sd: Positive


class LognormalPercentiles(FigureBase):
    """A lognormal through P10 and P90."""

    kind: Literal["lognormal-percentiles"] = "lognormal-percentiles"
    p10: Number
    p90: Number

    @model_validator(mode="after")
    def _ordered(self) -> LognormalPercentiles:
        _check_span("p10", self.p10, "p90", self.p90)
        return self


class LognormalMedian(FigureBase):
    """A lognormal by its median and the standard deviation of its natural logarithm."""

    kind: Literal["lognormal-median"] = "lognormal-median"
    median: Positive
    sigma: Annotated[float, Field(strict=True, gt=0, le=5)]


class Metalog(FigureBase):
    """A three-percentile metalog, unbounded or with a lower bound, an upper bound or both."""

    kind: Literal["metalog"] = "metalog"
    p10: Number
    p50: Number
    p90: Number
    lower: Number | None = None
    upper: Number | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Metalog:
        given = [
            value for value in (self.lower, self.p10, self.p50, self.p90, self.upper) if value is not None
        ]
        if any(a >= b for a, b in itertools.pairwise(given)):
            wrong(
                "found " + ", ".join(f"{value:g}" for value in given),
                "These must rise: lower (if given), p10, p50, p90, upper (if given).",
            )
        return self


class Discrete(FigureBase):
    """One of several values, each with its chance."""

    kind: Literal["discrete"] = "discrete"
    values: tuple[Number, ...] = Field(min_length=1, max_length=1000)
    chances: tuple[Chance, ...] = Field(min_length=1, max_length=1000)

    @model_validator(mode="after")
    def _matching(self) -> Discrete:
        if len(self.values) != len(self.chances):
            wrong(
                f"{len(self.values)} values but {len(self.chances)} chances",
                "Give one chance for each value.",
            )
        if abs(sum(self.chances) - 1) > 1e-9:
            wrong(f"the chances add up to {sum(self.chances):g}", "They must add up to 1.")
        if len(set(self.values)) != len(self.values):
            wrong("a value stands twice", "Give each value once, with its chances added up.")
        return self


class Quotes(FigureBase):
    """Prices that were actually quoted: one or more."""

    kind: Literal["quotes"] = "quotes"
    quotes: tuple[Positive, ...] = Field(min_length=1, max_length=1000)


def _check_span(low_name: str, low: float, high_name: str, high: float) -> None:
    if low <= 0:
        wrong(
            f"{low_name} is {low:g}",
            f"{low_name} must be above zero. If it may not be needed at all, give the line a chance, "
            "such as chance = 0.6.",
        )
    if not low < high:
        wrong(
            f"{low_name} {low:g}, {high_name} {high:g}",
            f"{low_name} must be under {high_name}. Swap them, or write one number if it is known.",
        )


def _check_limits(least: float, mode: float, most: float) -> None:
    if not (least <= mode <= most and least < most):
        wrong(
            f"min {least:g}, mode {mode:g}, max {most:g}",
            "min must be under max, and mode from min to max. Sort the three, or write one number if known.",
        )


SHAPES: Mapping[str, tuple[str, ...]] = {
    "triangular": ("min", "mode", "max"),
    "beta-pert": ("min", "mode", "max"),
    "uniform": ("min", "max"),
    "normal": ("mean", "sd"),
    "lognormal": ("p10, p90 or median, sigma",),
    "metalog": ("p10", "p50", "p90"),
    "discrete": ("values", "chances"),
}
"""The named shapes of the build file, with their keys."""

HOW_TO_WRITE = (
    "Write a number, { low = 40, middle = 60, high = 120 }, { low = 40, high = 120 }, "
    '{ quotes = [410, 455] } or { shape = "triangular", min = 40, mode = 60, max = 120 }.'
)


def _kind_of(value: Any) -> str:
    """Tell which figure a raw value is meant to be; the chosen model then says what is wrong with it."""
    if isinstance(value, FigureBase):
        return str(getattr(value, "kind"))  # noqa: B009 - each subclass has it, the base does not
    if not isinstance(value, Mapping):
        return "known"
    if "kind" in value:
        return str(value["kind"])
    if "shape" in value:
        shape = value["shape"]
        if shape == "lognormal":
            return "lognormal-median" if "median" in value or "sigma" in value else "lognormal-percentiles"
        return str(shape)
    if "quotes" in value:
        return "quotes"
    if "value" in value:
        return "known"
    numbers = [
        item for item in value.values() if isinstance(item, int | float) and not isinstance(item, bool)
    ]
    if "middle" in value or len(numbers) > 2:  # three numbers: a misspelt key among them is then named
        return "percentiles"
    return "span"


def _raw_figure(value: Any) -> Any:
    """Bring the short forms of the build file to the models' own fields."""
    if isinstance(value, FigureBase):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float | Mapping):
        wrong(f"found {short(value)}", HOW_TO_WRITE)
    if not isinstance(value, Mapping):
        return {"value": float(value), "kind": "known"} if abs(value) <= LARGEST else {"value": value}
    if "kind" in value:
        return value
    if "shape" in value:
        shape = value["shape"]
        if not isinstance(shape, str) or shape not in SHAPES:
            wrong(f"shape is {short(shape)}", f"Shapes are {', '.join(SHAPES)}.")
        return {key: item for key, item in value.items() if key != "shape"} | {"kind": _kind_of(value)}
    if not {"low", "high", "quotes", "value", "middle"} & set(value):
        wrong(f"found {'keys ' + ', '.join(map(short, value)) if value else 'an empty table'}", HOW_TO_WRITE)
    return value


Figure = Annotated[
    Annotated[Known, Tag("known")]
    | Annotated[Percentiles, Tag("percentiles")]
    | Annotated[Span, Tag("span")]
    | Annotated[Triangular, Tag("triangular")]
    | Annotated[BetaPert, Tag("beta-pert")]
    | Annotated[Uniform, Tag("uniform")]
    | Annotated[Normal, Tag("normal")]
    | Annotated[LognormalPercentiles, Tag("lognormal-percentiles")]
    | Annotated[LognormalMedian, Tag("lognormal-median")]
    | Annotated[Metalog, Tag("metalog")]
    | Annotated[Discrete, Tag("discrete")]
    | Annotated[Quotes, Tag("quotes")],
    Discriminator(_kind_of),
]
"""The models of an uncertain figure; the ``kind`` tells them apart."""

UncertainFigure = Annotated[Figure, BeforeValidator(_raw_figure)]
"""An uncertain figure in any of the forms of the build file."""

FIGURE_KINDS: Mapping[str, type[FigureBase]] = {
    "known": Known,
    "percentiles": Percentiles,
    "span": Span,
    "triangular": Triangular,
    "beta-pert": BetaPert,
    "uniform": Uniform,
    "normal": Normal,
    "lognormal-percentiles": LognormalPercentiles,
    "lognormal-median": LognormalMedian,
    "metalog": Metalog,
    "discrete": Discrete,
    "quotes": Quotes,
}
"""Model by kind."""

FIGURE_KEYS = frozenset(
    key for model in FIGURE_KINDS.values() for key in model.model_fields if key not in FigureBase.model_fields
) - {"kind"} | {"shape"}
"""The keys that hold a figure's numbers."""


@cache
def keys_of(kind: type[BaseModel], held: type[BaseModel]) -> tuple[str, ...]:
    """Name the keys of a model that can hold something of a class, however deep in tuples and mappings.

    Of the many keys of a line nine can hold a figure, and figures are gone through all the time.
    """
    return tuple(key for key, field in kind.model_fields.items() if _can_hold(field.annotation, held))


def _can_hold(form: object, held: type[BaseModel]) -> bool:
    if isinstance(form, type) and not get_args(form):
        return issubclass(form, held)
    return any(_can_hold(part, held) for part in get_args(form))


def lowest(figure: FigureBase) -> float | None:
    """Give the smallest number that a figure names; None where it names none."""
    return _end(figure, ("value", "low", "min", "lower", "p10", "median", "mean"), min)


def highest(figure: FigureBase) -> float | None:
    """Give the largest number that a figure names; None where it names none."""
    return _end(figure, ("value", "high", "max", "p90", "median", "mean"), max)


def _end(
    figure: FigureBase, keys: tuple[str, ...], choose: Callable[[Iterable[float]], float]
) -> float | None:
    for key in keys:
        if isinstance(number := getattr(figure, key, None), int | float):
            return float(number)
    listed = getattr(figure, "quotes", ()) or getattr(figure, "values", ())
    return float(choose(listed)) if listed else None


_PLAIN = ("known", "percentiles", "span", "quotes")
"""Kinds that are told by their keys alone; all others name their shape."""


def as_written(figure: FigureBase) -> Any:
    """Give a figure as a plain TOML value: a number, or a table of what differs from the defaults."""
    kind = str(figure.kind)  # type: ignore[attr-defined]
    shape = {} if kind in _PLAIN else {"shape": kind.removesuffix("-percentiles").removesuffix("-median")}
    said = figure.model_dump(exclude_defaults=True, exclude={"kind"})
    values = {key: list(value) if isinstance(value, tuple) else value for key, value in said.items()}
    return values["value"] if set(values) == {"value"} else shape | values
