"""The starter library: lines, phases, events, causes and measures that a body conversion usually has.

Everything in it is common practice, yours to overwrite. ``load_library`` scales it to a currency and a labour rate.
"""

from __future__ import annotations

from forecast.buildfile.library.starters import (
    LABOUR_RATE,
    PRACTICE,
    Library,
    Range,
    StarterCause,
    StarterEvent,
    StarterLine,
    StarterMeasure,
    StarterPhase,
    StarterRates,
    known_afterwards,
    library_of,
    load_library,
    load_rates,
    with_bought,
)

__all__ = [
    "LABOUR_RATE", "PRACTICE", "Library", "Range", "StarterCause", "StarterEvent", "StarterLine",
    "StarterMeasure", "StarterPhase", "StarterRates", "known_afterwards", "library_of", "load_library", "load_rates",
    "with_bought",
]  # fmt: skip
