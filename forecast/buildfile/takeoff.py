"""Take-off tables of the build file: dimensions in place of a quantity.

Models only; forecast/trade/takeoff turns them into a quantity to buy. Units where none is written: lengths in metres,
widths, depths, thicknesses and pitches in millimetres, paint films in micrometres, areas in square metres, shares in
percent; any other unit that fits may be written, and is kept as it was. Figures that the
builder leaves out are taken from forecast/buildfile/takeoff_defaults.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from forecast.buildfile.takeoff_base import TakeoffBase
from forecast.buildfile.takeoff_body import FillerTakeoff, GelcoatTakeoff, LaminateTakeoff, PaintTakeoff
from forecast.buildfile.takeoff_parts import (
    AbrasivesTakeoff,
    AdhesiveTakeoff,
    FastenersTakeoff,
    FilmTakeoff,
    MaskingTakeoff,
    SandingStep,
    SealantTakeoff,
    WheelBoltsTakeoff,
)
from forecast.figures.kinds import wrong

_MODELS: Mapping[str, type[TakeoffBase]] = {
    "laminate": LaminateTakeoff,
    "gelcoat": GelcoatTakeoff,
    "filler": FillerTakeoff,
    "sealant": SealantTakeoff,
    "adhesive": AdhesiveTakeoff,
    "paint": PaintTakeoff,
    "film": FilmTakeoff,
    "abrasives": AbrasivesTakeoff,
    "masking": MaskingTakeoff,
    "fasteners": FastenersTakeoff,
    "wheel-bolts": WheelBoltsTakeoff,
}
TAKEOFF_KINDS: tuple[str, ...] = tuple(_MODELS)
"""The kinds of take-off that a build file may use."""


def _known_kind(value: Any) -> Any:
    if isinstance(value, TakeoffBase):
        return value
    kind = value.get("kind") if isinstance(value, Mapping) else None
    if not isinstance(kind, str) or kind not in _MODELS:
        found = f"kind is {kind!r}" if kind is not None else "no kind"
        wrong(found, f"Write takeoff = {{ kind = … }} with one of {', '.join(_MODELS)}.")
    return value


AnyTakeoff = (
    LaminateTakeoff
    | GelcoatTakeoff
    | FillerTakeoff
    | SealantTakeoff
    | AdhesiveTakeoff
    | PaintTakeoff
    | FilmTakeoff
    | AbrasivesTakeoff
    | MaskingTakeoff
    | FastenersTakeoff
    | WheelBoltsTakeoff
)
"""Any of the models, told apart by ``kind``."""

Takeoff = Annotated[Annotated[AnyTakeoff, Field(discriminator="kind")], BeforeValidator(_known_kind)]
"""A ``takeoff = { kind = … }`` table of the build file."""


__all__ = [
    "TAKEOFF_KINDS", "AbrasivesTakeoff", "AdhesiveTakeoff", "AnyTakeoff", "FastenersTakeoff",
    "FillerTakeoff", "FilmTakeoff", "GelcoatTakeoff", "LaminateTakeoff", "MaskingTakeoff", "PaintTakeoff",
    "SandingStep", "SealantTakeoff", "Takeoff", "TakeoffBase", "WheelBoltsTakeoff",
]  # fmt: skip
