"""The page to begin on: a new build from questions or from a list, or one that is there already."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from forecast.dashboard.layout import answer, told_plainly
from forecast.dashboard.start_draft import started
from forecast.dashboard.start_guided import guided
from forecast.dashboard.start_import import lines_from_list
from forecast.dashboard.start_open import open_builds, own_builds
from forecast.words.text import STRONG

_ASK, _OPEN, _LIST = "Answer questions", "Open a build", "Take a list of lines"


def page() -> None:
    """Draw the page."""
    st.title("Start or open a build")
    begun = bool(started()["written"])
    default = _OPEN if own_builds() and not begun else _ASK
    way = st.segmented_control(
        "How to begin", [_ASK, _OPEN, _LIST], default=default, key="start-way", label_visibility="collapsed",
        required=True, persist_state="session",
    )  # fmt: skip
    ways: dict[str | None, Callable[[], None]] = {_ASK: guided, _OPEN: _open, _LIST: lines_from_list}
    with told_plainly():
        ways.get(way, guided)()


def _open() -> None:
    count = len(own_builds())
    noun = "build" if count == 1 else "builds"
    known = (
        f"{STRONG}{count}{STRONG} {noun} of your own opened lately." if count else "No build of your own yet."
    )
    answer(f"{known} Open one, or look around a demo build first.")
    open_builds()


page()
