"""The sheet in which lines are changed, with a sketch of each range and a word beside what was changed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import pandas as pd
import streamlit as st

from forecast.build.sheet import Row, changes, figure_of, rows, with_changes
from forecast.dashboard.reading import WITH_CHANGES, changed_text, parsed
from forecast.dashboard.saving import Sheet, kept_now
from forecast.dashboard.state import Opened
from forecast.engine.figures import shape_of
from forecast.engine.sketch import sketch
from forecast.errors import BuildFileError, SimulationError

_FIELDS = {"Line": "title", "Low": "low", "Middle": "middle", "High": "high", "Needed %": "chance"}


def sheet(view: Opened, loaded: Sheet) -> None:
    """Draw the sheet; what is typed into it goes to the tray."""
    build = parsed(loaded.text, WITH_CHANGES)
    plain = rows(build)
    kept = kept_now()
    # The grid's own state dies when another page is shown; what was typed is then put under a fresh grid.
    memory = f"base-{loaded.key}"
    if loaded.key not in st.session_state or memory not in st.session_state:
        st.session_state[memory] = dict(kept["edits"])
    base = with_changes(plain, st.session_state[memory])
    live = _typed(base, st.session_state.get(loaded.key))
    edited = st.data_editor(
        _frame(base, live, _words(loaded, plain, live)),
        key=loaded.key,
        hide_index=True,
        num_rows="fixed",
        placeholder="",
        disabled=["Figure", "Unit", "Range", "Beside"],
        height=420,
        alt="Sheet of lines with low, middle and high of each figure",
        column_config={
            "Line": st.column_config.TextColumn(width=172, required=True, max_chars=200, pinned=True),
            "Figure": st.column_config.TextColumn(width=86),
            "Low": st.column_config.NumberColumn(width=72, help="P10", format="localized"),
            "Middle": st.column_config.NumberColumn(width=78, help="P50", format="localized"),
            "High": st.column_config.NumberColumn(width=72, help="P90", format="localized"),
            "Unit": st.column_config.TextColumn(width=58),
            "Range": st.column_config.AreaChartColumn(
                width=64, help="The shape of the range, from P1 to P99", y_min=0, y_max=1, color="#5B9C9A"
            ),
            "Needed %": st.column_config.NumberColumn(
                width=74, min_value=0.1, max_value=100.0, required=True, format="localized",
                help="Chance that the line is needed at all, or that the event happens",
            ),
            "Beside": st.column_config.TextColumn(
                width="medium", help="What a changed figure was, or why it cannot be"
            ),
        },
    )  # fmt: skip
    kept["edits"] = _differences(plain, _read(plain, edited))


def _typed(base: tuple[Row, ...], state: Any) -> list[Row]:
    """Put what the grid's state holds on its rows, before the grid itself is drawn."""
    edits: Mapping[int, Mapping[str, Any]] = (state or {}).get("edited_rows", {})
    found = list(base)
    for place, values in edits.items():
        if place < len(found):
            given = {_FIELDS[name]: value for name, value in values.items() if name in _FIELDS}
            if given.get("chance") is not None:
                given["chance"] = float(given["chance"]) / 100
            found[place] = replace(found[place], **given)
    return found


def _words(loaded: Sheet, plain: tuple[Row, ...], live: list[Row]) -> list[str]:
    """Say beside each changed row what it was, or why it cannot be."""
    words = [_was(old, new) for old, new in zip(plain, live, strict=True)]
    if not any(words):
        return words
    build = parsed(loaded.text, WITH_CHANGES)
    try:
        parsed(changed_text(loaded.text, changes(build, plain, live)), WITH_CHANGES)
    except BuildFileError as error:
        for place, row in enumerate(live):
            found = [problem for problem in error.problems if _meant(row, problem.where)]
            if found:
                words[place] = f"{found[0].found}. {found[0].mend}"
    return words


def _meant(row: Row, where: str) -> bool:
    """Tell whether a mistake is in a row's figure: ``consignment[1] 'kit'.boxes[1].length`` is ``boxes.0.length``."""
    plain = re.sub(r"\[(\d+)\](?: '[^']*')?", lambda found: f".{int(found[1]) - 1}", where)
    return f"{plain}.".endswith(f".{row.key}.") and (f"'{row.item}'" in where or where.startswith(row.item))


def _was(old: Row, new: Row) -> str:
    if old == new:
        return ""
    if (old.low, old.middle, old.high) != (new.low, new.middle, new.high):
        return "was " + " / ".join(
            f"{part:,g}" for part in (old.low, old.middle, old.high) if part is not None
        )
    return f"was {100 * old.chance:g} %" if old.chance != new.chance else f"was {old.title}"


def _frame(base: tuple[Row, ...], live: list[Row], words: list[str]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "Line": [row.title for row in base],
            "Figure": [row.figure for row in base],
            "Low": pd.array([row.low for row in base], dtype="Float64"),
            "Middle": pd.array([row.middle for row in base], dtype="Float64"),
            "High": pd.array([row.high for row in base], dtype="Float64"),
            "Unit": [row.unit for row in base],
            "Range": [_sketch(row.low, row.middle, row.high, row) for row in live],
            "Needed %": [round(100 * row.chance, 6) for row in base],
            "Beside": words,
        }
    )


def _sketch(low: float | None, middle: float | None, high: float | None, row: Row) -> list[float]:
    return list(
        _drawn(low, middle, high, replace(row, item="", key="", title="", group="", figure="", unit=""))
    )


@lru_cache(maxsize=2048)
def _drawn(low: float | None, middle: float | None, high: float | None, row: Row) -> tuple[float, ...]:
    figure = figure_of(row)
    if figure is None:
        return ()
    try:
        return tuple(round(float(part), 3) for part in sketch(shape_of(figure)))
    except SimulationError:
        return ()


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


def _differences(plain: tuple[Row, ...], after: list[Row]) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for old, new in zip(plain, after, strict=True):
        for name in _FIELDS.values():
            if getattr(old, name) != getattr(new, name):
                found.setdefault(old.path, {})[name] = getattr(new, name)
    return found
