"""What of a page goes on paper: sentences, pictures, tables and what is unfolded; no forms, no buttons."""

from __future__ import annotations

import datetime as dt
import html
from collections.abc import Iterator
from contextlib import contextmanager

import streamlit as st

from forecast.dashboard.state import Opened
from forecast.views.theme import DARK, Palette
from forecast.words.day_words import long_day

_RULES = """
.fc-paper-head { display: none; }
/* on a phone the sidebar is folded away: the page itself says whose figures these are */
@media screen and (max-width: 640px) {
  .fc-paper-head { display: block; font-size: 0.87rem; opacity: 0.8; }
  .fc-paper-head .fc-day { display: none; }
}
@media print {
  @page { margin: 14mm 13mm; }
  html, body, #root, .stApp, .stApp > *, .stMain, .stAppViewContainer, .stMainBlockContainer {
    position: static !important; overflow: visible !important; height: auto !important; min-height: 0 !important;
    background: #fff !important; }
  .stApp, .stApp * { color: #000 !important; }
  .stMainBlockContainer { max-width: none; padding: 0 !important; }
  .stSidebar, .stAppHeader, .stToolbar, .stAppToolbar, .stStatusWidget, .st-key-phone-nav, .st-key-tray-foot,
  .st-key-demo-line, [class*="st-key-screen-only"], .stForm, .stButton, .stDownloadButton, .stLinkButton, .stPageLink,
  .stFileUploader, .stSelectbox, .stMultiSelect, .stButtonGroup, .stTextInput, .stTextArea, .stNumberInput,
  .stDateInput, .stCheckbox, .stRadio, .stSlider, .stSpinner, .stTooltipIcon, [data-testid="stElementToolbar"],
  .stExpander:has(> details:not([open])) { display: none !important; }
  .fc-paper-head { display: block; font-size: 0.85rem; border-bottom: 1px solid #999; padding-bottom: 0.3rem; }
  .stExpander > details { border: none !important; }
  .fc-scroll { overflow: visible !important; }
  .fc-tap::details-content { content-visibility: visible; block-size: auto; }
  .fc-tap summary { list-style: none; }
  table.fc { font-size: 0.8rem; }
  table.fc thead { display: table-header-group; }
  table.fc tr, .stAlert, .stVegaLiteChart { break-inside: avoid; }
  .fc-scroll:not(:has(tbody tr:nth-child(9))) { break-inside: avoid; }
  h1, h2, h3, table.fc caption { break-after: avoid; }
  /* a chart fits on a page together with what stands above it, at any length of the screen's */
  .stVegaLiteChart svg { height: auto !important; max-height: 172mm; max-width: 100%; }
}
"""
# On paper a chart drawn for a dark screen is turned to light; its hues stay what they are.
_DARK_RULES = "@media print { .stVegaLiteChart { filter: invert(1) hue-rotate(180deg); } }"


def print_rules(colours: Palette) -> str:
    """Give the part of the stylesheet that is for paper.

    Parameters
    ----------
    colours : Palette
        In which the screen is drawn.
    """
    return _RULES + (_DARK_RULES if colours == DARK else "")


def paper_head(view: Opened, today: dt.date) -> None:
    """Name on paper and on a phone what the frame of a wide screen names: the build, the way, on paper the day."""
    told = view.build.scenario.get(view.scenario or "")
    way = (told.name or (view.scenario or "").capitalize()) if told is not None else ""
    unsaved = "with changes that are not saved" if view.unsaved else ""
    words = html.escape(" \u00b7 ".join(part for part in (view.build.name, way, unsaved) if part))
    day = f'<span class="fc-day"> \u00b7 {html.escape(long_day(today))}</span>'
    st.html(f'<div class="fc-paper-head">{words}{day}</div>')


@contextmanager
def screen_only(name: str) -> Iterator[None]:
    """Keep what is drawn inside off paper.

    Parameters
    ----------
    name : str
        Of its own on a page.
    """
    with st.container(key=f"screen-only-{name}"):
        yield
