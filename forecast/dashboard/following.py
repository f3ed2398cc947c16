"""Other windows, phones and editors on the same build: what they change is shown here without a click."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from forecast.dashboard.layout import told_plainly
from forecast.dashboard.state import known_state, ledger_state
from forecast.errors import ForecastError
from forecast.ledger import Ledger
from forecast.ledger.folder import BuildFolder

EVERY = 3.0
"""Seconds between two looks at the build file and the ledger; a look takes a few thousandths of one."""


def state_of(folder: BuildFolder) -> str:
    """Give a name for what stands on disk: another one after every edit of the file and every entry."""
    try:
        state = ""
        if folder.has_ledger():
            path = folder.receipts_db
            state = known_state(str(path)) or ledger_state(Ledger(path))
        return f"{_stamp(folder.build_file)} {state}"
    except ForecastError as error:  # what is wrong is told by the page itself
        return f"{_stamp(folder.build_file)} {error}"


def _stamp(file: Path) -> str:
    try:
        found = file.stat()
    except OSError as error:
        return str(error.errno)
    return f"{found.st_mtime_ns} {found.st_size}"


@st.fragment(run_every=EVERY)
@told_plainly()
def follow(folder: BuildFolder, drawn: str) -> None:
    """Draw all anew when the build is no longer what was drawn.

    Parameters
    ----------
    folder : BuildFolder
    drawn : str
        Its `state_of` when this run of the page began.
    """
    if state_of(folder) != drawn:
        st.rerun()
