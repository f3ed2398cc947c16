"""The sheet in which lines are changed: edits are tried at once, and written only when kept."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pandas as pd
import streamlit as st

from forecast.build.edit import Change
from forecast.build.sheet import Row, changes, rows, with_changes
from forecast.dashboard.saving import (
    Sheet,
    edits,
    keep_on_theirs,
    remember_edits,
    show_difference,
    take_theirs,
)
from forecast.dashboard.state import Opened, parsed

_COLUMNS = {"title": "Line", "low": "Low", "middle": "Middle", "high": "High", "chance": "Needed %"}


def sheet(view: Opened, loaded: Sheet) -> list[Change]:
    """Draw the sheet and give the changes that stand in it unsaved."""
    build = parsed(loaded.text, str(view.folder.build_file))
    plain = rows(build)
    # The grid's own state dies when another page is shown; what was typed is then put under a fresh grid.
    memory = f"base-{loaded.key}"
    if loaded.key not in st.session_state or memory not in st.session_state:
        st.session_state[memory] = edits()
    base = with_changes(plain, st.session_state[memory])
    frame = pd.DataFrame(
        {
            "Line": [row.title for row in base],
            "Figure": [row.figure for row in base],
            "Low": pd.array([row.low for row in base], dtype="Float64"),
            "Middle": pd.array([row.middle for row in base], dtype="Float64"),
            "High": pd.array([row.high for row in base], dtype="Float64"),
            "Unit": [row.unit for row in base],
            "Needed %": [round(100 * row.chance, 6) for row in base],
            "Group": [row.group.capitalize() for row in base],
        }
    )
    edited = st.data_editor(
        frame,
        key=loaded.key,
        hide_index=True,
        num_rows="fixed",
        placeholder="",
        disabled=["Figure", "Unit", "Group"],
        height=420,
        alt="Sheet of lines with low, middle and high of each figure",
        column_config={
            "Line": st.column_config.TextColumn(width="medium", required=True, max_chars=200, pinned=True),
            "Figure": st.column_config.TextColumn(width="small"),
            "Low": st.column_config.NumberColumn(width="small", help="P10", format="localized"),
            "Middle": st.column_config.NumberColumn(width="small", help="P50", format="localized"),
            "High": st.column_config.NumberColumn(width="small", help="P90", format="localized"),
            "Unit": st.column_config.TextColumn(width="small"),
            "Needed %": st.column_config.NumberColumn(
                width="small", min_value=0.1, max_value=100.0, required=True, format="localized",
                help="Chance that the line is needed at all, or that the event happens",
            ),
            "Group": st.column_config.TextColumn(width="small"),
        },
    )  # fmt: skip
    after = _read(plain, edited)
    remember_edits(_differences(plain, after))
    pending = changes(build, plain, after)
    if loaded.theirs is not None:
        _meanwhile(view, loaded, pending)
    return pending


def _read(plain: tuple[Row, ...], edited: pd.DataFrame) -> list[Row]:
    found = []
    for row, values in zip(plain, edited.to_dict("records"), strict=True):
        chance = float(values["Needed %"]) / 100
        found.append(
            replace(
                row,
                title=str(values["Line"]),
                low=_number(values["Low"]),
                middle=_number(values["Middle"]),
                high=_number(values["High"]),
                chance=row.chance if math.isclose(chance, row.chance, rel_tol=1e-7) else chance,
            )
        )
    return found


def _number(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)


def _differences(plain: tuple[Row, ...], after: list[Row]) -> dict[int, dict[str, Any]]:
    found: dict[int, dict[str, Any]] = {}
    for place, (old, new) in enumerate(zip(plain, after, strict=True)):
        for name in _COLUMNS:
            if getattr(old, name) != getattr(new, name):
                found.setdefault(place, {})[name] = getattr(new, name)
    return found


def _meanwhile(view: Opened, loaded: Sheet, pending: list[Change]) -> None:
    """Somebody else saved the file while edits stand here: show what, and ask."""
    st.warning(
        "The build file was saved elsewhere since these edits began. Nothing of either is lost; choose."
    )
    show_difference(loaded)
    left, right = st.columns(2)
    if left.button("Put my edits on top of it and save", key="keep-on-theirs", width="stretch"):
        keep_on_theirs(view, pending, loaded.theirs or "")
    if right.button("Drop my edits, take the file", key="take-theirs", width="stretch"):
        take_theirs()
        st.rerun()
