"""Uncertain figures as the builder writes them: a number, a range, or a named shape.

Every figure is a frozen model with a ``kind``, so that two different shapes with the same numbers never look the same.
All that a kind is stands in its class: the keys of the file, what is refused, the distribution it stands for, its
numbers, and how it is written back. A new kind is one more class before `SHAPES`, and is found by its being there.

The distributions are `forecast.figures.shapes`, loaded when one is asked for: what only reads a build is spared NumPy.
Several ways of writing stand for one of them (two percentiles, a median, quotes), and low, middle and high for two.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeAlias, Union

from pydantic import (
    BeforeValidator,
    Discriminator,
    Field,
    Tag,
    model_validator,
)
from typing_extensions import TypeAliasType

from forecast.errors import SimulationError
from forecast.figures.figure import FIGURE_KINDS, Cell, FigureBase, own_keys
from forecast.figures.file_values import LARGEST, Chance, Number, Positive, short, wrong

if TYPE_CHECKING:
    from forecast.figures.shapes import Shape

FEW = 4.0
"""Standard deviations beyond which a normal figure is taken not to go: 1 draw in 30,000."""


class Known(FigureBase):
    """A figure that is known."""

    kind: Literal["known"] = "known"
    value: Number

    def shape(self, where: str = "figure") -> Shape:
        """Give the number itself."""
        from forecast.figures import shapes

        return shapes.Exact(self.value)

    @property
    def cells(self) -> tuple[Cell, Cell, Cell]:
        """The number in the middle."""
        return None, self.value, None


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

    def shape(self, where: str = "figure") -> Shape:
        """Give the positive shape through the three."""
        from forecast.figures import shapes

        if self.low == self.high:
            return shapes.Exact(self.low)
        return shapes.three_percentiles(self.low, self.middle, self.high)

    @property
    def cells(self) -> tuple[Cell, Cell, Cell]:
        """All three."""
        return self.low, self.middle, self.high


class Span(FigureBase):
    """Low and high only: a lognormal through P10 and P90."""

    kind: Literal["span"] = "span"
    low: Number
    high: Number

    @model_validator(mode="after")
    def _ordered(self) -> Span:
        _check_span("low", self.low, "high", self.high)
        return self

    def shape(self, where: str = "figure") -> Shape:
        """Give the lognormal through P10 and P90."""
        from forecast.figures import shapes

        return shapes.lognormal_from_percentiles(self.low, self.high)

    @property
    def rough_middle(self) -> float:
        """Its median."""
        return _between(self.low, self.high)

    @property
    def cells(self) -> tuple[Cell, Cell, Cell]:
        """The two ends."""
        return self.low, None, self.high


class Triangular(FigureBase):
    """A triangle from min over mode to max."""

    named = "triangular"
    kind: Literal["triangular"] = "triangular"
    min: Number
    mode: Number
    max: Number

    @model_validator(mode="after")
    def _ordered(self) -> Triangular:
        _check_limits(self.min, self.mode, self.max)
        return self

    def shape(self, where: str = "figure") -> Shape:
        """Give the triangle."""
        from forecast.figures import shapes

        return shapes.Triangle(self.min, self.mode, self.max)


class BetaPert(FigureBase):
    """A beta-PERT from min over mode to max, with the usual weight of four on the mode."""

    named = "beta-pert"
    kind: Literal["beta-pert"] = "beta-pert"
    min: Number
    mode: Number
    max: Number

    @model_validator(mode="after")
    def _ordered(self) -> BetaPert:
        _check_limits(self.min, self.mode, self.max)
        return self

    def shape(self, where: str = "figure") -> Shape:
        """Give the beta-PERT."""
        from forecast.figures import shapes

        return shapes.Pert(self.min, self.mode, self.max)


class Uniform(FigureBase):
    """Anything from min to max alike."""

    named = "uniform"
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

    def shape(self, where: str = "figure") -> Shape:
        """Give the uniform distribution."""
        from forecast.figures import shapes

        return shapes.Flat(self.min, self.max)

    @property
    def rough_middle(self) -> float:
        """As of any two ends that a rate lies between."""
        return _between(self.min, self.max)


class Normal(FigureBase):
    """A normal distribution, which may go below zero."""

    named = "normal"
    kind: Literal["normal"] = "normal"
    mean: Number
    sd: Positive

    def shape(self, where: str = "figure") -> Shape:
        """Give the normal distribution."""
        from forecast.figures import shapes

        return shapes.Gaussian(self.mean, self.sd)

    @property
    def numbers(self) -> tuple[float, ...]:
        """The mean: its standard deviation is no amount."""
        return (self.mean,)

    @property
    def falls_to(self) -> float:
        """So many standard deviations below the mean."""
        return self.mean - FEW * self.sd

    @property
    def rises_to(self) -> float:
        """So many above it."""
        return self.mean + FEW * self.sd


class LognormalPercentiles(FigureBase):
    """A lognormal through P10 and P90."""

    named = "lognormal"
    kind: Literal["lognormal-percentiles"] = "lognormal-percentiles"
    p10: Number
    p90: Number

    @model_validator(mode="after")
    def _ordered(self) -> LognormalPercentiles:
        _check_span("p10", self.p10, "p90", self.p90)
        return self

    def shape(self, where: str = "figure") -> Shape:
        """Give the lognormal through both."""
        from forecast.figures import shapes

        return shapes.lognormal_from_percentiles(self.p10, self.p90)

    @property
    def rough_middle(self) -> float:
        """Its median."""
        return _between(self.p10, self.p90)


class LognormalMedian(FigureBase):
    """A lognormal by its median and the standard deviation of its natural logarithm."""

    named = "lognormal"
    kind: Literal["lognormal-median"] = "lognormal-median"
    median: Positive
    sigma: Annotated[float, Field(strict=True, gt=0, le=5)]

    def shape(self, where: str = "figure") -> Shape:
        """Give the lognormal."""
        from forecast.figures import shapes

        return shapes.lognormal(self.median, self.sigma)

    @property
    def numbers(self) -> tuple[float, ...]:
        """The median: sigma is no amount."""
        return (self.median,)

    @property
    def cautious_low(self) -> float:
        """Half of the median, for it names nothing lower."""
        return self.median / 2


class Metalog(FigureBase):
    """A three-percentile metalog, unbounded or with a lower bound, an upper bound or both."""

    named = "metalog"
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

    def shape(self, where: str = "figure") -> Shape:
        """Give the metalog, where there is one through the three."""
        from forecast.figures import shapes

        shape = shapes.MetalogShape(self.p10, self.p50, self.p90, self.lower, self.upper)
        if not shape.feasible:
            message = (
                f"{where}: no metalog has p10 {self.p10:g}, p50 {self.p50:g} and p90 {self.p90:g}: p50 lies too near "
                "one end. Write { low, middle, high } instead, or split it into a usual price and an event."
            )
            raise SimulationError(message)
        return shape

    @property
    def numbers(self) -> tuple[float, ...]:
        """The percentiles, and below them the bound that no draw falls under; an upper bound may be far off."""
        percentiles = (self.p10, self.p50, self.p90)
        return percentiles if self.lower is None else (self.lower, *percentiles)

    @property
    def falls_to(self) -> float:
        """Where it has no lower bound: as far below P10 as twice the whole of its range."""
        if self.lower is None:
            return self.p10 - 2 * (self.p90 - self.p10)
        return self.p10 if self.lower >= 0 else self.lower

    @property
    def cautious_low(self) -> float:
        """P10."""
        return self.p10

    @property
    def rough_middle(self) -> float:
        """P50."""
        return self.p50


class Discrete(FigureBase):
    """One of several values, each with its chance."""

    named = "discrete"
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

    def shape(self, where: str = "figure") -> Shape:
        """Give the steps, values rising."""
        from forecast.figures import shapes

        pairs = sorted(zip(self.values, self.chances, strict=True))
        return shapes.Steps(tuple(value for value, _ in pairs), tuple(chance for _, chance in pairs))

    @property
    def numbers(self) -> tuple[float, ...]:
        """The values."""
        return self.values


class Quotes(FigureBase):
    """Prices that were actually quoted: one or more."""

    kind: Literal["quotes"] = "quotes"
    quotes: tuple[Positive, ...] = Field(min_length=1, max_length=1000)

    def shape(self, where: str = "figure") -> Shape:
        """Give what the price will be."""
        from forecast.figures import shapes

        return shapes.quoted(self.quotes)

    @property
    def numbers(self) -> tuple[float, ...]:
        """The prices."""
        return self.quotes


def _between(low: float, high: float) -> float:
    return float((low * high) ** 0.5)


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


SHAPES = tuple(dict.fromkeys(model.named for model in FIGURE_KINDS.values() if model.named))
"""The named shapes of the build file."""

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
        shape = str(value["shape"])
        named = [kind for kind, model in FIGURE_KINDS.items() if model.named == shape]
        told = [kind for kind in named if own_keys(FIGURE_KINDS[kind]) & value.keys()]
        return (told[-1:] or named[:1] or [shape])[0]  # of two with one name its keys tell which
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


if TYPE_CHECKING:
    UncertainFigure: TypeAlias = FigureBase
else:
    _MODELS = tuple(Annotated[model, Tag(kind)] for kind, model in FIGURE_KINDS.items())
    # An alias with a name: two hundred keys then share one schema, where each made its own at every start.
    UncertainFigure = TypeAliasType(
        "Figure",  # as the schema of the build file calls it
        Annotated[
            Annotated[Union[_MODELS], Discriminator(_kind_of)],  # noqa: UP007 - of as many as there are
            BeforeValidator(_raw_figure),
        ],
    )
"""An uncertain figure in any of the forms of the build file; the ``kind`` tells the models apart."""

FIGURE_KEYS = frozenset().union(*map(own_keys, FIGURE_KINDS.values())) | {"shape"}
"""The keys that hold a figure's numbers."""
