"""Charts drawn without holding each part against the Vega-Lite schema while it is made."""

from __future__ import annotations

from altair.utils import schemapi


def trust_charts() -> None:
    """Leave the schema out of drawing for the rest of the process.

    Tests hold every chart against it; on a screen that takes longer than all the rest of drawing one.
    """
    schemapi.DEBUG_MODE = False
