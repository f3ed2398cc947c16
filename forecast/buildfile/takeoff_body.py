"""Take-off tables of what makes the body and its surface: laminate, gelcoat, filler, paint."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from forecast.buildfile.takeoff_base import (
    AreaTakeoff,
    Arriving,
    AsWritten,
    Measured,
    RollTakeoff,
    Share,
    Skippable,
    Temperature,
    exactly,
    no_waste_twice,
)
from forecast.figures.file_values import wrong
from forecast.figures.kinds import Known


class LaminateTakeoff(RollTakeoff):
    """Glass, resin and what goes with them, from the area to be laminated.

    Attributes
    ----------
    buy : str
        What this line buys: glass (kg), resin (kg; L with ``coverage``), catalyst (ml), hardener (kg, epoxy) or
        cleaner (L).
    area : figure
        m².
    glass : str
        mat (chopped strand), woven or biaxial.
    areal_weight : float
        Grams per m² of one layer.
    layers, thickness : figure or None
        Give one: the number of layers, or the laminate's thickness in mm, from which the layers follow.
    resin : str
        polyester, vinylester or epoxy.
    ratio : figure or None
        Resin to glass by weight.
    waste : figure or None
        Percent on top.
    coverage : figure or None
        m² of one layer wetted by a litre of resin, as a supplier's chart says. Such charts have waste in them
        already, so it excludes ``ratio`` and ``waste``.
    temperature : figure or None
        °C in the shop, which sets the catalyst's percentage.
    catalyst : figure or None
        Percent of the resin, when the product's sheet says so; excludes ``temperature``.
    hardener_per_100 : float or None
        Epoxy: parts of hardener for 100 parts of resin by weight, fixed by the product.
    pieces : tuple of Piece or None
        Rectangles to cut for each layer, in place of the area: glass then follows from a cut plan of the roll, all
        else from the pieces' own area.
    edge : float or None
        mm of glass added on every side of each piece.
    roll_width : float or None
        m; for glass that is cut in pieces.
    """

    kind: Literal["laminate"] = "laminate"
    buy: Literal["glass", "resin", "catalyst", "hardener", "cleaner"]
    glass: Literal["mat", "woven", "biaxial"] = "mat"
    areal_weight: Annotated[float, Field(strict=True, ge=20, le=3000), AsWritten]
    layers: Measured | None = None
    thickness: Measured | None = None
    resin: Literal["polyester", "vinylester", "epoxy"] = "polyester"
    ratio: Measured | None = None
    waste: Share | None = None
    coverage: Measured | None = None
    temperature: Temperature | None = None
    catalyst: Share | None = None
    hardener_per_100: Annotated[float, Field(strict=True, ge=5, le=150)] | None = None

    @property
    def is_cut(self) -> bool:
        """True for the glass: resin and what goes with it come from no roll."""
        return self.buy == "glass"

    @model_validator(mode="after")
    def _consistent(self) -> LaminateTakeoff:
        if (self.layers is None) == (self.thickness is None):
            wrong(
                "gives both layers and thickness" if self.layers else "gives neither layers nor thickness",
                "Give one of them: layers = 2, or thickness = 3 (mm).",
            )
        if self.coverage is not None:
            no_waste_twice(self, ("ratio", "waste"))
            if self.buy != "resin":
                wrong(
                    f"coverage, but buys {self.buy}",
                    'A coverage chart tells the resin only: buy = "resin", or leave coverage out.',
                )
        if self.resin == "epoxy":
            if self.buy == "catalyst":
                wrong(
                    "epoxy with catalyst",
                    'Epoxy takes a hardener in a fixed ratio: buy = "hardener", hardener_per_100 = 30 (see tin).',
                )
            if self.buy == "hardener" and self.hardener_per_100 is None:
                wrong(
                    "hardener without its ratio",
                    "Add hardener_per_100 = …, by weight, from the product's tin; it may not be guessed.",
                )
        elif self.buy == "hardener" or self.hardener_per_100 is not None:
            wrong(
                f"hardener with {self.resin} resin",
                'Polyester and vinylester take a peroxide catalyst: buy = "catalyst".',
            )
        if self.temperature is not None and self.catalyst is not None:
            wrong("gives both temperature and catalyst", "Keep one: the percentage follows from either.")
        return self

    @classmethod
    def pack_unit(cls, raw: Mapping[str, Any]) -> str:
        """Give in what the contents of a pack count."""
        return (
            "L"
            if raw.get("coverage") is not None
            else {"catalyst": "ml", "cleaner": "L"}.get(str(raw.get("buy")), "kg")
        )


class GelcoatTakeoff(AreaTakeoff):
    """Gelcoat or topcoat from area and thickness; its catalyst is always 2 %.

    Attributes
    ----------
    buy : str
        gelcoat (kg) or catalyst (ml).
    area : figure
        m².
    thickness : figure or None
        mm.
    density : figure or None
        kg per litre.
    waste : figure or None
        Percent on top.
    """

    kind: Literal["gelcoat"] = "gelcoat"
    buy: Literal["gelcoat", "catalyst"] = "gelcoat"
    thickness: Measured | None = None
    density: Measured | None = None
    waste: Share | None = None

    @classmethod
    def pack_unit(cls, raw: Mapping[str, Any]) -> str:
        """Give in what the contents of a pack count."""
        return "ml" if raw.get("buy") == "catalyst" else "kg"


class FillerTakeoff(AreaTakeoff):
    """Filler from the shape of the hollow.

    Attributes
    ----------
    shape : str
        wedge (tapers to one side), dish (feathers out all round), strip (feathers out to both sides) or skim
        (an even coat).
    buy : str
        filler (kg) or hardener (g).
    length : figure or None
        m; wedge, dish and strip.
    width, depth : figure or None
        mm; wedge, dish and strip.
    area : figure or None
        m²; skim.
    thickness : figure or None
        mm; skim.
    count : figure
        How many such places.
    filler : str
        stone (also stopper), light or glass: sets the density.
    density : figure or None
        kg per litre.
    overfill : figure or None
        Percent of the volume in place that is laid on and sanded away again.
    waste : figure or None
        Percent left on the mixing board.
    hardener : figure or None
        Percent of the filler by weight.
    """

    kind: Literal["filler"] = "filler"
    shape: Literal["wedge", "dish", "strip", "skim"]
    buy: Literal["filler", "hardener"] = "filler"
    length: Measured | None = None
    width: Measured | None = None
    depth: Measured | None = None
    thickness: Measured | None = None
    count: Measured = Known(value=1)
    filler: Literal["stone", "light", "glass"] = "stone"
    density: Measured | None = None
    overfill: Share | None = None
    waste: Share | None = None
    hardener: Share | None = None

    @property
    def needs_area(self) -> bool:
        """True for a skim whose area is told; `_dimensions` asks for what is missing of this and other shapes."""
        return self.shape == "skim" and (self.area is not None or bool(self.surfaces))

    @model_validator(mode="after")
    def _dimensions(self) -> FillerTakeoff:
        if self.needs_area and self.surfaces:
            exactly(
                self,
                "a skim over surfaces",
                ("thickness",),
                ("length", "width", "depth", "area", "thickness"),
            )
            return self
        needed = ("area", "thickness") if self.shape == "skim" else ("length", "width", "depth")
        exactly(self, f"a {self.shape}", needed, ("length", "width", "depth", "area", "thickness"))
        return self

    @classmethod
    def pack_unit(cls, raw: Mapping[str, Any]) -> str:
        """Give in what the contents of a pack count."""
        return "g" if raw.get("buy") == "hardener" else "kg"


class PaintTakeoff(AreaTakeoff):
    """Paint or primer, litres ready to spray, from area and dry film.

    Attributes
    ----------
    area : figure
        m² to be painted.
    paint : str or None
        epoxy-primer, filler-primer, base or clear: sets film, solids and coats where they are left out.
    film : figure or None
        µm dry, all coats together.
    solids : figure or None
        Percent by volume, ready to spray (thinning lowers it).
    coats : figure or None
        Number of coats, each mixed anew.
    returns : figure or None
        Percent added for backs and returned edges where ``area`` counts outsides only.
    method : str
        large-panels or kit-parts (low-pressure gun), conventional, airless or brush: sets the share that
        arrives on the part.
    transfer : figure or None
        Percent of the paint that arrives on the part.
    waste : figure or None
        Percent left in pot, cup and strainer.
    per_mix : figure or None
        Millilitres lost with each mix on top; 0 where none are.
    coverage : figure or None
        m² per litre and coat as a chart or tin says, losses included; excludes film, solids, transfer, waste
        and per_mix.
    share : float
        Percent of the ready-to-spray mix that this line buys (colour, hardener and thinner may be lines of
        their own).
    """

    kind: Literal["paint"] = "paint"
    paint: Literal["epoxy-primer", "filler-primer", "base", "clear"] | None = None
    film: Measured | None = None
    solids: Arriving | None = None
    coats: Measured | None = None
    returns: Share | None = None
    method: Literal["large-panels", "kit-parts", "conventional", "airless", "brush"] = "kit-parts"
    transfer: Arriving | None = None
    waste: Share | None = None
    per_mix: Skippable | None = None
    coverage: Measured | None = None
    share: Annotated[float, Field(strict=True, gt=0, le=100)] = 100

    @model_validator(mode="after")
    def _consistent(self) -> PaintTakeoff:
        if self.coverage is not None:
            no_waste_twice(self, ("film", "solids", "transfer", "waste", "per_mix"))
        elif self.paint is None:
            missing = [name for name in ("film", "solids") if getattr(self, name) is None]
            if missing:
                wrong(
                    f"{' and '.join(missing)} missing",
                    'Say paint = "clear" (or base, epoxy-primer, filler-primer), give both, or give coverage.',
                )
        if self.paint is None and self.coats is None:
            wrong("coats missing", "Say how many coats: coats = 2.")
        return self

    @classmethod
    def pack_unit(cls, raw: Mapping[str, Any]) -> str:
        """Give in what the contents of a pack count."""
        return "L"
