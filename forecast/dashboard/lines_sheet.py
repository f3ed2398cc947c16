"""The sheet in which lines are changed, with a sketch of each range and a word beside what was changed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from typing import Any, TypeAlias, TypeVar

import pandas as pd
import streamlit as st

from forecast.buildfile.oneself import Beside
from forecast.buildfile.schema import GROUPS, Build
from forecast.buildfile.sheet import SheetRow, changes, differences, figure_of, rows, with_changes
from forecast.dashboard.asking import WHICH, shown
from forecast.dashboard.layout import safe
from forecast.dashboard.lines_cards import cards, numbers_of, wanted
from forecast.dashboard.remembered import WITH_CHANGES, changed_text, parsed
from forecast.dashboard.saving import SheetFile, kept_now
from forecast.dashboard.scripts import rows_in_full
from forecast.dashboard.state import Opened, before, known_by_now
from forecast.dashboard.tray import tray
from forecast.dashboard.unsaved import keep_draft
from forecast.engine.sketch import sketch
from forecast.errors import BuildFileError, NumberError, SimulationError
from forecast.views.settling_words import NOT_HERE
from forecast.words.currencies import is_currency, minor_digits
from forecast.words.numbers import plainly, read_number

_Kept = TypeVar("_Kept")
Unread: TypeAlias = Mapping[str, Mapping[str, str]]
"""What was typed and could not be read, by path of the figure and column."""

_FIELDS = {"Line": "title", "Low": "low", "Middle": "middle", "High": "high", "How often": "chance"}
_GROUPS = (*GROUPS, "events")
_NUMBERS = {"Low": "low", "Middle": "middle", "High": "high", "How often": "chance"}


# Together as wide as a page beside its sidebar in a window of 1280 pixels (848, less what scrolls), so that how a line
# stands and what was changed is in sight. A longer name is cut, and read in full where the pointer rests on its row.
_WIDTHS = {
    "Group": 84, "Line": 204, "What": 64, "Low": 62, "Middle": 76, "High": 64, "Unit": 42, "Range": 40, "How often": 88,
    "Remarks": 112,
}  # fmt: skip


def sheet(view: Opened, loaded: SheetFile, beside: Callable[[], Sequence[Beside]]) -> None:
    """Draw the sheet, as a grid or on a narrow screen as cards; what is typed into it goes to the tray.

    Parameters
    ----------
    view : Opened
    loaded : SheetFile
    beside : callable
        Gives the cautions, which stand at the cards.
    """
    build = parsed(loaded.text, WITH_CHANGES)
    plain, part = _rows_shown(view, build)
    states = _states(view, build)
    phone = on_a_phone()
    above = st.container()
    if not phone:
        with st.container(key="sheet-grid"):
            _grid(loaded, plain, loaded.key + part, states)
            st.html(rows_in_full(), unsafe_allow_javascript=True)
    with above:
        if not phone and not wanted():
            return
        changed = zip(plain, with_changes(plain, kept_now()["edits"]), strict=True)
        cards(
            loaded, plain, {old.path: _was(old, new) for old, new in changed}, states, beside(), alone=phone
        )  # fmt: skip


def _states(view: Opened, build: Build) -> dict[str, str]:
    """Say of the lines, and the goods from abroad, that nothing more will come, or that they are not counted here."""
    absent = dict.fromkeys(before(view).plan.absent, NOT_HERE)
    known = known_by_now(view)
    if known is None:
        return absent
    goods = {item.id: {f"{item.id}.{one.id}" for one in item.items} for item in build.consignment}
    closed = known.closed | {name for name, parts in goods.items() if parts <= known.closed}
    return absent | dict.fromkeys(closed, "closed")


def _grid(loaded: SheetFile, plain: tuple[SheetRow, ...], key: str, states: Mapping[str, str]) -> None:
    kept = kept_now()
    # The grid's own state dies when another page is shown; what was typed is then put under a fresh grid.
    memory = f"base-{key}"
    if key not in st.session_state or memory not in st.session_state:
        st.session_state[memory] = dict(kept["edits"])
        st.session_state[f"unread-{key}"] = dict(kept["unread"])
    base = with_changes(plain, st.session_state[memory])
    before: Unread = st.session_state[f"unread-{key}"]
    live, doubts = _typed(base, before, st.session_state.get(key))
    here = {row.path for row in plain}
    kept["edits"] = _elsewhere(kept["edits"], here) | differences(plain, live)
    kept["unread"] = _elsewhere(kept["unread"], here) | _unread(plain, doubts)
    try:
        tray()  # before the grid, which a browser takes longer to draw than the effect takes to be worked out
    finally:
        keep_draft()  # a disk can take as long as the effect
    beside = [
        word or states.get(row.item, "")
        for word, row in zip(_words(loaded, plain, live, doubts), plain, strict=True)
    ]
    frame = _frame(base, live, before, beside)
    st.data_editor(
        frame,
        key=key,
        hide_index=True,
        num_rows="fixed",
        placeholder="",
        disabled=["Group", "What", "Unit", "Range", "Remarks"],
        height=420,
        alt="Sheet of lines with low, middle and high of each figure",
        column_config={
            "Group": st.column_config.TextColumn(width=_WIDTHS["Group"]),
            "Line": st.column_config.TextColumn(width=_WIDTHS["Line"], required=True, max_chars=200),
            "What": st.column_config.TextColumn(width=_WIDTHS["What"]),
            # Text, so that the one reader reads it: a grid's own numbers would take 2,5 for 25 without a word.
            "Low": st.column_config.TextColumn(width=_WIDTHS["Low"], help="P10", alignment="right"),
            "Middle": st.column_config.TextColumn(width=_WIDTHS["Middle"], help="P50", alignment="right"),
            "High": st.column_config.TextColumn(width=_WIDTHS["High"], help="P90", alignment="right"),
            "Unit": st.column_config.TextColumn(width=_WIDTHS["Unit"]),
            "Range": st.column_config.AreaChartColumn(
                width=_WIDTHS["Range"], help="The shape of the range, from P1 to P99", y_min=0, y_max=1, color="#5B9C9A"
            ),
            "How often": st.column_config.TextColumn(
                width=_WIDTHS["How often"], required=True, alignment="right",
                help="In so many of 100 builds the line is needed at all, or the event happens",
            ),
            "Remarks": st.column_config.TextColumn(
                width=_WIDTHS["Remarks"], help="What a changed figure was, why it cannot be, or how its line stands"
            ),
        },
    )  # fmt: skip
    _ask(plain, doubts)


def _rows_shown(view: Opened, build: Build) -> tuple[tuple[SheetRow, ...], str]:
    """Give the rows by group, those of a consignment as its prices alone until it is opened, and what is opened."""
    every, goods = rows(build), {item.id: item.title for item in build.consignment}
    lines = [row for row in every if row.item not in goods or row.key.rpartition(".")[2] == "price"]
    parts = {name: title for name, title in goods.items() if any(row.item == name for row in every)}
    opened = None
    if len(lines) < len(every):
        opened = st.selectbox(
            "Open goods from abroad to their parts", list(parts), index=None, format_func=parts.__getitem__,
            placeholder="Closed: each stands in the sheet by its price", key=f"sheet-of-{view.folder.folder}",
        )  # fmt: skip
    if opened is not None:
        return tuple(row for row in every if row.item == opened), f"-{opened}"
    return tuple(sorted(lines, key=lambda row: _GROUPS.index(row.group))), ""


def _elsewhere(found: Mapping[str, _Kept], here: set[str]) -> dict[str, _Kept]:
    """Give what was typed into rows that are not shown now."""
    return {path: typed for path, typed in found.items() if path not in here}


def on_a_phone() -> bool:
    """Tell whether it is a phone, held either way: it is spared the grid, whose rows no thumb can edit."""
    return "Mobi" in (st.context.headers.get("User-Agent") or "")


def _typed(
    base: tuple[SheetRow, ...], before: Unread, state: Any
) -> tuple[list[SheetRow], dict[int, dict[str, NumberError]]]:
    """Put what the grid's state holds on its rows, before the grid itself is drawn.

    What can mean two and was not asked about yet, or is no number, stands apart.
    """
    typed: Mapping[int, Mapping[str, Any]] = (state or {}).get("edited_rows", {})
    found, doubts = list(base), dict[int, dict[str, NumberError]]()
    for place, row in enumerate(base):
        values: dict[str, Any] = dict(before.get(row.path, {}))
        values |= {name: value for name, value in typed.get(place, {}).items() if name in _FIELDS}
        given: dict[str, Any] = {}
        for name, value in values.items():
            if name not in _NUMBERS:
                given[_FIELDS[name]] = str(value)
                continue
            try:
                if value != _cell(row, name):
                    given[_NUMBERS[name]] = _number(row, name, value)
            except NumberError as error:
                doubts.setdefault(place, {})[name] = error
        found[place] = replace(row, **given)
    return found, doubts


def _number(row: SheetRow, name: str, value: Any) -> float | None:
    """Read one cell, by what was said of it where it can mean two.

    Raises
    ------
    NumberError
    """
    if value is None or isinstance(value, int | float):
        number = None if value is None or pd.isna(value) else float(value)
    else:
        written = str(st.session_state.get(_question(row, name, str(value))) or value)
        number = float(_read(row, name, written)) if written.strip() else None
    if name != "How often":
        return number
    if number is None or not 0.1 <= number <= 100:
        text = "" if value is None else str(value)
        raise NumberError(text, "cannot be", "Write how many of 100 builds need it, from 0.1 to 100.")
    return row.chance if math.isclose(number / 100, row.chance, rel_tol=1e-7) else number / 100


def _read(row: SheetRow, name: str, written: str) -> Decimal:
    if name == "How often":
        return read_number(written, units=("%",), low=0.1, high=100)
    if is_currency(row.unit):
        return read_number(written, currency=row.unit, digits=minor_digits(row.unit))
    return read_number(written, units=(row.unit,))


def _question(row: SheetRow, name: str, written: str) -> str:
    return f"meant-{row.path}-{name}-{written}"


def _unread(
    plain: tuple[SheetRow, ...], doubts: Mapping[int, Mapping[str, NumberError]]
) -> dict[str, dict[str, str]]:
    """Give all cells that could not be read, by path and column."""
    return {
        plain[place].path: {name: error.text for name, error in errors.items()}
        for place, errors in doubts.items()
    }


def _ask(plain: tuple[SheetRow, ...], doubts: Mapping[int, Mapping[str, NumberError]]) -> None:
    """Ask below the grid about cells that can mean two, and say what is no number."""
    for place, errors in doubts.items():
        row = plain[place]
        for name, error in errors.items():
            where = f"{row.title}, {row.figure}, {name.lower()}"
            if len(error.readings) < 2:
                st.error(safe(f"{where}: {error}"))
                continue
            chosen = st.radio(
                f"{safe(where)}: {safe(repr(error.text))} {error.found}. {WHICH}",
                [plainly(value) for value in error.readings], index=None, horizontal=True,
                key=f"ask-{_question(row, name, error.text)}",
            )  # fmt: skip
            if chosen is not None:
                # A plain value: the question is not drawn again, and a widget that is not drawn forgets.
                st.session_state[_question(row, name, error.text)] = chosen
                st.rerun()


def _words(
    loaded: SheetFile,
    plain: tuple[SheetRow, ...],
    live: list[SheetRow],
    doubts: Mapping[int, Mapping[str, NumberError]],
) -> list[str]:
    """Say beside each changed row what it was, or why it cannot be."""
    words = [_was(old, new) for old, new in zip(plain, live, strict=True)]
    for place, errors in doubts.items():
        words[place] = " ".join(f"{error}" for error in errors.values())
    if all(word == "" or place in doubts for place, word in enumerate(words)):
        return words
    build = parsed(loaded.text, WITH_CHANGES)
    try:
        parsed(changed_text(loaded.text, changes(build, plain, live)), WITH_CHANGES)
    except BuildFileError as error:
        for place, row in enumerate(live):
            found = [problem for problem in error.problems if _meant(build, row, problem.path)]
            if found and place not in doubts:
                words[place] = f"{found[0].found}. {found[0].mend}"
    return words


def _meant(build: Build, row: SheetRow, path: Sequence[str | int]) -> bool:
    """Tell whether a mistake at a path of the file is in a row's figure."""
    if len(path) < 3 or path[0] not in ("line", "event", "consignment") or not isinstance(path[1], int):
        return False
    keys = ".".join(str(part) for part in path[2:])
    return getattr(build, path[0])[path[1]].id == row.item and f"{keys}.".startswith(f"{row.key}.")


def _was(old: SheetRow, new: SheetRow) -> str:
    if old == new:
        return ""
    if (old.low, old.middle, old.high) != (new.low, new.middle, new.high):
        return f"was {numbers_of(old)}"
    return f"was {100 * old.chance:g} of 100" if old.chance != new.chance else f"was {old.title}"


def _cell(row: SheetRow, name: str) -> str:
    """Write a number as the grid shows it."""
    value = 100 * row.chance if name == "How often" else getattr(row, _NUMBERS[name])
    return "" if value is None else shown(round(value, 6) if name == "How often" else value)


def _frame(
    base: tuple[SheetRow, ...], live: list[SheetRow], before: Unread, words: list[str]
) -> pd.DataFrame:
    def column(name: str) -> list[str]:
        return [before.get(row.path, {}).get(name, _cell(row, name)) for row in base]

    return pd.DataFrame(
        {
            "Group": _group_names(base),
            "Line": [row.title for row in base],
            "What": [row.figure for row in base],
            "Low": column("Low"),
            "Middle": column("Middle"),
            "High": column("High"),
            "Unit": [row.unit for row in base],
            "Range": [_sketch(row.low, row.middle, row.high, row) for row in live],
            "How often": column("How often"),
            "Remarks": words,
        }
    )


def _group_names(base: Sequence[SheetRow]) -> list[str]:
    """Name each group at its first row."""
    names = ["", *(row.group for row in base)]
    return [
        "" if new == old else "May happen" if new == "events" else new.capitalize()
        for old, new in pairwise(names)
    ]


def _sketch(low: float | None, middle: float | None, high: float | None, row: SheetRow) -> list[float]:
    return list(
        _drawn(low, middle, high, replace(row, item="", key="", title="", group="", figure="", unit=""))
    )


@lru_cache(maxsize=2048)
def _drawn(low: float | None, middle: float | None, high: float | None, row: SheetRow) -> tuple[float, ...]:
    figure = figure_of(row)
    if figure is None:
        return ()
    try:
        return tuple(round(float(part), 3) for part in sketch(figure.shape()))
    except SimulationError:
        return ()
