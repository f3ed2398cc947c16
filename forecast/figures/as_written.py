"""Gives a figure back as a builder writes it."""

from __future__ import annotations

from typing import Any

from forecast.figures.kinds import FigureBase

_PLAIN = ("known", "percentiles", "span", "quotes")
"""Kinds that are told by their keys alone; all others name their shape."""


def as_written(figure: FigureBase) -> Any:
    """Give a figure as a plain TOML value: a number, or a table of what differs from the defaults."""
    kind = str(figure.kind)  # type: ignore[attr-defined]
    shape = {} if kind in _PLAIN else {"shape": kind.removesuffix("-percentiles").removesuffix("-median")}
    said = figure.model_dump(exclude_defaults=True, exclude={"kind"})
    values = {key: list(value) if isinstance(value, tuple) else value for key, value in said.items()}
    return values["value"] if set(values) == {"value"} else shape | values
