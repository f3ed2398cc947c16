"""How figures are told to programs: a percentile, a chance and an error look alike, whichever command answers.

- A figure from trials, every percentile and every chance: ``{"value": …, "standard_error": …}``, the error ``null``
  where none was worked out or there is none.
- Percentiles are named ``P10`` to ``P90``.
- Money that was simulated is a number in the main unit of ``currency``; what was entered is whole minor units, under a
  name that ends in ``_minor``.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from decimal import Decimal
from typing import Any

_PERCENTILE = re.compile(r"p\d\d")
_FIGURE = re.compile(r"P\d\d|chance(_\w+)?")
_ESTIMATE = ("value", "error")


def told(value: Any, name: str = "") -> Any:
    """Give results as JSON holds them.

    Parameters
    ----------
    value : object
        Plain values, results of the program, and whatever holds them.
    name : str
        The key under which it stands: a bare number is a figure by that.
    """
    if is_dataclass(value) and not isinstance(value, type):
        names = tuple(field.name for field in fields(value))
        found = {key: getattr(value, key) for key in names}
        return figure(*found.values()) if names == _ESTIMATE else told(found)
    if isinstance(value, Mapping):
        named = {_name(key): item for key, item in value.items()}
        return {key: told(item, key) for key, item in named.items()}
    if isinstance(value, list | tuple):
        return [told(item) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    if hasattr(value, "tolist"):  # of arrays, and numbers out of them
        value = value.tolist()
    if _FIGURE.fullmatch(name) and isinstance(value, int | float | Decimal) and not isinstance(value, bool):
        return figure(float(value))
    return value


def figure(value: float, error: float | None = None) -> dict[str, float | None]:
    """Give a number with its simulation error."""
    known = error is not None and math.isfinite(error)
    return {"value": value, "standard_error": error if known else None}


def _name(key: Any) -> str:
    text = "/".join(map(str, key)) if isinstance(key, tuple) else str(key)
    return text.upper() if _PERCENTILE.fullmatch(text) else text


__all__ = ["figure", "told"]
