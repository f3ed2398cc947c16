"""Measures: money or effort spent to change a risk event or a range."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from forecast.figures.file_values import Identifier, Name, Part, Text, wrong
from forecast.figures.kinds import UncertainFigure

Factor = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=100)]
FigureName = Annotated[
    str, Field(strict=True, pattern=r"^[A-Za-z][A-Za-z0-9_-]*(\.[A-Za-z0-9_-]+){1,4}$", max_length=200)
]
"""Names one uncertain figure: an id and a key, such as ``filler.quantity``."""
EventName = Annotated[
    str, Field(strict=True, pattern=r"^[A-Za-z][A-Za-z0-9_-]*(\.[A-Za-z0-9_-]+)?$", max_length=130)
]
"""Names an event, or one of a consignment, such as ``kit.examination``."""


class Measure(Part):
    """One measure: what it costs and what it changes.

    All effects are factors, and factors of several measures multiply: 0.5 halves, 1 changes nothing.

    Attributes
    ----------
    cost : figure
        Money that it costs, whatever happens.
    own_hours : figure or None
        Own work that it takes.
    chances : dict
        Factor on the chance of an event, by event id.
    impacts : dict
        Factor on what an event costs and takes when it happens, by event id.
    figures : dict
        Factor on an uncertain figure, by name, such as ``filler.quantity``.
    ranges : dict
        Factor on how far an uncertain figure strays from its middle, by name: 0.5 halves its range.
    before : list of str
        Lines or consignments before whose end it can be taken, by id: it is advised no more once one of them is closed,
        or, of goods, all is paid.
    """

    id: Identifier
    name: Name | None = None
    cost: UncertainFigure
    own_hours: UncertainFigure | None = None
    chances: dict[EventName, Factor] = {}
    impacts: dict[EventName, Factor] = {}
    figures: dict[FigureName, Factor] = {}
    ranges: dict[FigureName, Factor] = {}
    before: tuple[Identifier, ...] = ()
    note: Text | None = None

    @property
    def title(self) -> str:
        """The name to show: the one given, or one made from the id."""
        return self.name or self.id.replace("_", " ").replace("-", " ").capitalize()

    @model_validator(mode="after")
    def _some_effect(self) -> Measure:
        if not (self.chances or self.impacts or self.figures or self.ranges):
            wrong(
                "changes nothing",
                "Say what it changes, such as chances = { transit_damage = 0.5 } or "
                'figures = { "filler.quantity" = 0.9 }.',
            )
        return self
