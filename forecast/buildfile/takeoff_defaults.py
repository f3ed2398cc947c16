"""Figures that a take-off uses where the builder gives none: low, middle and high, each with its source.

They are starting values, yours to overwrite, and not statistics.
"""

from __future__ import annotations

from collections.abc import Mapping

from forecast.buildfile.takeoff_base import Assumption
from forecast.figures.kinds import Known, Percentiles

PRACTICE = "common practice, no source; yours to overwrite"


def _range(low: float, middle: float, high: float, source: str = PRACTICE) -> Assumption:
    return Assumption(figure=Percentiles(low=low, middle=middle, high=high, starter=True), source=source)


def _known(value: float, source: str) -> Assumption:
    return Assumption(figure=Known(value=value), source=source)


_SHEETS = "to be looked up in your product's data sheet; " + PRACTICE
_RATIOS = "mat 2.0 to 2.5, squeegeed cloth 1.0; " + PRACTICE

ASSUMPTIONS: Mapping[str, Assumption] = {
    # Laminate: resin to glass by weight; waste in percent; cleaner in litres per kg of resin.
    "laminate.ratio.mat": _range(2.0, 2.5, 3.2, _RATIOS),
    "laminate.ratio.woven": _range(1.0, 1.3, 2.2, _RATIOS),
    "laminate.ratio.biaxial": _range(1.0, 1.4, 2.0, _RATIOS),
    "laminate.waste.glass": _range(10, 15, 25, "edges and overlaps of 50 mm; " + PRACTICE),
    "laminate.waste.resin": _range(10, 15, 30, "left in the pot; " + PRACTICE),
    "laminate.cleaner": _range(0.3, 0.5, 1.0),
    "laminate.density.glass": _known(2.56, "textbook value; " + PRACTICE),
    "laminate.density.polyester": _known(1.2, "textbook value; " + PRACTICE),
    "laminate.density.vinylester": _known(1.2, "taken as for polyester; " + PRACTICE),
    "laminate.density.epoxy": _known(1.1, "textbook value; " + PRACTICE),
    # Gelcoat: mm, kg per litre, percent.
    "gelcoat.thickness": _range(0.4, 0.5, 0.6, PRACTICE),
    "gelcoat.density": _known(1.25, "1 kg for 1.6 m² at 0.5 mm; " + PRACTICE),
    "gelcoat.waste": _range(10, 15, 30, "left in the pot; " + PRACTICE),
    "gelcoat.catalyst": _known(2, "gelcoat always 2 %; " + PRACTICE),
    # Filler: kg per litre, percent.
    "filler.density.stone": _range(1.76, 1.80, 1.85, PRACTICE),
    "filler.density.light": _range(1.0, 1.15, 1.3, _SHEETS),
    "filler.density.glass": _range(1.6, 1.75, 1.9, _SHEETS),
    "filler.overfill": _range(30, 60, 120),
    "filler.waste": _range(5, 10, 20),
    "filler.hardener": _range(1, 2, 4, "1 % in the hot season to 4 % in the cold; " + PRACTICE),
    # Beads: percent, ml per nozzle.
    "bead.residue": _range(3, 5, 8),
    "bead.waste": _range(5, 10, 20),
    "bead.nozzle_loss": _range(10, 12.5, 15),
    # Paint: µm dry (all coats), percent solids by volume ready to spray, percent that arrives, percent waste.
    "paint.film.epoxy-primer": _range(30, 40, 50, _SHEETS),
    "paint.film.filler-primer": _range(100, 150, 200, _SHEETS),
    "paint.film.base": _range(15, 22, 30, _SHEETS),
    "paint.film.clear": _range(50, 57, 65, _SHEETS),
    "paint.solids.epoxy-primer": _range(30, 37, 45, _SHEETS),
    "paint.solids.filler-primer": _range(40, 47, 55, _SHEETS),
    "paint.solids.base": _range(12, 18, 25, _SHEETS),
    "paint.solids.clear": _range(40, 45, 50, _SHEETS),
    "paint.coats.epoxy-primer": _known(2, _SHEETS),
    "paint.coats.filler-primer": _known(3, _SHEETS),
    "paint.coats.base": _known(3, _SHEETS),
    "paint.coats.clear": _known(2, _SHEETS),
    "paint.transfer.large-panels": _range(45, 58, 68, "60-70 % for large panels, lowered; " + PRACTICE),
    "paint.transfer.kit-parts": _range(25, 42, 58, "20-50 % for small parts, raised; " + PRACTICE),
    "paint.transfer.conventional": _range(40, 50, 60, "loss about 50 %; " + PRACTICE),
    "paint.transfer.airless": _range(60, 70, 78, "loss about 30 %; " + PRACTICE),
    "paint.transfer.brush": _range(85, 87.5, 90, "loss 10-15 %; " + PRACTICE),
    "paint.waste": _range(8, 12, 25),
    "paint.per_mix": _known(50, PRACTICE),
    # Film: percent.
    "film.waste.vinyl": _range(10, 15, 20, "10 %, or 20 % for complex cars and beginners; " + PRACTICE),
    "film.waste.bulk": _range(20, 30, 45),
    "film.waste.pre-cut": _range(5, 8, 12),
    # Abrasives: pieces per m² and round.
    "abrasives.rate.shaping": _range(2, 3, 6),
    "abrasives.rate.levelling": _range(1, 2, 4),
    "abrasives.rate.smoothing": _range(1, 1.5, 3),
    "abrasives.rate.fine": _range(1, 1.5, 2.5),
    "abrasives.rate.sheets": _range(0.5, 1, 2),
    # Masking: m of edge to a m², times, m, percent.
    "masking.edges": _range(3, 4.5, 8, "a bumper 4 to 5, a narrow lip 10 and more; " + PRACTICE),
    "masking.rounds": _range(1, 2, 3, "once for primer, once for colour and clear; " + PRACTICE),
    "masking.band": _range(0.4, 0.6, 1.2, PRACTICE),
    "masking.waste": _range(10, 15, 30, "overlaps, and what tears; " + PRACTICE),
    # Fasteners: mm, percent, holes per bit.
    "fasteners.pitch.rivets": _range(50, 75, 100),
    "fasteners.pitch.bolts": _range(120, 160, 200),
    "fasteners.spares.rivets": _range(15, 20, 35),
    "fasteners.spares.bolts": _range(15, 20, 35, "taken as for rivets; " + PRACTICE),
    "fasteners.spares.screws": _range(20, 30, 60),
    "fasteners.spares.clips": _range(20, 30, 60),
    "fasteners.holes_per_bit": _range(40, 50, 60),
}  # fmt: skip
"""Assumption by take-off, figure and material."""
