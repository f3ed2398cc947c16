"""Surfaces of the car that are measured once and worked on by many lines: the ``[[surface]]`` tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field, model_validator

from forecast.buildfile.takeoff_base import Dimensions, Measured
from forecast.figures.kinds import FigureBase, Identifier, Name, Percentiles, Text, wrong


class Surface(Dimensions):
    """One surface, named once: what is unsure about its size is unsure for every line that works on it, alike.

    Attributes
    ----------
    area : figure or None
        m², measured.
    length, width : figure or None
        m and mm, measured, in place of the area: an edge or a strip.
    template : str or None
        A usual part of a kit whose range of areas stands in until it is measured, such as ``front``.
    count : int
        How many of them there are; they are drawn alike.
    """

    id: Identifier
    name: Name | None = None
    area: Measured | None = None
    length: Measured | None = None
    width: Measured | None = None
    template: Identifier | None = None
    count: Annotated[int, Field(strict=True, ge=1, le=100)] = 1
    note: Text | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Surface:
        ways = {
            "area": self.area is not None,
            "length and width": self.length is not None or self.width is not None,
            "template": self.template is not None,
        }
        given = [name for name, there in ways.items() if there]
        if len(given) != 1 or (self.length is None) != (self.width is None):
            wrong(
                f"says {' and '.join(given)}" if given else "says no size",
                'Give one of them: area = 1.4 (m²), length = 1.6 (m) with width = 90 (mm), or template = "front".',
            )
        if self.template is not None and self.template not in _templates():
            wrong(f"there is no template {self.template!r}", f"Legal: {', '.join(_templates())}.")
        return self

    @property
    def title(self) -> str:
        """The name to show: the one given, or one made from the id."""
        return self.name or self.id.replace("_", " ").replace("-", " ").capitalize()

    @property
    def sides(self) -> Mapping[str, FigureBase]:
        """The figures of its size by key: the area, or length and width."""
        if self.template is not None:
            low, middle, high = _templates()[self.template].area
            return {"area": Percentiles(low=low, middle=middle, high=high)}
        found = {"area": self.area, "length": self.length, "width": self.width}
        return {key: figure for key, figure in found.items() if figure is not None}


def _templates() -> Mapping[str, Any]:
    """Give the usual parts of a kit, read when the first build names one."""
    from forecast.buildfile.places import load_places

    return load_places().panels
