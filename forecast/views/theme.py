"""One look for every chart: colours of paper and ink, light and dark, and the settings that go with them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FONT = '"Source Sans", "Source Sans Pro", "Segoe UI", system-ui, sans-serif'


@dataclass(frozen=True)
class Palette:
    """Colours of one look.

    Attributes
    ----------
    paper, ink : str
        Ground and text.
    muted, faint, hair : str
        Greys: lesser text (still readable on paper), marks of context, gridlines.
    accent, accent_soft : str
        The one accent, and the same for large areas.
    over : str
        Beyond the budget; never without a word or a pattern.
    series : tuple of str
        For telling series apart: from the set of Okabe and Ito (2008), which the colour-blind can tell apart.
    """

    paper: str
    ink: str
    muted: str
    faint: str
    hair: str
    accent: str
    accent_soft: str
    over: str
    series: tuple[str, ...]


LIGHT = Palette(
    paper="#FBFAF7", ink="#1E2326", muted="#5A6266", faint="#A9AFB1", hair="#E3E0D8",
    accent="#0F6B6B", accent_soft="#A9CFCC", over="#B5472A",
    series=("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00"),
)  # fmt: skip
DARK = Palette(
    paper="#16191B", ink="#E9E6DF", muted="#A8AEB0", faint="#5F6669", hair="#2E3437",
    accent="#4FB3AE", accent_soft="#27605F", over="#EC8A68",
    series=("#56B4E9", "#E69F00", "#2FC79A", "#E19BC0", "#8FCBEF", "#F0B94A"),
)  # fmt: skip


def settings(palette: Palette) -> dict[str, Any]:
    """Give the Vega-Lite configuration of a chart."""
    axis = {
        "labelColor": palette.muted, "titleColor": palette.muted, "domainColor": palette.faint,
        "tickColor": palette.faint, "gridColor": palette.hair, "labelFontSize": 12, "titleFontSize": 12,
        "titleFontWeight": "normal", "labelFont": FONT, "titleFont": FONT, "aria": False,
    }  # fmt: skip
    return {
        "background": "transparent",
        "font": FONT,
        "view": {"stroke": None},
        "mark": {"aria": False},  # a screen reader hears the finding, which the chart bears as its label
        "axis": axis,
        "axisY": {"domain": False, "ticks": False},
        "title": {
            "anchor": "start", "color": palette.ink, "font": FONT, "fontSize": 14, "fontWeight": 600,
            "subtitleColor": palette.muted, "subtitleFont": FONT, "subtitleFontSize": 12, "offset": 10,
            "frame": "bounds",
        },
        "text": {"font": FONT, "fontSize": 12, "color": palette.ink},
        "legend": {"labelColor": palette.ink, "titleColor": palette.muted, "labelFont": FONT, "titleFont": FONT},
    }  # fmt: skip
