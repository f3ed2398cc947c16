"""What every uncertain figure is and can do, whatever its kind; the kinds are `forecast.figures.kinds`."""

from __future__ import annotations

import statistics
from abc import abstractmethod
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, ClassVar, TypeAlias

from forecast.figures.file_values import STRENGTHS, CurrencyCode, Flag, Identifier, Loading, Part, Text

if TYPE_CHECKING:
    from forecast.figures.shapes import Shape


Cell: TypeAlias = float | None
"""A number of a sheet, or nothing."""


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

    named: ClassVar[str] = ""
    """The ``shape`` that the file names it by; empty where its keys alone tell it."""

    causes: dict[Identifier, Loading] = {}
    currency: CurrencyCode | None = None
    unit: Text | None = None
    estimated: Flag = True
    starter: Flag = False

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Note the kind among `FIGURE_KINDS`."""
        super().__pydantic_init_subclass__(**kwargs)
        FIGURE_KINDS[cls.model_fields["kind"].default] = cls

    @abstractmethod
    def shape(self, where: str = "figure") -> Shape:
        """Give the probability distribution that it stands for.

        Parameters
        ----------
        where : str
            Named in the error.

        Raises
        ------
        SimulationError
            When there is none, as for a metalog that has no density through its percentiles.
        """

    @property
    def numbers(self) -> tuple[float, ...]:
        """The amounts that it names."""
        own = (getattr(self, key) for key in _own_fields(type(self)))
        return tuple(value for value in own if isinstance(value, int | float))

    @property
    def lowest(self) -> float:
        """The smallest number that it names."""
        return min(self.numbers)

    @property
    def highest(self) -> float:
        """The largest number that it names."""
        return max(self.numbers)

    @property
    def falls_to(self) -> float:
        """Its smallest number; for a shape with a tail that may cross zero, what it hardly goes below."""
        return self.lowest

    @property
    def rises_to(self) -> float:
        """Its largest number; for a shape whose tails are alike, what it hardly goes above."""
        return self.highest

    @property
    def cautious_low(self) -> float:
        """A low value, for telling what is surely far above a limit."""
        return self.lowest

    @property
    def rough_middle(self) -> float:
        """Roughly the middle, for scaling and judging what is only known roughly itself."""
        return float(statistics.median(self.numbers))

    @property
    def cells(self) -> tuple[Cell, Cell, Cell] | None:
        """Low, middle and high as a sheet shows them; None for what a sheet cannot show."""
        return None

    def slashed(self, write: Callable[[float], str]) -> str:
        """Write the numbers of its cells in a row, such as 40 / 60 / 120; nothing for what a sheet cannot show."""
        return " / ".join(write(number) for number in self.cells or () if number is not None)

    def said_besides(self) -> dict[str, Any]:
        """Give what it says besides its numbers, as the file writes it: causes, currency, unit.

        That it is a starter is said of its numbers: whoever writes others has made it their own.
        """
        said = self.model_dump(exclude_defaults=True, include={"causes", "currency", "unit", "estimated"})
        if "causes" in said:
            words = {value: word for word, value in STRENGTHS.items()}
            said["causes"] = {name: words.get(value, value) for name, value in said["causes"].items()}
        return said

    def said_in_numbers(self) -> dict[str, Any]:
        """Give what it says by its numbers, without unit, currency and causes."""
        return self.model_dump(exclude_defaults=True, exclude=set(FigureBase.model_fields))

    def as_written(self) -> Any:
        """Give it as a plain TOML value: a number, or a table of what differs from the defaults."""
        shape = {"shape": self.named} if self.named else {}
        said = self.model_dump(exclude_defaults=True, exclude={"kind"})
        values = {key: list(value) if isinstance(value, tuple) else value for key, value in said.items()}
        return values["value"] if set(values) == {"value"} else shape | values


FIGURE_KINDS: dict[str, type[FigureBase]] = {}
"""Model by kind, in the order in which they stand below."""


def range_written(low: Cell, middle: Cell, high: Cell, besides: Mapping[str, Any]) -> Any:
    """Give the cells of a sheet as a plain TOML value, with what else is said besides; a middle alone is a number."""
    cells = {"low": low, "middle": middle, "high": high}
    numbers = {key: value for key, value in cells.items() if value is not None}
    if set(numbers) == {"middle"}:
        return {"value": middle, **besides} if besides else middle
    return numbers | dict(besides)


def own_keys(model: type[FigureBase]) -> frozenset[str]:
    """Name the keys that hold the numbers of a kind."""
    return frozenset(_own_fields(model)) - {"kind"}


@lru_cache
def _own_fields(model: type[FigureBase]) -> tuple[str, ...]:
    """Name what a kind has beside what every figure has, in its order: asked thousands of times for one file."""
    return tuple(key for key in model.model_fields if key not in FigureBase.model_fields)
